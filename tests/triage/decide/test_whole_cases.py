"""Whole reports with the decision expected of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from tests import RULES
from tests.triage.services import rulebook_files
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import counted, run_whole_cases
from triage.rulebook.reading.reader import read_rulebook, rulebook_from_data
from triage.rulebook.rule_cases import run_rule_cases

REPORT = {
    "symptoms": ["not_freezing"],
    "reported_at": "2026-03-02T10:00:00-05:00",
    "answers": {"filter_days": 40},
}


def messages(expect: Mapping[str, object], report: Mapping[str, Any] = REPORT, **more: object) -> list[str]:
    """What fails of one case with this report and expectation."""
    case = {"id": "one", "title": "One", "report": report, "expect": expect, **more}
    files = rulebook_files(**{"cases/overdue-filter.yml": None, "cases/one.yml": case})
    rulebook = rulebook_from_data(files)
    return [failure.message for failure in run_whole_cases(rulebook, compile_rulebook(rulebook, "plain"))]


@pytest.mark.parametrize(
    "expect",
    [
        {},
        {"outcome": "fix_in_store", "top_cause": "dirty_filter", "first_check": "rinse-filter"},
        {"outcome": ["dispatch", "fix_in_store"], "not_outcome": "swap"},
        {"cautions": ["unplug-first"]},
    ],
)
def test_a_case_that_comes_out_as_expected_passes(expect: Mapping[str, object]) -> None:
    assert messages(expect) == []


@pytest.mark.parametrize(
    ("expect", "message"),
    [
        ({"outcome": "swap"}, "the outcome is fix_in_store, not swap"),
        ({"outcome": ["swap", "hold"]}, "the outcome is fix_in_store, not swap or hold"),
        ({"not_outcome": "fix_in_store"}, "the outcome is fix_in_store, which it must not be"),
        ({"top_cause": "low_fill"}, "the likeliest cause is dirty_filter, not low_fill"),
        ({"first_check": "fill-hopper"}, "the first check is rinse-filter, not fill-hopper"),
        ({"cautions": ["damaged-cord"]}, "the caution damaged-cord is not said"),
    ],
)
def test_a_case_that_comes_out_otherwise_says_how(expect: Mapping[str, object], message: str) -> None:
    assert messages(expect) == [message]


def test_a_baseline_has_no_caution_of_its_own() -> None:
    assert messages({}, baseline=True) == []
    torn = {**REPORT, "answers": {"cord_damaged": True}}
    assert messages({}, torn, baseline=True) == ["an ordinary report, but the caution damaged-cord is said"]


def test_a_case_whose_machine_cannot_be_read_fails_with_the_reason() -> None:
    machine = {"serial": "X-1", "model": "LH-20", "shipped_on": "soon"}
    (message,) = messages({}, machine=machine)
    assert "/shipped_on" in message


def test_a_case_without_its_own_time_fails() -> None:
    (message,) = messages({}, {"symptoms": ["leaking"]})
    assert "reported_at" in message


def test_every_case_of_the_default_rulebook_comes_out_as_expected() -> None:
    rulebook = read_rulebook(RULES)
    assert counted(rulebook)["whole_cases"] >= 12
    assert run_rule_cases(rulebook) == []
    assert run_whole_cases(rulebook, compile_rulebook(rulebook, "plain")) == []
