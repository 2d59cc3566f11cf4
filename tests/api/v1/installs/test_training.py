"""The register of training and the guides, over the API and on the pages."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests.api.conftest import Send, add_tokens, signed_in
from tests.installs import RULES, install_files
from tests.triage.services import Clock, running_service
from triage.rulebook.reading.reader import rulebook_files_data
from triage.service.service import Service

NOTED = {
    "site": "halt-001",
    "people": ["Ana Ruiz", "Ben Low"],
    "topics": ["fill", "filter", "clean", "set_up", "dangers"],
    "signed": "Ana Ruiz",
}
FORM = {**NOTED, "people": "Ana Ruiz\r\nBen Low\r\n", "key": "a key of a form"}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock(), install_files()) as running:
        yield running


def test_training_is_noted_listed_and_ended_over_the_api(send: Send) -> None:
    assert [one["standing"] for one in send("GET", "/v1/training").json["items"]] == ["due", "due"]
    made = send("POST", "/v1/training", NOTED, by="fogline")
    assert (made.status_code, made.json["standing"], made.json["due_on"]) == (201, "kept", "2027-03-02")
    (due,) = send("GET", "/v1/training?view=due").json["items"]
    assert (due["site"], due["people"]) == ("halt-023", [])
    number = made.json["people"][0]["training"]
    gone = send("POST", f"/v1/training/{number}/left", {"on": "2026-03-01"}).json
    assert [(one["person"], one["left_on"]) for one in gone["people"]] == [
        ("Ana Ruiz", None),
        ("Ben Low", "2026-03-01"),
    ]
    assert send("POST", f"/v1/training/{number}/left", {}).status_code == 409
    assert send("POST", "/v1/training/99/left", {}).status_code == 404
    assert send("POST", f"/v1/training/{number}/left", {"on": "yesterday"}).status_code == 422


def test_the_api_says_what_is_wrong_where(send: Send) -> None:
    wrong = send("POST", "/v1/training", {**NOTED, "topics": ["filling"]})
    assert (wrong.status_code, wrong.json["errors"][0]["pointer"]) == (422, "/topics/0")
    assert send("POST", "/v1/training", NOTED, by="tern").status_code == 404
    assert send("GET", "/v1/training", by="reporter").status_code == 403
    for asked in ("view=later", "site=halt-1", "contractor=fog"):
        refused = send("GET", f"/v1/training?{asked}")
        assert (refused.status_code, refused.json["errors"][0]["pointer"]) == (
            422,
            f"query:{asked.split('=')[0]}",
        )


def test_the_page_keeps_the_register(client: FlaskClient, tokens: dict[str, str]) -> None:
    desk = signed_in(client, tokens["agent"])
    assert desk.get("/training").text.count("No training on record") == 2
    untrained = list(csv.DictReader(io.StringIO(desk.get("/training.csv").text)))
    assert [(row["standing"], row["person"]) for row in untrained] == [("due", ""), ("due", "")]
    for _ in range(2):  # sent twice by a bad line, it is noted once
        assert desk.post("/training", data=FORM).status_code == 303
    page = desk.get("/training?view=all&site=halt-001").text
    assert (page.count("Left the store"), "again by 2027-03-02" in page) == (2, True)
    for number in re.findall(r"/training/(\d+)/left", page):
        assert desk.post(f"/training/{number}/left").status_code == 303
    assert "All who were trained have left." in desk.get("/training").text
    rows = list(csv.DictReader(io.StringIO(desk.get("/training.csv?site=halt-001").text)))
    assert [(row["standing"], row["person"], row["left_on"]) for row in rows] == [
        ("due", "Ben Low", "2026-03-02"),
        ("due", "Ana Ruiz", "2026-03-02"),
    ]
    assert desk.get("/training?site=nowhere").status_code == 422
    desk.post("/language", data={"pages": "es"})
    assert "Se fueron todas las personas capacitadas." in desk.get("/training").text


def test_a_wrong_training_is_said_and_what_was_typed_stays(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    desk = signed_in(client, tokens["agent"])
    refused = desk.post("/training", data={**FORM, "people": "nobody"})
    assert refused.status_code == 422
    assert "Name the people who were trained" in refused.text
    assert ">nobody</textarea>" in refused.text


def test_the_guide_says_the_rulebooks_own_steps_in_both_languages(tmp_path: Path) -> None:
    with running_service(tmp_path, Clock(), dict(rulebook_files_data(RULES))) as service:
        client = signed_in(create_app(service).test_client(), add_tokens(service)["fogline"])
        page = unescape(client.get("/guide/LH-20").text)
        for check in (service.rulebook.checks["rinse-filter"], service.rulebook.checks["full-clean"]):
            for step in check.steps:
                assert step in page
                assert service.rulebook.spanish[step] in page
        assert page.count('class="place"') == 2
        assert service.rulebook.cautions["unplug-first"].text in page
        assert "The refrigerant may burn" not in page
        assert "Barrel or hopper is cracked" in page
        assert "The refrigerant may burn" in client.get("/guide/LH-30").text
        assert "Change the nose bushing" not in page
        unknown = client.get("/guide/LH-99")
        assert (unknown.status_code, "LH-20" in unknown.text) == (404, True)
