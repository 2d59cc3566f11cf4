"""A new report in one box: what is understood is confirmed, and one form opens one ticket."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.triage.services import AGENT, OPS
from triage.service import tickets
from triage.service.service import Service

WORDS = "alder quay, clerk Dana on 555-0177, LH20-1. it is all liquid"


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


def understood(desk: FlaskClient, words: str, **form: object) -> str:
    return desk.post("/report", data={"note": words, "match": "1", "part": "1", **form}).text


def opened(desk: FlaskClient, service: Service, **form: object) -> dict[str, object]:
    response = desk.post("/report", data=form)
    assert response.status_code == 303, response.text
    return dict(tickets.ticket(service, response.headers["Location"].rsplit("/", 1)[1], AGENT).report)


def signed_in_again(desk: FlaskClient, form: dict[str, object]) -> TestResponse:
    """Signs in with a kept form, and sends it on as a browser does after 307."""
    response = desk.post("/sign-in", data=form)
    assert response.status_code == 307
    return desk.post(response.headers["Location"], data=form)


def test_one_box_understands_who_where_which_and_what(desk: FlaskClient, service: Service) -> None:
    page = understood(desk, WORDS)
    assert re.search(r'value="not_freezing" checked', page)
    assert re.search(r'type="radio" name="machine" value="LH20-1" required checked', page)
    assert re.search(r'id="caller" name="caller" type="text" value="Dana"', page)
    assert re.search(r'id="phone" name="phone" type="tel" value="555-0177"', page)
    assert tickets.tickets(service, OPS).tickets == ()


@pytest.mark.parametrize("path", ["/report", "/find?q=LH20-1"])
def test_dangers_are_asked_about_before_anything_else(desk: FlaskClient, path: str) -> None:
    desk.post("/language", data={"language": "es"})
    text = desk.get(path, follow_redirects=True).text
    assert (
        0
        < text.index("¿Hay alguien lastimado?")
        < text.index("<textarea" if path == "/report" else 'name="words"')
    )


def test_what_is_confirmed_is_the_report(desk: FlaskClient, service: Service) -> None:
    report = opened(
        desk, service, note=WORDS, symptom="not_freezing", fact=["filter_days=14", "fill_level="], phone="5"
    )
    assert (report["machine"], report["caller"], report["phone"]) == ("LH20-1", "Dana", "5")
    assert (report["answers"], report["unknown"]) == ({"filter_days": 14}, ["fill_level"])


def test_a_chip_that_was_taken_out_stays_out(desk: FlaskClient) -> None:
    page = understood(desk, WORDS, shown="not_freezing", symptom="leaking")
    assert re.search(r'value="not_freezing"\s+data-key', page)
    assert re.search(r'value="leaking" checked', page)


def test_a_number_in_no_record_is_kept_with_the_store(desk: FlaskClient, service: Service) -> None:
    words = "willow, plate says LH20-99999, all liquid"
    assert "“LH20-99999” is in no record" in understood(desk, words)
    report = opened(
        desk, service, note=words, symptom="not_freezing", machine="", **{"was.machine": "LH30-2"}
    )
    assert (report["serial_said"], report["site"]) == ("LH20-99999", "halt-023")
    assert "machine" not in report


def test_a_serial_typed_wrong_may_be_kept_as_it_was_read_out(desk: FlaskClient, service: Service) -> None:
    form = {"machine": "LH20-1X", "symptom": "not_freezing"}
    refused = desk.post("/report", data=form)
    assert refused.status_code == 422
    assert "Keep this number as it was read out" in refused.text
    assert opened(desk, service, **form, keep_serial="1")["serial_said"] == "LH20-1X"


def test_a_form_sent_twice_opens_one_ticket(desk: FlaskClient, service: Service) -> None:
    once = re.search(r'name="once" value="([^"]+)"', desk.get("/report").text)
    assert once is not None
    form = {"symptom": "not_freezing", "note": "all liquid", "once": once[1]}
    first, second = (desk.post("/report", data=form).headers["Location"] for _ in range(2))
    assert first == second
    assert len(tickets.tickets(service, OPS).tickets) == 1
    form["once"] = "another"
    assert desk.post("/report", data=form).headers["Location"] != first


def test_a_session_that_has_ended_comes_back_to_the_form_with_everything_typed(
    desk: FlaskClient, service: Service, tokens: dict[str, str]
) -> None:
    desk.post("/sign-out")
    form = {"symptom": ["leaking", "not_freezing"], "note": "all liquid", "phone": "555-0177", "second": "1"}
    page = desk.post("/report", data=form)
    assert page.status_code == 401
    kept = re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page.text)
    assert ("look", "1") in kept and ("symptom", "leaking") in kept
    fields: dict[str, list[str]] = {}
    for name, value in kept:
        fields.setdefault(name, []).append(value)
    again = signed_in_again(desk, {**fields, "token": tokens["agent"]})
    assert re.search(r'value="leaking" checked', again.text) and "all liquid" in again.text
    assert 'value="555-0177"' in again.text
    assert tokens["agent"] not in again.text
    assert tickets.tickets(service, OPS).tickets == ()


def test_an_answer_typed_into_an_ended_session_is_shown_again(
    desk: FlaskClient, service: Service, tokens: dict[str, str]
) -> None:
    call = desk.post("/report", data={"machine": "LH20-1", "symptom": "not_freezing"}).headers["Location"]
    desk.post(f"{call}/answers", data={"fact": "cord_damaged", "value": "no"})
    desk.post("/sign-out")
    form = {"fact": "filter_days", "value": "two weeks", "version": "4"}
    assert "What you typed is kept" in desk.post(f"{call}/answers", data=form).text
    kept = {**form, "look": "1", "next": f"{call}/answers", "token": tokens["agent"]}
    again = signed_in_again(desk, kept)
    assert 'value="two weeks"' in again.text
    assert tickets.ticket(service, call.rsplit("/", 1)[1], AGENT).version == 4


def test_the_overview_lists_what_is_open(
    client: FlaskClient, service: Service, tokens: dict[str, str]
) -> None:
    one = tickets.open_ticket(service, {"machine": "LH20-1", "symptoms": ["not_freezing"]}, AGENT)
    client.post("/sign-in", data={"token": tokens["agent"]})
    assert one.id in client.get("/overview").text
