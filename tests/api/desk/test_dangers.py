"""Dangers on the desk's pages: heard, shown, read out, lifted; and what stays closed meanwhile."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.api.desk.test_desk import last_event, step
from tests.triage.builders import NO_SOURCE, head
from tests.triage.services import OPS, Clock, rulebook_files, running_service
from triage.service import calls, tickets
from triage.service.service import Service

NOTE = "It is all liquid. When I touched the side it zapped me. Send somebody."
FIGURE = "Only a way of speaking"
SHOCK = {
    "facts/tingle_felt.yml": {
        "id": "tingle_felt",
        "title": "A tingle was felt",
        "type": "flag",
        "danger": True,
        "near": False,
        "ask": "Did anyone feel a tingle?",
        "asked_of": "clerk",
    },
    "words/shock.yml": {
        "id": "shock",
        "title": "An electric shock",
        "danger": "tingle_felt",
        "en": ["zap"],
        "es": ["toques"],
        "source": NO_SOURCE,
        "cases": [
            {"said": "it zapped me", "heard": True},
            {"said": "me dio toques", "heard": True},
            {"said": "it did not zap me", "heard": False},
        ],
    },
    "cautions/shock-felt.yml": head(
        "shock-felt",
        {"tingle_felt": True},
        {"tingle_felt": True},
        {"tingle_felt": False},
        title="A shock was felt",
        then={"text": "Do not touch the machine. Keep people away.", "stop_use": True, "forbids": "all"},
    ),
}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock(), rulebook_files(**SHOCK)) as running:
        yield running


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


@pytest.fixture
def lead(desk: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client = desk.application.test_client()
    client.post("/sign-in", data={"token": tokens["ops"]})
    return client


FORM = {"machine": "LH20-1", "symptom": "not_freezing"}


@pytest.fixture
def stopped(desk: FlaskClient) -> str:
    """The path of a ticket on which a shock was heard."""
    return desk.post("/report", data={**FORM, "note": NOTE, "heard.shock": ""}).headers["Location"]


def shown(page: str) -> str:
    found = re.search(r'name="shown" value="(\w+)"', page)
    assert found is not None
    return found[1]


def read_out(desk: FlaskClient, call: str) -> str:
    return step(desk, call, "read-out", said="1", shown=shown(desk.get(call).text))


def test_the_stop_page_quotes_what_was_heard_and_focuses_nothing_below_the_text(
    desk: FlaskClient, stopped: str
) -> None:
    page = desk.get(stopped).text
    assert 'role="alertdialog"' in page
    assert re.search(r"heard: <q>[^<]*zapped[^<]*</q>", page)
    assert page.index("Do not touch the machine.") < page.index("<header")
    assert page.count("autofocus") == 1
    assert page.index("autofocus") < page.index("Do not touch the machine.") < page.index("<button")
    assert re.search(r'type="checkbox" name="said" value="1" required', page)


@pytest.mark.parametrize("form", [{}, {"said": "1"}, {"said": "1", "shown": "00"}, {"shown": "own"}])
def test_only_the_stop_page_and_its_tick_say_that_it_was_read_out(
    desk: FlaskClient, stopped: str, service: Service, form: dict[str, str]
) -> None:
    if form.get("shown") == "own":
        form = {"shown": shown(desk.get(stopped).text)}
    assert "Read the text out first" in step(desk, stopped, "read-out", **form)
    assert tickets.ticket(service, stopped.rsplit("/", 1)[1], OPS).acknowledged == ()
    assert desk.post(f"{stopped}/read-out", data=form).status_code == 422


def test_the_stop_page_of_another_agent_confirms_nothing(
    desk: FlaskClient, lead: FlaskClient, stopped: str
) -> None:
    theirs = shown(lead.get(stopped).text)
    assert "Read the text out first" in step(desk, stopped, "read-out", said="1", shown=theirs)


def test_after_the_stop_nothing_leads_to_the_machine(desk: FlaskClient, stopped: str) -> None:
    page = read_out(desk, stopped)
    assert "Nobody touches the machine" in page
    assert "Every question that brings someone near the machine" in page
    assert '<option value="fill_level">' not in page
    assert 'class="plan"' not in page
    assert 'value="cured"' not in page
    assert " autofocus" not in page
    opened = desk.get(f"{stopped}?fact=fill_level").text
    assert "Not asked: someone would have to go near the machine." in opened
    assert 'name="fact" value="fill_level"' not in opened


def test_an_open_danger_shows_wherever_its_machine_does(desk: FlaskClient, stopped: str) -> None:
    said = "A shock was felt"
    pages = ("/", "/find?part=1&q=lh20-1", "/machines/LH20-1", "/report?machine=LH20-1", f"{stopped}/what-if")
    for path in (*pages, f"{stopped}/history"):
        assert said in desk.get(path, follow_redirects=True).text, path
    assert said not in desk.get("/machines/LH30-2").text


def test_another_ticket_of_the_machine_stops_too(desk: FlaskClient, stopped: str) -> None:
    offered = desk.post("/report", data=FORM)
    assert offered.status_code == 409
    assert "Danger open on this machine" in offered.text
    assert '<button name="second"' not in offered.text, "Enter would open a second ticket"
    second = desk.post("/report", data={**FORM, "second": "1"}).headers["Location"]
    page = desk.get(second).text
    assert "Do not touch the machine." in page
    assert f'<a href="{stopped}">' in page
    assert "Misread" not in page, "it is lifted where it was raised"


def test_misread_words_lift_the_danger_and_stay_in_the_log(
    desk: FlaskClient, stopped: str, service: Service
) -> None:
    page = step(desk, stopped, "dangers/shock-felt/lift", how="misread", why=FIGURE)
    assert "Nobody touches the machine" not in page
    lifted = last_event(service, stopped, "danger_lifted")
    assert (lifted["caution"], lifted["how"], lifted["why"]) == ("shock-felt", "misread", FIGURE)
    assert f"misread. {FIGURE}" in desk.get(f"{stopped}/history").text


def test_a_slip_of_the_answer_is_lifted_as_misread(desk: FlaskClient, service: Service) -> None:
    call = desk.post("/report", data=FORM).headers["Location"]
    assert "the caller said so" in step(desk, call, "answers", fact="cord_damaged", value="yes")
    page = step(desk, call, "dangers/damaged-cord/lift", how="misread", why="Typed or pressed by mistake")
    assert "Leave the plug alone" not in page


def test_only_ops_says_that_the_machine_is_safe_and_says_why(
    desk: FlaskClient, lead: FlaskClient, stopped: str
) -> None:
    lift = f"{stopped}/dangers/shock-felt/lift"
    ended = desk.application.test_client().post(lift, data={"how": "safe", "why": "Ground tested."})
    assert (ended.status_code, 'name="why" value="Ground tested."' in ended.text) == (401, True)
    assert "Who made it safe, and how" not in desk.get(stopped).text
    assert desk.post(lift, data={"how": "safe", "why": "The ground was tested."}).status_code == 403
    assert desk.post(lift, data={"how": "somehow", "why": "The ground was tested."}).status_code == 422
    assert lead.post(lift, data={"how": "safe", "why": " "}).status_code == 422
    assert (
        'value="Ground tested."'
        in lead.post(lift, data={"how": "safe", "why": "Ground tested.", "look": "1"}).text
    )
    assert "Who made it safe, and how" in lead.get(stopped).text
    page = step(lead, stopped, "dangers/shock-felt/lift", how="safe", why="Ground tested by Fogline.")
    assert "A shock was felt" not in desk.get("/machines/LH20-1").text
    assert "Nobody touches the machine" not in page


def test_a_danger_heard_is_shown_before_the_report_is_sent(desk: FlaskClient) -> None:
    page = desk.post("/report", data={**FORM, "note": NOTE, "match": "1"}).text
    assert "A danger was heard in these words" in page
    assert re.search(r"<p>“When I touched .*<mark>.*zapped.*</mark>”", page)
    assert "Did anyone feel a tingle?" in page
    assert re.search(r'name="heard.shock" value="" required', page)
    assert not re.search(r'name="heard.shock"[^>]* checked', page), "nobody has answered yet"
    unseen = desk.post("/report", data={**FORM, "note": NOTE})
    assert unseen.status_code == 409
    assert "A danger was heard in these words" in unseen.text


def test_words_marked_as_misread_at_the_report_stop_nothing(desk: FlaskClient, service: Service) -> None:
    form = {**FORM, "note": NOTE, "heard.shock": FIGURE}
    call = desk.post("/report", data=form).headers["Location"]
    assert "Do not touch the machine." not in desk.get(call).text
    assert last_event(service, call, "danger_lifted")["why"] == FIGURE


def test_one_place_marked_as_misread_hides_no_other(desk: FlaskClient, service: Service) -> None:
    note = "The toaster zapped him once. Now this one zapped her"
    form = {**FORM, "note": note, "heard.shock": FIGURE}
    page = desk.post("/report", data=form)
    assert page.status_code == 409 and 'name="heard.shock.2"' in page.text
    call = desk.post("/report", data={**form, "heard.shock.2": ""}).headers["Location"]
    shown = desk.get(call).text
    assert "Do not touch the machine." in shown
    assert "toaster" not in re.findall(r"heard: (.*)", shown)[0]
    assert last_event(service, call, "danger_lifted")["quotes"] == ["The toaster zapped him once"]


def test_a_mark_holds_for_the_words_that_were_shown_and_no_others(desk: FlaskClient) -> None:
    form = {**FORM, "note": NOTE, "heard.shock": FIGURE, "quoted.heard.shock": "the price zapped me"}
    assert desk.post("/report", data=form).status_code == 409


def test_a_report_that_is_refused_files_nothing(desk: FlaskClient, service: Service) -> None:
    for second in ({}, {"second": "1"}):
        form = {**FORM, "note": NOTE, "heard.shock": "x", **second}
        refused = desk.post("/report", data=form)
        assert refused.status_code == 422
        assert "Say in a sentence why the danger is gone" in refused.text
        assert tickets.tickets(service, OPS).tickets == ()


def test_a_serial_in_another_spelling_is_the_same_machine(desk: FlaskClient, stopped: str) -> None:
    form = {**FORM, "machine": " lh 20-1", "note": "It is slow."}
    again = desk.post("/report", data=form)
    assert again.status_code == 409
    assert stopped in again.text
    assert 'value="LH20-1"' in again.text


def test_a_danger_said_instead_of_a_number_is_heard(desk: FlaskClient, service: Service) -> None:
    call = desk.post("/report", data=FORM).headers["Location"]
    page = step(desk, call, "answers", fact="filter_days", value="no idea but it zapped me")
    assert "Do not touch the machine." in page
    assert last_event(service, call, "skipped")["said"] == "no idea but it zapped me"


def test_what_must_be_known_first_is_asked_first_and_may_stay_unknown(desk: FlaskClient) -> None:
    call = desk.post("/report", data=FORM).headers["Location"]
    for _ in range(2):
        page = desk.get(call).text
        assert "Nobody goes near the machine yet." in page
        asked = re.search(r'name="fact" value="(\w+)"', page)
        assert asked is not None and asked[1] in ("cord_damaged", "tingle_felt")
        assert "Nobody goes near the machine until this is known." in page
        page = step(desk, call, "answers", fact=asked[1], value="?")
    assert "Nobody goes near the machine yet." in page
    assert "Nobody goes near the machine until this is known." not in page


def test_nothing_is_believed_of_a_stop_that_has_changed_meanwhile(
    desk: FlaskClient, stopped: str, service: Service
) -> None:
    page = desk.get(stopped).text
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version is not None
    calls.skip(service, stopped.rsplit("/", 1)[1], "filter_days", OPS, None)
    form = {"version": version[1], "said": "1", "shown": shown(page)}
    assert desk.post(f"{stopped}/read-out", data=form).status_code == 409


def test_a_danger_in_spanish_is_heard_at_the_report(desk: FlaskClient) -> None:
    page = desk.get("/report?machine=LH20-1&words=me+dio+toques").text
    assert re.search(r"<mark>[^<]*toques[^<]*</mark>", page)
    assert desk.get("/report?machine=LH20-1&words=no+da+toques").text.count("<mark>") == 0
