"""`barrelwise rulebook check|cases|table|diff|new`, as they are called."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from tests.triage.cli.test_main import change, write_rulebook
from tests.triage.rulebook_care.lint.linted import cases, clean_files, evidence_file
from tests.triage.services import rulebook_files
from triage.cli.main import run as run_command
from triage.cli.rulebook import judged
from triage.config import SETTINGS, Settings
from triage.rulebook.reading.reader import read_rulebook

Run = Callable[..., tuple[int, str, str]]
FULL = evidence_file("full", {"fill_level": "> 90"}, low_fill=0.05) | {
    "cases": cases({"fill_level": 95}, {"fill_level": 50})
}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a rulebook in `rules` in which the lint finds nothing."""
    clean = {name: data for name, data in clean_files().items() if data is not None}
    write_rulebook(tmp_path / "rules", {**rulebook_files(), **clean})
    monkeypatch.chdir(tmp_path)
    for name, _, _ in SETTINGS:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("BARRELWISE_ENGINE", "plain")
    return tmp_path


@pytest.fixture
def run(here: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*arguments: str) -> tuple[int, str, str]:
        status = run_command(["rulebook", *arguments])
        output = capsys.readouterr()
        return status, output.out, output.err

    return call


def add(here: Path, file: str, data: object) -> None:
    (here / "rules" / file).write_text(json.dumps(data, indent=1))


def test_check_says_when_nothing_is_found(run: Run) -> None:
    status, out, err = run("check")
    assert (status, err) == (0, "")
    assert out.endswith("\nnothing found\n")


@pytest.fixture
def times_judged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str | None]:
    """The live version each time that a folder is judged, none being remembered at first."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    noted: list[str | None] = []
    real = judged.judge

    def judge(folder: Path, settings: Settings, version: str | None) -> dict[str, Any]:
        noted.append(version)
        return real(folder, settings, version)

    monkeypatch.setattr(judged, "judge", judge)
    return noted


def test_a_folder_is_judged_once_and_anew_after_any_change(
    run: Run, here: Path, times_judged: list[str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    add(here, "evidence/full.yml", FULL)
    answers = [run("check"), run("check"), run("check", "--json"), run("check", "--sarif")]
    assert answers[0] == answers[1]
    assert json.loads(answers[2][1])["findings"]
    assert json.loads(answers[3][1])["version"] == "2.1.0"
    assert len(times_judged) == 1
    add(here, "evidence/full.yml", {**FULL, "title": "Fuller"})
    assert run("check") != answers[0]
    (here / "rules/evidence/full.yml").unlink()
    assert run("check")[1].endswith("\nnothing found\n")
    assert len(times_judged) == 3
    monkeypatch.setenv("BARRELWISE_ENGINE", "checked")
    run("check")
    assert len(times_judged) == 4
    assert run("publish", "rules", "--by", "mira", "--note", "The first.", "--yes")[0] == 0
    run("check"), run("check")
    assert times_judged[:4] == [None] * 4
    assert len(times_judged) == 5
    assert str(times_judged[4]).startswith("sha256:")


def test_a_folder_that_changes_while_it_is_judged_is_judged_again(
    run: Run, here: Path, times_judged: list[str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    noting = judged.judge

    def judge(*known: Any) -> dict[str, Any]:
        found = noting(*known)
        add(here, "evidence/full.yml", FULL)
        return found

    monkeypatch.setattr(judged, "judge", judge)
    before = run("check")
    assert before[1].endswith("\nnothing found\n")
    (here / "rules/evidence/full.yml").unlink()
    run("check")
    assert len(times_judged) == 2, "what was found of the folder before is not kept"


def test_an_error_is_told_with_file_line_and_fix_and_is_a_no(run: Run, here: Path) -> None:
    add(here, "evidence/full.yml", FULL)
    status, out, _ = run("check")
    assert status == 1
    line = next(line for line in out.splitlines() if " counted-twice: " in line)
    assert line.startswith("evidence/full.yml:")
    assert line.split(":")[1].isdigit()
    assert "Make them bands of one group" in line
    assert out.splitlines()[-1] == "1 error"


def test_warnings_alone_are_no_no(run: Run, here: Path) -> None:
    (here / "rules/policy/foot.yml").unlink()
    status, out, _ = run("check")
    assert status == 0
    assert out.splitlines()[-1] == "1 warning"


def test_a_silenced_error_is_no_error_and_is_shown_when_asked(run: Run, here: Path) -> None:
    add(here, "evidence/full.yml", {**FULL, "lint_off": {"counted-twice": "On trial until May."}})
    status, out, _ = run("check")
    assert (status, out.splitlines()[-1]) == (0, "1 silenced")
    assert "On trial until May." not in out
    assert "On trial until May." in run("check", "--silenced")[1]


def test_findings_are_json_and_sarif_when_asked(run: Run, here: Path) -> None:
    add(here, "evidence/full.yml", FULL)
    status, out, _ = run("check", "rules", "--json")
    data = json.loads(out)
    assert (status, data["ok"]) == (1, False)
    (found,) = data["findings"]
    assert (found["code"], found["severity"], found["pointer"]) == (
        "counted-twice",
        "error",
        "/when/fill_level",
    )
    status, out, _ = run("check", "rules", "--sarif")
    (result,) = json.loads(out)["runs"][0]["results"]
    assert (status, result["ruleId"]) == (1, "counted-twice")
    region = result["locations"][0]["physicalLocation"]["region"]
    assert (region["startLine"], region["startColumn"]) == (found["line"], found["column"])


def test_what_cannot_be_read_is_sarif_too(run: Run, here: Path) -> None:
    (here / "rules/rates.yml").write_text("default: [\n")
    status, out, _ = run("check", "--sarif")
    assert status == 2
    (result,) = json.loads(out)["runs"][0]["results"]
    assert result["ruleId"] == "cannot-be-read"


def test_cases_say_what_they_do_not_touch(run: Run) -> None:
    status, out, _ = run("cases", "--coverage")
    assert status == 0
    assert "checks/reseat-seal.yml: holds in no whole report\n" in out
    status, out, _ = run("cases", "--coverage", "--json")
    rules = {rule["rule"]: rule for rule in json.loads(out)["coverage"]["rules"]}
    assert rules["filter-neglected"]["whole_cases"] == ["overdue-filter"]


def test_the_document_is_printed_written_and_checked_for_freshness(run: Run, here: Path) -> None:
    status, printed, _ = run("table")
    assert status == 0
    assert printed.startswith("# A minimal rulebook\n")
    for name in ("book/rules.md", "book/rules.html"):
        assert run("table", "--check", name)[0] == 1  # not there
        assert run("table", "--out", name)[:2] == (0, "")
        assert run("table", "--check", name)[0] == 0
    assert (here / "book/rules.md").read_text() == printed
    assert (here / "book/rules.html").read_text().startswith("<!doctype html>")
    change(here / "rules/rates.yml", swap_cost=500)
    status, _, err = run("table", "--check", "book/rules.md")
    assert (status, err) == (1, "book/rules.md is stale; write it again with --out\n")


def test_a_difference_is_said_in_words(run: Run, here: Path) -> None:
    files = rulebook_files()
    write_rulebook(here / "candidate", files)
    seen = {"seen_with": {"dirty_filter": 0.85, "others": 0.3}}
    change(here / "candidate/evidence/filter-overdue.yml", then=seen)
    for file in ("facts/hums", "evidence/hums", "evidence/flat-seal", "policy/foot"):
        (here / f"rules/{file}.yml").unlink()
    assert run("diff", "rules", "rules")[:2] == (0, "nothing changed\n")
    status, out, _ = run("diff", "rules", "candidate")
    assert status == 0
    assert out == ("Filter overdue (evidence/filter-overdue.yml)\n  seen with dirty filter: 0.8 → 0.85\n")
    (back,) = json.loads(run("diff", "candidate", "--json")[1])["changes"]
    assert back["words"] == "seen with dirty filter: 0.85 → 0.8"
    assert back["pointer"] == "/then/seen_with/dirty_filter"


def test_a_new_rule_is_a_file_to_fill_in_and_never_written_over(run: Run, here: Path) -> None:
    status, out, _ = run("new", "evidence", "cold-morning")
    path = here / "rules/evidence/cold-morning.yml"
    assert (status, out) == (0, "rules/evidence/cold-morning.yml\n")
    assert YAML(typ="safe").load(path)["status"] == "draft"
    assert "cold-morning" in read_rulebook(here / "rules").evidence
    written = path.read_text()
    status, _, err = run("new", "evidence", "cold-morning")
    assert status == 2
    assert "is taken" in err
    assert path.read_text() == written
    assert run("new", "evidences", "x")[0] == 2


def test_a_new_rule_is_told_to_be_filled_in_and_stops_nothing(run: Run) -> None:
    run("new", "policy", "rush-hour")
    status, out, _ = run("check")
    assert status == 0
    assert "note to-fill-in" in out
