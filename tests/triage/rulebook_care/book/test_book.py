"""The rulebook as entries that are found by words and lead to each other."""

from __future__ import annotations

import re
import shutil
from datetime import date
from pathlib import Path

import pytest

from tests import RULES
from tests.triage.builders import minimal_files, minimal_rulebook
from triage.rulebook.reading.reader import read_rulebook, rulebook_files_data, rulebook_from_data
from triage.rulebook_care.book.book import book_of, counts, search
from triage.rulebook_care.book.difference import changed_files, file_diff, yaml_text
from triage.rulebook_care.book.entries import BUILT_IN
from triage.rulebook_care.book.folder import FolderBook
from triage.rulebook_care.book.references import KINDS
from triage.rulebook_care.editing.candidate import refuse_bad
from triage.values.errors import Problem
from triage.values.yaml_source import read_yaml

OVERDUE = ("evidence", "filter-overdue")


@pytest.fixture(scope="module")
def default():
    return book_of(read_rulebook(RULES))


@pytest.fixture
def folder(tmp_path):
    target = tmp_path / "rules"
    for file, data in minimal_files().items():
        path = target / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(yaml_text(data))
    return target


def test_every_file_of_the_rulebook_is_an_entry_of_the_book(default):
    files = {path.relative_to(RULES).as_posix() for path in RULES.rglob("*.yml")}
    assert {entry.file for entry in default.entries.values()} - {BUILT_IN} == files


def test_every_link_and_every_reference_leads_to_an_entry(default):
    for entry in default.entries.values():
        for kind, name in re.findall(r"\]\(#([a-z]+)-([a-z0-9_-]+)\)", entry.markdown):
            assert (kind, name) in default.entries, entry.key
    assert set(default.referred_by) <= set(default.entries)


def test_what_refers_to_an_entry_is_known():
    book = book_of(minimal_rulebook())
    of_fact = [(each.source, each.how) for each in book.referred_by["facts", "filter_neglected"]]
    assert (OVERDUE, "fires on") in of_fact
    of_cause = {(each.source, each.how) for each in book.referred_by["causes", "dirty_filter"]}
    assert {(OVERDUE, "speaks of"), (("symptoms", "not_freezing"), "may end with")} <= of_cause
    setters = [each.source for each in book.referred_by["facts", "filter_neglected"] if each.how == "sets"]
    assert setters == [("derive", "filter-neglected")]


def test_a_symptom_named_in_a_condition_is_referred_to(default):
    sources = {each.source for each in default.referred_by["symptoms", "tingling"] if each.how == "fires on"}
    assert any(kind == "cautions" for kind, _ in sources)


def test_an_entry_is_found_by_what_it_names_and_its_own_id_comes_first(default):
    assert search(default, "filter-overdue")[0].key == OVERDUE
    by_cause = {entry.key for entry in search(default, "dirty air filter", kind="evidence")}
    assert OVERDUE in by_cause
    by_fact = {entry.key for entry in search(default, "filter_days")}
    assert OVERDUE in by_fact
    assert ("facts", "filter_days") in by_fact
    assert OVERDUE in {entry.key for entry in search(default, "PROGRAM desk filter")}
    assert search(default, "filter nosuchword") == ()


def test_kind_and_status_narrow_a_search_down():
    draft = {**minimal_files()["evidence/fill-low.yml"], "status": "draft"}
    book = book_of(rulebook_from_data({**minimal_files(), "evidence/fill-low.yml": draft}))
    assert [entry.id for entry in search(book, status="draft")] == ["fill-low"]
    assert {entry.kind for entry in search(book, kind="causes")} == {"causes"}
    assert tuple(counts(book.entries.values())) == tuple(KINDS)


def test_what_the_lint_says_stands_with_its_entry():
    unused = minimal_files()["causes/low_fill.yml"] | {"id": "unused"}
    book = book_of(rulebook_from_data({**minimal_files(), "causes/unused.yml": unused}))
    entry = book.entries["causes", "unused"]
    assert {each.code for each in book.found_in(entry)} >= {"cause-without-share"}
    assert entry in search(book, with_findings=True)


def test_what_people_wrote_stays_text_in_an_entry():
    cause = {**minimal_files()["causes/low_fill.yml"], "why": "<b>[x](#fact-nowhere)</b> *so*"}
    book = book_of(rulebook_from_data({**minimal_files(), "causes/low_fill.yml": cause}))
    markdown = book.entries["causes", "low_fill"].markdown
    assert r"\<b\>\[x\](\#fact-nowhere)\</b\> \*so\*" in markdown


def test_a_folder_is_read_again_where_a_file_changed_and_only_then(folder):
    kept = FolderBook(folder)
    first = kept.state()
    assert kept.state() is first
    file = folder / "causes/low_fill.yml"
    file.write_text(file.read_text().replace("Low fill", "Hopper nearly empty"))
    second = kept.state()
    assert second.book.entries["causes", "low_fill"].title == "Hopper nearly empty"
    assert second.version != first.version
    assert second.sources["causes/dirty_filter.yml"] is first.sources["causes/dirty_filter.yml"]
    file.unlink()
    assert kept.state().book is None
    assert any("low_fill" in problem.message for problem in kept.state().problems)


def test_a_folder_with_a_broken_file_or_none_at_all_says_so(folder, tmp_path):
    (folder / "causes/low_fill.yml").write_text("id: [")
    state = FolderBook(folder).state()
    assert (state.version, state.book, state.broken) == (None, None, {"causes/low_fill.yml"})
    assert state.problems[0].line == 1
    assert "no such folder" in FolderBook(tmp_path / "none").state().problems[0].message


def test_problems_of_a_check_get_the_line_of_the_case_they_speak_of(folder):
    file = folder / "evidence/fill-low.yml"
    file.write_text(file.read_text().replace("fill_level: 10", "fill_level: 30"))
    state = FolderBook(folder).state()
    with pytest.raises(Exception, match="case 1 should fire") as caught:
        refuse_bad(state.files)
    placed = state.placed(caught.value.problems)
    assert (placed[0].file, file.read_text().splitlines()[placed[0].line - 1].strip()) == (
        "evidence/fill-low.yml",
        "- facts:",
    )
    assert state.placed([Problem("else")]) == (Problem("else"),)


def test_a_file_written_anew_says_the_same():
    for file, data in rulebook_files_data(RULES).items():
        assert read_yaml(yaml_text(data).encode(), file).data == data, file


def test_only_what_a_file_says_is_a_difference():
    before = {"a.yml": {"x": 0.80, "y": "n"}, "b.yml": {"z": 1}}
    after = {"a.yml": {"y": "n", "x": "0.8"}, "c.yml": {"z": 1}}
    assert changed_files(before, {**before, "a.yml": {"y": "n", "x": 0.8}}) == ()
    assert changed_files(before, after) == ("a.yml", "b.yml", "c.yml")
    lines = file_diff({"x": 0.80, "y": "n"}, {"y": "n", "x": 0.85})
    assert [(line.what, line.text) for line in lines[1:]] == [
        ("same", "y: n"),
        ("removed", "x: 0.8"),
        ("added", "x: 0.85"),
    ]
    kept = {"since": "2026-03-02", "n": 1}
    assert [line.text for line in file_diff(kept, {"since": date(2026, 3, 2), "n": 2})[1:]] == [
        "since: 2026-03-02",
        "n: 1",
        "n: 2",
    ]
    assert [line.what for line in file_diff(None, {"z": 1})] == ["place", "added"]
    assert [line.what for line in file_diff({"z": 1}, None)] == ["place", "removed"]


def test_the_default_folder_is_read_without_problems(tmp_path):
    copied = shutil.copytree(RULES, tmp_path / "rules", ignore=shutil.ignore_patterns("*.md"))
    state = FolderBook(Path(copied)).state()
    assert state.problems == ()
    assert state.book.version == state.version
