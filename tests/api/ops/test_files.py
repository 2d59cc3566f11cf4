"""The rulebook's files on the ops lead's pages: found, edited, checked, saved."""

from __future__ import annotations

import html
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests.api.conftest import signed_in
from triage.service.service import Service

FILE = "evidence/filter-overdue.yml"
PAGE = f"/rulebook/files/{FILE}"


@pytest.fixture
def ops(editing: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    return signed_in(editing, tokens["ops"])


def opened(page: str) -> str:
    return page.split('name="opened" value="')[1].split('"')[0]


def test_a_file_is_found_by_its_words_and_saved_with_its_comments(ops: FlaskClient, folder: Path) -> None:
    assert FILE in ops.get("/rulebook/files?q=filter+16+to+30").text
    typed = "# mine\r\n" + (folder / FILE).read_text().replace("\n", "\r\n")
    form = {"text": typed, "opened": opened(ops.get(PAGE).text), "action": "save"}
    assert ops.post(PAGE, data=form).status_code == 303
    assert (folder / FILE).read_bytes() == typed.replace("\r\n", "\n").encode()
    again = ops.post(PAGE, data={**form, "text": "# late\n" + typed})
    assert again.status_code == 409
    assert "# late" in again.text
    assert "# mine" in again.text


def test_a_text_with_a_mistake_is_kept_and_saved_only_as_unfinished(ops: FlaskClient, folder: Path) -> None:
    before = (folder / FILE).read_bytes()
    form = {"text": "titel: x\n", "opened": opened(ops.get(PAGE).text), "action": "save"}
    refused = ops.post(PAGE, data=form)
    assert refused.status_code == 422
    assert "titel: x" in refused.text
    assert (folder / FILE).read_bytes() == before
    found = ops.post(f"/rulebook/check/{FILE}", data={"text": "titel: x\n"}).json
    assert found is not None
    assert not found["ok"]
    assert found["problems"][0]["line"] == 1
    assert ops.post(PAGE, data={**form, "action": "unfinished"}).status_code == 303
    assert (folder / FILE).read_bytes() == b"titel: x\n"


def test_an_agent_may_not_open_it(ops: FlaskClient, tokens: dict[str, str]) -> None:
    ops.post("/sign-in", data={"token": tokens["agent"]})
    assert ops.get(PAGE).status_code == 403


def test_a_file_deleted_on_disk_is_put_back_only_by_choice(ops: FlaskClient, folder: Path) -> None:
    form = {"text": "# kept\n" + (folder / FILE).read_text(), "opened": opened(ops.get(PAGE).text)}
    (folder / FILE).unlink()
    refused = ops.post(PAGE, data={**form, "action": "save"})
    assert refused.status_code == 409
    assert not (folder / FILE).exists()
    assert "was deleted on disk" in refused.text
    assert "Put it back</button>" in refused.text
    assert "# kept" in refused.text
    again = ops.post(PAGE, data={**form, "opened": opened(refused.text), "action": "save"})
    assert again.status_code == 303
    assert (folder / FILE).read_text() == form["text"]


def test_a_fault_of_another_file_is_shown_but_keeps_nobody_from_saving(
    ops: FlaskClient, folder: Path
) -> None:
    other = "evidence/filter-twice-overdue.yml"
    (folder / other).write_text("titel: x\n")
    page = ops.get(PAGE).text
    assert "there without this edit" in page
    assert other in page
    form = {"text": "# mine\n" + (folder / FILE).read_text(), "opened": opened(page), "action": "save"}
    assert ops.post(PAGE, data=form).status_code == 303


def test_without_a_folder_the_pages_say_why(service: Service, tokens: dict[str, str]) -> None:
    client = create_app(service).test_client()
    client.post("/sign-in", data={"token": tokens["ops"]})
    for path in ("/rulebook/files", PAGE, "/rulebook/new", f"/rulebook/delete/{FILE}"):
        page = client.get(path)
        assert page.status_code == 404
        assert "started without a folder of rules" in page.text
        assert 'href="/rulebook"' in page.text


def test_the_cases_are_run_under_the_text_as_typed(ops: FlaskClient, folder: Path) -> None:
    text = (folder / FILE).read_text()
    before = (folder / FILE).read_bytes()
    form = {"opened": opened(ops.get(PAGE).text), "action": "cases"}
    fine = ops.post(PAGE, data={**form, "text": text}).text
    assert "None failed</span>: cases of this rule: 4, whole reports: " in fine
    turned = text.replace("16}, fires: true", "16}, fires: false")
    wrong = ops.post(PAGE, data={**form, "text": turned}).text
    assert "1 failed</span>: cases of this rule: 4, " in wrong
    assert "case 1 should stay silent, but the condition is true" in wrong
    assert "16}, fires: false" in wrong
    assert "No case was run" in ops.post(PAGE, data={**form, "text": "titel: x\n"}).text
    assert (folder / FILE).read_bytes() == before
    assert "None failed</span>: cases of rules: " in ops.get("/rulebook/files?cases=all").text


def test_a_new_file_is_on_disk_only_once_it_is_saved(ops: FlaskClient, folder: Path) -> None:
    path = "evidence/fan-noisy.yml"
    page = ops.post("/rulebook/new", data={"kind": "evidence", "id": "fan-noisy"})
    assert page.status_code == 200
    assert "(new)" in page.text
    assert "id: fan-noisy" in page.text
    assert not (folder / path).exists()
    text = html.unescape(page.text.split("<textarea")[1].split(">\n", 1)[1].split("</textarea>")[0])
    form = {"text": text, "opened": "", "action": "save"}
    assert ops.post(f"/rulebook/files/{path}", data=form).status_code == 303
    assert (folder / path).read_text() == text
    assert ops.post(f"/rulebook/files/{path}", data=form).status_code == 409
    for name in ("fan-noisy", "Fan Noisy", "../x", "filter-overdue"):
        refused = ops.post("/rulebook/new", data={"kind": "evidence", "id": name})
        assert refused.status_code == 422
        assert 'role="alert"' in refused.text


def test_a_file_is_deleted_after_it_is_said_what_needs_it(ops: FlaskClient, folder: Path) -> None:
    fact = "/rulebook/delete/facts/filter_days.yml"
    asked = ops.get(fact).text
    assert "The rulebook cannot be read without it." in asked
    assert FILE in asked
    page = f"/rulebook/delete/{FILE}"
    form = {"opened": opened(ops.get(page).text)}
    (folder / FILE).write_text("# theirs\n" + (folder / FILE).read_text())
    refused = ops.post(page, data=form)
    assert refused.status_code == 409
    assert "# theirs" in refused.text
    done = ops.post(page, data={"opened": opened(refused.text)})
    assert done.status_code == 303
    assert not (folder / FILE).exists()
    assert f"{FILE} is deleted" in ops.get(done.location).text


def test_an_entry_is_retired_after_its_places_were_shown(ops: FlaskClient, folder: Path) -> None:
    address = "/rulebook/retire/checks/rinse-filter"
    assert address in ops.get("/rulebook/files/checks/rinse-filter.yml").text
    shown = ops.get(address).text
    assert "checks/rinse-filter.yml:1" in shown
    seen = shown.split('name="seen" value="')[1].split('"')[0]
    assert ops.post(address, data={"seen": "other"}).status_code == 409
    assert "retired" not in (folder / "checks/rinse-filter.yml").read_text()
    done = ops.post(address, data={"seen": seen})
    assert "What was changed" in done.text
    assert "status: retired" in (folder / "checks/rinse-filter.yml").read_text()
    assert ops.get("/rulebook/retire/checks/nowhere").status_code == 404
