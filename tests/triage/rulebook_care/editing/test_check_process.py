"""Edited texts are checked where no text, however made, holds a server up."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import RULES
from triage.rulebook_care.editing.check import FolderCheck
from triage.rulebook_care.editing.check_process import MOST_LISTED, CheckProcess
from triage.rulebook_care.editing.files import WorkFolder, as_saved

FILE = "evidence/filter-overdue.yml"


@pytest.fixture(scope="module")
def checks() -> Iterator[CheckProcess]:
    process = CheckProcess(RULES)
    yield process
    process.close()


@pytest.fixture(scope="module")
def good() -> str:
    return WorkFolder(RULES).read(FILE).text


def test_it_answers_as_the_check_in_the_same_process_does(checks: CheckProcess, good: str) -> None:
    here = FolderCheck(RULES)
    for text in (good, good.replace("dirty_filter:", "dirty_filtre:"), good.replace("(15..30]", "(15..29]")):
        assert checks.check(FILE, as_saved(text)) == here.check(FILE, as_saved(text))


HOSTILE = {
    "aliases": "a: &a [x]\n" + "".join(f"k{number}: *a\n" for number in range(20_000)),
    "nested flow": "x: " + "[" * 120_000 + "]" * 120_000,
    "shallow flow": "x: [" + "[1]," * 60_000 + "]",
    "long numbers": "x: " + "9" * 200_000 + "\ny: 1e999999999\n",
    "a wide test": "when:\n  filter_days: '" + "not(" * 40_000 + "1" + ")" * 40_000 + "'\n",
    "spaces in a test": "when:\n  filter_days: '" + " " * 200_000 + "!'\n",
    "one quote": '"' + "\\x41" * 60_000,
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_no_text_stops_the_check_of_the_next_one(checks: CheckProcess, good: str, kind: str) -> None:
    found = checks.check(FILE, as_saved(HOSTILE[kind]))
    assert 1 <= len(found.problems) <= MOST_LISTED
    assert checks.check(FILE, as_saved(good)).ok


def test_what_takes_too_long_is_ended_said_and_done_with(good: str) -> None:
    hurried = CheckProcess(RULES, check_seconds=0.001)
    try:
        (problem,) = hurried.check(FILE, as_saved(HOSTILE["shallow flow"])).problems
        assert "took more than 0.001 seconds" in problem.message
        assert problem.file == FILE
        assert hurried.run_cases(FILE, as_saved(good)).rule_cases == 4
    finally:
        hurried.close()


def test_what_takes_too_much_memory_is_said_or_ends_that_process_alone(good: str) -> None:
    small = CheckProcess(RULES, memory_mb=1)
    try:
        (problem,) = small.check(FILE, as_saved(good)).problems
        assert "memory" in problem.message or "ended by itself" in problem.message
    finally:
        small.close()


def test_a_folder_that_is_not_there_is_a_problem(tmp_path: Path) -> None:
    process = CheckProcess(tmp_path / "none")
    try:
        process.start()
        process.start()
        (problem,) = process.check(FILE, b"id: x\n").problems
        assert "no such folder" in problem.message
    finally:
        process.close()


def test_cases_are_run_under_a_text_that_is_not_saved(checks: CheckProcess, good: str) -> None:
    whole = checks.run_cases()
    assert whole.failures == ()
    assert whole.rule_cases > 100
    assert whole.whole_cases > 50
    fine = checks.run_cases(FILE, as_saved(good))
    assert (fine.rule_cases, fine.whole_cases, fine.failures) == (4, whole.whole_cases, ())
    wrong = good.replace("{filter_days: 16}, fires: true", "{filter_days: 16}, fires: false")
    (failed,) = checks.run_cases(FILE, as_saved(wrong)).failures
    assert wrong.splitlines()[(failed.line or 0) - 1].strip() == "- {facts: {filter_days: 16}, fires: false}"
    assert "should stay silent, but the condition is true" in failed.message
    (broken,) = checks.run_cases(FILE, b"titel: x\n").problems[:1]
    assert broken.file == FILE


def test_only_faults_that_an_edit_adds_count_against_it(tmp_path: Path, good: str) -> None:
    folder = Path(shutil.copytree(RULES, tmp_path / "rules", ignore=shutil.ignore_patterns("*.md")))
    (folder / "evidence/filter-fresh.yml").write_text("titel: x\n")
    check = FolderCheck(folder)
    other = check.check(FILE, as_saved(good))
    assert other.ok
    assert {problem.file for problem in other.standing} == {"evidence/filter-fresh.yml"}
    fact = (folder / "facts/filter_days.yml").read_bytes()
    without = check.check("facts/filter_days.yml", None)
    assert not without.ok
    assert FILE in {problem.file for problem in without.elsewhere}
    assert "evidence/filter-fresh.yml" not in {problem.file for problem in without.elsewhere}
    assert check.check("facts/filter_days.yml", fact).ok


def test_a_finding_that_an_edit_adds_to_another_file_counts_against_it(checks: CheckProcess) -> None:
    first = "evidence/filter-twice-overdue.yml"
    text = (RULES / first).read_text()
    assert checks.check(first, as_saved(text)).findings == ()
    widened = checks.check(first, as_saved(text.replace("'> 30'", "'> 3'")))
    assert not widened.ok
    assert [(each.code, each.file) for each in widened.findings] == [("band-never-reached", FILE)]
