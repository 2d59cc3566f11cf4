"""What is remembered of cases is by all that may decide them otherwise; wording is not."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests import RULES
from triage.cli.rulebook import safety
from triage.cli.rulebook.judged import _WORDING, what_decides
from triage.cli.rulebook.safety import live_version
from triage.config import read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import decide_case
from triage.records.decision import Decision
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_files_data, rulebook_from_data
from triage.rulebook_care.safety.danger_cases import surely_passes


def judged(rulebook: Rulebook) -> dict[str, object]:
    """All that a case can look at, and whether every danger stops use."""
    engine = compile_rulebook(rulebook, "plain")

    def seen(decision: Decision) -> object:
        causes = [(each.cause, each.chance) for each in decision.causes]
        plan = [(step.check, step.group) for step in decision.plan]
        return decision.outcome, causes, plan, [caution.rule for caution in decision.cautions]

    cases = {id_: seen(decide_case(rulebook, engine, case)) for id_, case in rulebook.cases.items()}
    return {**cases, "dangers": surely_passes(rulebook, engine)}


def reworded(file: str, data: Any) -> Any:
    """The file with other words under every key that `what_decides` leaves out."""

    def other(key: str, value: Any) -> Any:
        if isinstance(value, str):
            return f"{len(file) * 7 % 10} {key} {value[::-1]}"
        return [other(key, each) for each in value] if isinstance(value, list) else value

    kept = ("cases", "since", "lint_off")
    texts = {key: value for key, value in data.items() if key in _WORDING and key not in kept}
    return data | {key: other(key, value) for key, value in texts.items()}


def test_other_words_decide_nothing_otherwise_and_change_no_digest() -> None:
    as_they_are = rulebook_files_data(RULES)
    files = {file: reworded(file, data) for file, data in as_they_are.items()}
    assert sum(files[file] != as_they_are[file] for file in files) > 500
    assert what_decides(files) == what_decides(as_they_are)
    assert judged(rulebook_from_data(files)) == judged(rulebook_from_data(as_they_are))


@pytest.mark.parametrize(
    ("file", "key", "value"),
    [
        ("evidence/filter-overdue.yml", "when", {"filter_days": "> 99"}),
        ("cautions/hot-plug.yml", "status", "draft"),
        ("words/shock.yml", "unless", ["a joke"]),
        ("facts/filter_days.yml", "ask", "When was it cleaned?"),
        ("rulebook.yml", "near_certain", "0.99"),
        ("cases/ill-after-a-drink.yml", "expect", {"outcome": "approve"}),
    ],
)
def test_all_else_changes_the_digest(file: str, key: str, value: object) -> None:
    files = rulebook_files_data(RULES)
    data: Any = files[file]
    assert what_decides({**files, file: {**data, key: value}}) != what_decides(files)


def test_the_live_version_is_asked_again_whenever_the_database_was_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    database = tmp_path / "db.sqlite"
    sqlite3.connect(database).executescript("create table t (n)").close()
    answers = iter(["one", "two"])
    monkeypatch.setattr(safety, "_live_version", lambda _: next(answers))
    settings = replace(read_settings({}), database=f"sqlite:///{database}")
    assert [live_version(settings), live_version(settings)] == ["one", "one"]
    with sqlite3.connect(database) as written:
        written.execute("insert into t values (1)")
    assert live_version(settings) == "two"
