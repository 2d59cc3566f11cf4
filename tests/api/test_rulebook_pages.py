"""The rulebook's files on the ops lead's pages: found, edited, checked, saved."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.auth import COOKIE
from api.pages_rulebook import CHECKS
from triage.programme import Programme

RULES = Path(__file__).parents[2] / "rules"
FILE = "evidence/filter-overdue.yml"
PAGE = f"/rulebook/files/{FILE}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(RULES, tmp_path / "rules", ignore=shutil.ignore_patterns("*.md")))


@pytest.fixture
def ops(programme: Programme, tokens: dict[str, str], folder: Path) -> Iterator[FlaskClient]:
    client = create_app(programme, folder=folder).test_client()
    client.set_cookie(COOKIE, tokens["ops"])
    yield client
    if CHECKS in client.application.extensions:
        client.application.extensions[CHECKS].close()


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
    ops.set_cookie(COOKIE, tokens["agent"])
    assert ops.get(PAGE).status_code == 403
