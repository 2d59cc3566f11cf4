"""Which rules and branches the cases touch."""

from __future__ import annotations

import pytest

from tests.triage.builders import minimal_rulebook
from tests.triage.rulebook_care.lint.linted import evidence_file
from triage.decide.causes.inference import compile_rulebook
from triage.rulebook_care.editing.coverage import coverage

NOISY = evidence_file(
    "noisy",
    {"any_of": [{"hums": True}, {"seal_style": '"flat"'}], "none_of": [{"fill_level": "> 99"}]},
    low_fill=0.4,
)


def covered(overrides=None):
    rulebook = minimal_rulebook(overrides)
    found = coverage(rulebook, compile_rulebook(rulebook, "plain"))
    return found, {rule.rule: rule for rule in found.rules}


def test_a_rule_is_covered_by_the_whole_reports_on_which_it_holds():
    found, rules = covered()
    assert rules["filter-neglected"].whole_cases == ("overdue-filter",)
    assert rules["filter-overdue"].whole_cases == ("overdue-filter",)  # by a derived fact
    assert rules["rinse-filter"].whole_cases == ("overdue-filter",)
    assert rules["reseat-seal"].whole_cases == ()
    assert {rule.rule for rule in found.never_in_a_whole_case} == {
        "fill-low",
        "fill-half",
        "damaged-cord",
        "cord-dispatch",
        "reseat-seal",
    }
    assert found.share == pytest.approx(4 / 9)


def test_a_policy_rule_is_covered_by_the_numbers_it_sees():
    rule = minimal_rulebook().policy["cord-dispatch"].head
    assert rule.status == "live"
    starts = {
        "id": "starts", "title": "Starts in the store", "status": "live", "owner": "desk",
        "why": "For tests.", "source": "common practice, no source",
        "when": {"plan_starts_in_store": True}, "known_misfires": "None.",
        "then": {"outcome": "fix_in_store", "priority": 5, "text": "Try it."},
        "cases": [{"facts": {}, "fires": True}, {"facts": {}, "fires": False}],
    }  # fmt: skip
    _, rules = covered({"policy/starts.yml": starts})
    assert rules["starts"].whole_cases == ("overdue-filter",)


def test_a_branch_that_holds_in_no_case_is_named_in_words():
    hums = {"id": "hums", "title": "Hums", "type": "flag", "asked_of": "clerk", "ask": "Does it hum?"}
    own = [{"facts": {"hums": True, "fill_level": 3}, "fires": True}, {"facts": {}, "fires": False}]
    found, rules = covered({"facts/hums.yml": hums, "evidence/noisy.yml": {**NOISY, "cases": own}})
    assert rules["noisy"].untouched == ("seal_style is flat", "fill_level above 99")
    assert [rule.rule for rule in found.with_untouched_branches] == ["noisy"]


def test_drafts_and_cautions_beside_checks_are_left_out():
    _, rules = covered({"evidence/fill-low.yml": None, "evidence/fill-half.yml": None})
    assert "unplug-first" not in rules
    draft = evidence_file("draft", {"fill_level": "< 3"}, low_fill=0.4, status="draft")
    assert "draft" not in covered({"evidence/draft.yml": draft})[1]


def test_a_report_that_cannot_be_decided_covers_nothing():
    broken = {
        "id": "broken",
        "title": "Broken",
        "report": {"symptoms": ["leaking"]},
        "expect": {"outcome": "dispatch"},
    }
    found, _ = covered({"cases/overdue-filter.yml": None, "cases/broken.yml": broken})
    assert found.share == 0
