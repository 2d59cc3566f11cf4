"""The rulebook as a book on the ops lead's pages, and the way of the folder's changes to a candidate."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests.triage.services import NOON, rulebook_files
from triage.rulebook_care.book.difference import yaml_text
from triage.service.service import Service
from triage.store.tables.rulebooks import Publication

FILE = "evidence/fill-low.yml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The files of the live rulebook."""
    target = tmp_path / "rules"
    for file, data in rulebook_files().items():
        path = target / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(yaml_text(data))
    return target


@pytest.fixture
def ops(service: Service, tokens: dict[str, str], folder: Path) -> FlaskClient:
    with service.store.write() as work:
        work.rulebooks.keep(service.rulebook.version, rulebook_files())
        work.rulebooks.publish(Publication(service.rulebook.version, NOON, "mira", "The first of all."))
    client = create_app(service, folder=folder).test_client()
    client.post("/sign-in", data={"token": tokens["ops"]})
    return client


def change(folder: Path, old: str = "low_fill: 0.85", new: str = "low_fill: 0.8") -> None:
    text = (folder / FILE).read_text()
    assert old in text
    (folder / FILE).write_text(text.replace(old, new))


def page(client: FlaskClient, path: str) -> str:
    """The page's words without its tags."""
    found = client.get(path)
    assert found.status_code == 200, path
    return " ".join(re.sub(r"<[^>]*>", "", found.text.split("<main")[1]).split())


def test_the_contents_say_what_is_live_and_that_the_folder_says_the_same(ops: FlaskClient) -> None:
    words = page(ops, "/rulebook")
    assert "published by mira on 2026-03-02 at 17:00 UTC: “The first of all.”" in words
    assert "The folder says the same." in words
    assert "Evidence 3" in words


def test_every_link_of_the_book_leads_to_a_page(ops: FlaskClient) -> None:
    seen, ahead = set(), {"/rulebook"}
    while ahead:
        path = ahead.pop()
        seen.add(path)
        answer = ops.get(path.replace("&amp;", "&"))
        assert answer.status_code == 200, path
        links = re.findall(r'href="(/rulebook[^"#]*)', answer.text.split("<main")[1])
        ahead |= {link for link in links if not re.search("/files|/forms|of=force", link)} - seen
    assert f"/rulebook/entries/{FILE.removesuffix('.yml')}" in seen


def test_a_search_finds_by_what_an_entry_names_and_keeps_what_was_asked(ops: FlaskClient) -> None:
    found = ops.get("/rulebook?q=low+fill&kind=evidence")
    assert "/rulebook/entries/evidence/fill-low" in found.text
    assert "/rulebook/entries/evidence/filter-overdue" not in found.text
    assert 'value="low fill"' in found.text
    assert "Nothing found" in page(ops, "/rulebook?q=nosuchword")
    assert "&lt;script&gt;" in ops.get("/rulebook?q=<script>").text


def test_an_entry_says_what_it_does_where_it_stands_and_what_refers_to_it(ops: FlaskClient) -> None:
    found = ops.get("/rulebook/entries/evidence/fill-low")
    assert 'href="/rulebook/entries/facts/fill_level"' in found.text
    assert 'href="/rulebook/files/evidence/fill-low.yml"' in found.text
    words = page(ops, "/rulebook/entries/causes/low_fill")
    assert "Evidence speaks of it 2" in words
    assert ops.get("/rulebook/entries/causes/nowhere").status_code == 404


def test_an_entry_says_what_the_lint_finds_and_what_was_silenced_why(ops: FlaskClient, folder: Path) -> None:
    text = (folder / "causes/low_fill.yml").read_text().replace("low_fill", "spare")
    (folder / "causes/spare.yml").write_text(f"{text}lint_off:\n  cause-without-share: Not seen yet.\n")
    words = page(ops, "/rulebook/entries/causes/spare")
    assert "Silenced: Not seen yet. cause-without-share" in words
    assert "untouched-cause, line 1" in words
    assert "Low fill" in page(ops, "/rulebook?found=1")


def test_a_change_on_disk_is_read_at_once_and_the_live_version_on_request(
    ops: FlaskClient, folder: Path
) -> None:
    entry = "/rulebook/entries/evidence/fill-low"
    assert "Low fill 85" in page(ops, entry)
    change(folder)
    words = page(ops, entry)
    assert "Low fill 80" in words
    assert "changed since the live version" in words
    assert "Low fill 85" in page(ops, f"{entry}?of=force")
    assert "The folder differs in 1 file: evidence/fill-low.yml" in page(ops, "/rulebook")


def test_changes_are_said_in_words_and_line_by_line(ops: FlaskClient, folder: Path) -> None:
    assert "Nothing: the folder says the same." in page(ops, "/rulebook/changes")
    change(folder)
    (folder / "evidence/fill-half.yml").unlink()
    found = ops.get("/rulebook/changes")
    assert "seen with low fill: 0.85 → 0.8" in found.text
    assert "<del>-     low_fill: 0.85</del><ins>+     low_fill: 0.8</ins>" in found.text
    assert "the evidence rule (live) is taken out" in found.text
    assert "/rulebook/files/evidence/fill-half.yml" not in found.text


def version(ops: FlaskClient) -> str:
    return ops.get("/rulebook/changes").text.split('name="version" value="')[1].split('"')[0]


def test_the_folder_becomes_a_candidate_that_was_looked_at(ops: FlaskClient, folder: Path) -> None:
    change(folder)
    looked_at = version(ops)
    change(folder, "low_fill: 0.8", "low_fill: 0.75")
    late = ops.post("/rulebook/changes", data={"version": looked_at})
    assert late.status_code == 409
    assert "the folder was changed since this page was loaded" in late.text
    done = ops.post("/rulebook/changes", data={"version": version(ops)})
    assert done.status_code == 303
    candidate = page(ops, done.location)
    assert "seen with low fill: 0.85 → 0.75" in candidate
    assert "checked" in candidate


def test_a_candidate_that_fails_its_cases_is_refused_with_the_line(ops: FlaskClient, folder: Path) -> None:
    change(folder, "fill_level: 10", "fill_level: 30")
    refused = ops.post("/rulebook/changes", data={"version": version(ops)})
    assert refused.status_code == 422
    assert "nothing was kept" in refused.text
    line = (folder / FILE).read_text().splitlines().index("- facts:") + 1
    assert f"evidence/fill-low.yml, line {line}</a>: fill-low: case 1 should fire" in refused.text


def test_a_folder_that_cannot_be_read_is_named_and_the_live_version_read(
    ops: FlaskClient, folder: Path
) -> None:
    (folder / FILE).write_text("id: [")
    words = page(ops, "/rulebook")
    assert "The folder cannot be read" in words
    assert "Low fill" in page(ops, "/rulebook?kind=causes")
    found = ops.get("/rulebook/changes")
    assert "evidence/fill-low.yml, line 1</a>" in found.text
    assert "Check these files" not in found.text
    assert ops.post("/rulebook/changes", data={}).status_code == 422


def test_without_a_folder_the_live_version_is_the_book(service: Service, tokens: dict[str, str]) -> None:
    client = create_app(service).test_client()
    client.post("/sign-in", data={"token": tokens["ops"]})
    assert "no folder of rules" in page(client, "/rulebook")
    assert "/rulebook/forms/" not in client.get("/rulebook/entries/causes/low_fill").text
    assert client.get("/rulebook/changes").status_code == 404


@pytest.mark.parametrize("path", ["/rulebook", "/rulebook/entries/causes/low_fill", "/rulebook/changes"])
def test_an_agent_may_not_open_the_book(ops: FlaskClient, tokens: dict[str, str], path: str) -> None:
    ops.post("/sign-in", data={"token": tokens["agent"]})
    assert ops.get(path).status_code == 403


def test_the_book_and_its_entries_are_in_spanish_where_the_pages_are(ops: FlaskClient) -> None:
    ops.set_cookie("barrelwise_pages_language", "es")
    contents = ops.get("/rulebook").text
    assert "Qué contiene" in contents and "What stands in it" not in contents
    listed = ops.get("/rulebook?kind=facts").text
    assert "Qué se pregunta, está registrado o se calcula" in listed
    entry = ops.get("/rulebook/entries/evidence/filter-overdue").text
    assert "Cuando" in entry and "cualquier otra causa" in entry and "any other cause" not in entry
    ops.set_cookie("barrelwise_pages_language", "en")
    assert "any other cause" in ops.get("/rulebook/entries/evidence/filter-overdue").text
