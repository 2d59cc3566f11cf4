"""Installations over the API and on the phone: from the plan to live, and back when it fails."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send, signed_in
from tests.api.v1.test_photos import picture
from tests.installs import ALL, COUNTS, PLAN, SET_UP, SURVEY, install_files
from tests.triage.services import Clock, running_service
from triage.service.installs.reading import STEPS
from triage.service.service import Service


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock(), install_files()) as running:
        yield running


def test_from_the_plan_to_live(send: Send) -> None:
    made = send("POST", "/v1/installs", PLAN)
    assert (made.status_code, made.json["state"], made.json["next"]) == (
        201,
        "planned",
        ["survey", "date", "cancel"],
    )
    at = made.headers["Location"]
    for step in ALL:
        answer = send("POST", f"{at}/steps", step, by="fogline")
        assert answer.status_code == 201, answer.json
    assert (answer.json["state"], answer.json["punch_list"]) == ("live", [])
    assert send("GET", answer.json["calendar"]).content_type.startswith("text/calendar")
    assert [one["install"] for one in send("GET", "/v1/installs?state=live").json["items"]] == [
        made.json["install"]
    ]
    known = send("POST", "/v1/triage", {"machine": "LH20-1", "symptoms": ["not_freezing"]}).json["facts"]
    assert "seal_style" not in known or known["seal_style"]["from"] == "record"


def test_what_there_is_not_is_named_as_a_filter_and_not_left_out(
    send: Send, client: FlaskClient, tokens: dict[str, str]
) -> None:
    made = send("POST", "/v1/installs", PLAN).json["install"]
    for asked in ("state=planned", "site=halt-001", "machine=lh20%201", "contractor=fogline"):
        assert [one["install"] for one in send("GET", f"/v1/installs?{asked}").json["items"]] == [made]
    assert send("GET", "/v1/installs?contractor=tern").json["items"] == []
    wrong = {"site": "halt-01", "machine": "LH20-9", "contractor": "fog", "state": "plan"}
    van = signed_in(client, tokens["ops"])
    for name, value in wrong.items():
        refused = send("GET", f"/v1/installs?{name}={value}")
        assert (refused.status_code, refused.json["errors"][0]["pointer"]) == (422, f"query:{name}")
        page = van.get(f"/installs?{name}={value}")
        assert (page.status_code, value in page.text) == (422, True)
    other = send("GET", "/v1/installs?contractor=fogline", by="tern")
    assert (other.status_code, other.json["errors"][0]["pointer"]) == (422, "query:contractor")
    assert made in van.get("/installs?site=halt-001&state=planned").text
    assert made not in van.get("/installs?site=halt-023").text


def test_every_step_has_an_example_that_its_form_takes(send: Send) -> None:
    document = send("GET", "/openapi.json").json["paths"]["/v1/installs/{install_id}/steps"]["post"]
    examples = document["requestBody"]["content"]["application/json"]["examples"]
    assert examples.keys() == STEPS.keys()
    form = send("GET", "/v1/installs/form").json
    places = {field["place"] for point in form["points"] for field in point["fields"]}
    points = {point["point"] for point in form["points"] if not point["blocks"]}
    for name, example in examples.items():
        told = example["value"]
        assert {"step", *STEPS[name][1]} >= told.keys()
        assert places >= told.get("answers", {}).keys()
        assert form["topics"].keys() >= set(told.get("topics", ()))
        assert {item["id"] for item in form["kit"]} >= told.get("counts", {}).keys()
        assert told.get("point", "tray_in") in points


def test_a_refusal_is_a_problem_at_its_place(send: Send) -> None:
    at = send("POST", "/v1/installs", PLAN).headers["Location"]
    wrong = send("POST", f"{at}/steps", {"step": "survey", "answers": {"circuit/volts": "120 V"}})
    assert (wrong.status_code, wrong.json["errors"][0]["pointer"]) == (422, "/answers/circuit~1volts")
    early = send("POST", f"{at}/steps", {"step": "finish"})
    assert (early.status_code, "cannot come now" in early.json["detail"]) == (409, True)
    assert send("POST", f"{at}/steps", {"step": "survey"}, by="tern").status_code == 404
    assert send("GET", "/v1/installs/I-XXXXXX").status_code == 404


def test_sent_twice_it_happens_once(send: Send) -> None:
    headers = {"Idempotency-Key": "one-key-1"}
    first = send("POST", "/v1/installs", PLAN, **headers)
    assert send("POST", "/v1/installs", PLAN, **headers).json == first.json
    assert len(send("GET", "/v1/installs").json["items"]) == 1


def test_a_photo_is_kept_once(send: Send, client: FlaskClient, tokens: dict[str, str]) -> None:
    at = send("POST", "/v1/installs", PLAN).headers["Location"]
    headers = {"Authorization": f"Bearer {tokens['fogline']}"}
    for _ in range(2):
        sent = client.post(f"{at}/photos", data=picture(), content_type="image/jpeg", headers=headers)
        assert (sent.status_code, sent.json["number"]) == (201, 1)
    assert client.get(sent.json["image"], headers=headers).data[:2] == b"\xff\xd8"
    assert send("GET", at).json["photos"] == 1
    other = {"Authorization": f"Bearer {tokens['tern']}"}
    assert client.get(sent.json["image"], headers=other).status_code == 404


def test_the_form_says_what_an_installation_takes(send: Send) -> None:
    form = send("GET", "/v1/installs/form").json
    places = {field["place"] for point in form["points"] for field in point["fields"]}
    assert places >= SURVEY.keys() | SET_UP.keys()
    assert {item["id"] for item in form["kit"]} == COUNTS.keys()


def fields_of(step: dict[str, object]) -> dict[str, object]:
    """A step as a phone sends it."""
    said = {"key": f"key of {step['step']}"}
    words = {True: "yes", False: "no"}
    for place, value in (step.get("answers") or {}).items():  # type: ignore[attr-defined]
        typed = words[value] if isinstance(value, bool) else value
        said[place] = "-".join(typed) if isinstance(typed, list) else str(typed)
    said |= {f"kit:{name}": str(count) for name, count in (step.get("counts") or {}).items()}  # type: ignore[attr-defined]
    if step["step"] == "date":
        said |= {"at": "2026-03-03T09:00", "technician": "Ray"}
    if step["step"] == "training":
        said |= {"people": "Dana\r\nRay\r\n", "topics": "fill", "watched": "yes", "signed": "Dana"}
    return said


def test_the_phone_takes_it_from_the_plan_to_live(
    send: Send, client: FlaskClient, tokens: dict[str, str]
) -> None:
    desk = signed_in(client, tokens["ops"])
    made = desk.post("/installs", data={**PLAN, "key": "plan it once"})
    assert made.status_code == 303
    van = signed_in(client, tokens["fogline"])
    for step in ALL:
        sent = van.post(f"{made.location}/{step['step']}", data=fields_of(step))
        assert sent.status_code == 303, sent.text
        page = van.get(made.location)
        assert page.status_code == 200
    assert "Live, with nothing open." in page.text
    assert b"BEGIN:VCALENDAR" in van.get(f"{made.location}/visit.ics").data
    listed = van.get("/installs").text
    assert "Lanternway Alder Quay" in listed


def test_what_is_wrong_is_said_on_the_phone_and_what_was_typed_stays(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    desk = signed_in(client, tokens["ops"])
    at = desk.post("/installs", data={**PLAN, "key": "plan it once"}).location
    wrong = desk.post(f"{at}/survey", data={"key": "survey one", "circuit/volts": "about 120"})
    assert wrong.status_code == 422
    assert "What voltage was measured at the outlet? write a number" in wrong.text
    assert 'value="about 120"' in wrong.text
    assert desk.post(f"{at}/date", data={"key": "date one", "at": "soon"}).status_code == 422
    assert desk.post(f"{at}/nothing", data={"key": "step one"}).status_code == 404
    assert desk.post(f"{at}/survey", data={"circuit/volts": "120"}).status_code == 422


def test_the_page_is_in_spanish_too(client: FlaskClient, tokens: dict[str, str]) -> None:
    desk = signed_in(client, tokens["ops"])
    at = desk.post("/installs", data={**PLAN, "key": "plan it once"}).location
    desk.post("/phone/language", data={"pages": "es", "next": "/installs"})
    page = desk.get(at).text
    assert "¿Está la máquina sola en su disyuntor?" in page
    assert "Inspección del sitio" in page
