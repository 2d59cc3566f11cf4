"""Numbers without an outcome, outcomes that tie, and rules that never decide."""

from __future__ import annotations

from tests.triage.rulebook_care.lint.linted import findings, policy_file


def test_numbers_on_which_no_rule_speaks_are_told_with_an_example():
    (gap,) = findings({"policy/foot.yml": policy_file("foot", {"over_limit": True}, "dispatch", 1)})[
        "policy-gap"
    ]
    assert "over_limit = false" in gap.message
    assert gap.severity == "warning"


def test_an_outcome_that_the_guards_bar_leaves_a_gap():
    rules = {
        "policy/foot.yml": policy_file("foot", {"over_limit": "-"}, "approve", 1),
    }
    (gap,) = findings(rules)["policy-gap"]
    assert "over_limit = true" in gap.message


def test_numbers_that_cannot_be_together_are_no_gap():
    rules = {
        "policy/given.yml": policy_file("given", {"estimate_beyond_cover": ">= 0"}, "hold", 10),
        "policy/foot.yml": policy_file("foot", {"estimate_given": False}, "dispatch", 1),
    }
    assert findings(rules) == {}


def test_two_outcomes_of_one_priority_are_an_error_with_an_example():
    rules = {"policy/over.yml": policy_file("over", {"over_limit": True}, "hold", 900)}
    (tie,) = findings(rules)["policy-tie"]
    assert (tie.severity, tie.path) == ("error", ("then", "priority"))
    assert "cord_damaged = true" in tie.message
    assert "over_limit = true" in tie.message


def test_rules_of_one_priority_that_exclude_each_other_do_not_tie():
    rules = {"policy/over.yml": policy_file("over", {"cord_damaged": False}, "hold", 900)}
    assert findings(rules) == {}


def test_rules_of_one_priority_and_one_outcome_do_not_tie():
    rules = {"policy/over.yml": policy_file("over", {"over_limit": True}, "dispatch", 900)}
    assert findings(rules) == {}


def test_a_rule_that_something_above_always_overrules_is_told():
    rules = {
        "policy/high.yml": policy_file("high", {"top_chance": ">= 0.5"}, "hold", 500),
        "policy/low.yml": policy_file("low", {"top_chance": "> 0.6"}, "swap", 400),
    }
    (overruled,) = findings(rules)["always-overruled"]
    assert overruled.rule == "low"


def test_two_rules_above_may_overrule_together():
    rules = {
        "policy/much.yml": policy_file("much", {"top_chance": ">= 0.5"}, "hold", 500),
        "policy/little.yml": policy_file("little", {"top_chance": "< 0.5"}, "dispatch", 500),
        "policy/low.yml": policy_file("low", {"cover_parts": True}, "swap", 400),
    }
    assert [each.rule for each in findings(rules)["always-overruled"]] == ["low"]


def test_a_rule_whose_outcome_is_always_barred_is_told():
    rules = {"policy/low.yml": policy_file("low", {"over_limit": True, "hums": True}, "approve", 950)}
    (overruled,) = findings(rules)["always-overruled"]
    assert overruled.rule == "low"
