from __future__ import annotations

from tests import RULES
from tests.triage.builders import head, minimal_rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook.rule_cases import CaseFailure, run_rule_cases


def test_cases_that_hold_fail_nothing() -> None:
    assert run_rule_cases(minimal_rulebook()) == []


def test_every_case_beside_the_default_rules_holds() -> None:
    assert run_rule_cases(read_rulebook(RULES)) == []


def test_a_case_that_comes_out_otherwise_is_named_with_its_file() -> None:
    rule = head(
        "old-filter",
        {"filter_days": "> 15"},
        {"filter_days": 15},
        {"filter_days": 16},
        then={"set": {"filter_neglected": True}},
    )
    rulebook = minimal_rulebook({"derive/old-filter.yml": rule})
    assert run_rule_cases(rulebook) == [
        CaseFailure(
            "old-filter", 0, "derive/old-filter.yml", "case 1 should fire, but the condition is false"
        ),
        CaseFailure(
            "old-filter", 1, "derive/old-filter.yml", "case 2 should stay silent, but the condition is true"
        ),
    ]


def test_an_unknown_condition_stays_silent() -> None:
    rule = head("old-filter", {"filter_days": "> 15"}, {}, {}, then={"set": {"filter_neglected": True}})
    (failure,) = run_rule_cases(minimal_rulebook({"derive/old-filter.yml": rule}))
    assert failure.message == "case 1 should fire, but the condition is unknown"


def test_a_case_may_name_one_of_several_symptoms() -> None:
    rule = head(
        "leak",
        {"symptom": '"leaking"'},
        {"symptom": ["leaking", "not_freezing"]},
        {"symptom": "not_freezing"},
        then={"set": {"filter_neglected": True}},
    )
    assert run_rule_cases(minimal_rulebook({"derive/leak.yml": rule})) == []
