"""The rulebook's files over the API: read, checked, saved and deleted with nobody's work lost."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests.api.conftest import Send
from triage.service.service import Service

FILES = "/v1/rulebook/files"
FILE = "evidence/filter-overdue.yml"
ONE = f"{FILES}/{FILE}"


@pytest.fixture
def client(editing: FlaskClient) -> FlaskClient:
    return editing


def test_files_are_listed_and_read_as_they_are_on_disk(send: Send, folder: Path) -> None:
    listed = send("GET", FILES, by="ops").get_json()
    assert listed["read_only"] is None
    rows = {row["path"]: row["sha256"] for row in listed["files"]}
    assert len(rows) == len(list(folder.rglob("*.yml")))
    one = send("GET", ONE, by="ops")
    content = (folder / FILE).read_bytes()
    assert one.get_json()["text"].encode() == content
    assert rows[FILE] == one.get_json()["sha256"] == hashlib.sha256(content).hexdigest()
    assert one.headers["ETag"] == f'"{rows[FILE]}"'
    assert send("GET", f"{FILES}/facts/none.yml", by="ops").status_code == 404
    assert send("GET", f"{FILES}/../README.md", by="ops").status_code == 404


def test_a_file_is_saved_only_over_the_one_that_was_read(send: Send, folder: Path) -> None:
    one = send("GET", ONE, by="ops")
    body = {"text": "# mine\n" + one.get_json()["text"]}
    assert send("PUT", ONE, body, by="ops").status_code == 428
    saved = send("PUT", ONE, body, by="ops", If_Match=one.headers["ETag"])
    assert saved.status_code == 200
    assert (folder / FILE).read_text() == body["text"]
    late = send("PUT", ONE, {"text": body["text"] + "# late\n"}, by="ops", If_Match=one.headers["ETag"])
    assert late.status_code == 412
    assert late.content_type == "application/problem+json"
    assert (folder / FILE).read_text() == body["text"]
    assert send("PUT", ONE, body, by="ops", If_Match="*").headers["ETag"] == saved.headers["ETag"]


def test_a_text_that_breaks_the_rulebook_is_refused_with_its_places_unless_unfinished(
    send: Send, folder: Path
) -> None:
    refused = send("PUT", ONE, {"text": "titel: x\n"}, by="ops", If_Match="*")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == f"{FILE}:1:1"
    assert (folder / FILE).read_bytes() != b"titel: x\n"
    unfinished = {"text": "titel: x\n", "unfinished": True}
    assert send("PUT", ONE, unfinished, by="ops", If_Match="*").status_code == 200
    assert (folder / FILE).read_bytes() == b"titel: x\n"


def test_a_new_file_is_made_and_deleted(send: Send, folder: Path) -> None:
    path = f"{FILES}/facts/hail_seen.yml"
    text = "id: hail_seen\ntitle: Hail\ntype: flag\nask: Does it hail?\nhelp: Look out\nasked_of: clerk\n"
    body = {"text": text + "ask_seconds: 20\n"}
    made = send("PUT", path, body, by="ops", If_None_Match="*")
    assert made.status_code == 201
    again = send("PUT", path, body, by="ops", If_None_Match="*")
    assert again.status_code == 412
    assert send("DELETE", path, by="ops").status_code == 428
    assert send("DELETE", path, by="ops", If_Match='"0"').status_code == 412
    assert send("DELETE", path, by="ops", If_Match=made.headers["ETag"]).status_code == 204
    assert not (folder / "facts/hail_seen.yml").exists()


def test_what_others_need_is_deleted_only_outright(send: Send, folder: Path) -> None:
    path = f"{FILES}/facts/filter_days.yml"
    refused = send("DELETE", path, by="ops", If_Match="*")
    assert refused.status_code == 422
    assert any(row["pointer"].startswith(FILE) for row in refused.get_json()["errors"])
    assert send("DELETE", f"{path}?unfinished=true", by="ops", If_Match="*").status_code == 204
    assert not (folder / "facts/filter_days.yml").exists()


def test_a_text_is_checked_and_its_cases_run_and_nothing_saved(send: Send, folder: Path) -> None:
    before = (folder / FILE).read_bytes()
    text = before.decode()
    assert send("POST", f"{ONE}/check", {"text": text}, by="ops").get_json() == {
        "ok": True,
        "problems": [],
        "findings": [],
        "standing": [],
    }
    gap = send("POST", f"{ONE}/check", {"text": text.replace("(15..30]", "(15..29]")}, by="ops").get_json()
    assert [row["code"] for row in gap["findings"]] == ["band-gap"]
    assert gap["findings"][0]["severity"] == "warning"
    turned = {"text": text.replace("16}, fires: true", "16}, fires: false"), "cases": True}
    cases = send("POST", f"{ONE}/check", turned, by="ops").get_json()["cases"]
    assert (cases["ok"], cases["rule_cases"], len(cases["failures"])) == (False, 4, 1)
    assert cases["failures"][0]["line"] == 16
    long = {"text": "x" * (300 * 1024)}
    assert send("POST", f"{ONE}/check", long, by="ops").status_code == 422
    assert (folder / FILE).read_bytes() == before


def test_without_a_folder_there_is_nothing_to_edit(service: Service, tokens: dict[str, str]) -> None:
    client = create_app(service).test_client()
    answer = client.get(FILES, headers={"Authorization": f"Bearer {tokens['ops']}"})
    assert answer.status_code == 404
    assert answer.content_type == "application/problem+json"
    assert "no folder of rules" in answer.get_json()["detail"]


@pytest.mark.parametrize("role", ["agent", "reporter", "fogline"])
def test_only_ops_may_touch_them(send: Send, role: str) -> None:
    for method, path in (
        ("GET", FILES),
        ("GET", ONE),
        ("PUT", ONE),
        ("DELETE", ONE),
        ("POST", f"{ONE}/check"),
    ):
        assert send(method, path, {}, by=role).status_code == 403
