"""Rules that can never fire, that wait for a value nothing sets, or that another rule covers."""

from __future__ import annotations

import pytest

from tests.triage.builders import fact, head
from tests.triage.rulebook_care.linted import evidence_file, findings, policy_file

NUMBERS = {"facts/psi.yml": fact("psi", "number", range="[0..10]"), "facts/on.yml": fact("on", "date")}


def derive_file(rule, when, sets, **more):
    then = {"set": sets, **({"otherwise": more.pop("otherwise")} if "otherwise" in more else {})}
    return head(rule, when, {}, {}, then=then, **more)


@pytest.mark.parametrize(
    "when",
    [
        {"psi": "> 10"},
        {"psi": "< 3", "any_of": [{"psi": "> 3"}, {"psi": "[4..5]"}]},
        {"hums": True, "none_of": [{"hums": True, "psi": "-"}]},
        {"seal_style": 'not("grooved","flat")'},
        {"known": ["psi"], "unknown": ["psi"]},
        {"on": '< @"2026-01-01"', "none_of": [{"on": '<= @"2026-01-31"'}]},
        {"symptom": 'not("leaking","not_freezing")'},
        {"unknown": ["symptom"]},
        {"machine_known": False, "known": ["model"]},
    ],
)
def test_a_rule_that_contradicts_itself_or_a_range_never_fires(when):
    found = findings({**NUMBERS, "evidence/never.yml": evidence_file("never", when, dirty_filter=0.5)})
    (never,) = found["never-fires"]
    assert (never.rule, never.severity, never.file) == ("never", "error", "evidence/never.yml")
    assert never.path == ("when",)


@pytest.mark.parametrize(
    "when",
    [
        {"psi": "[10..10]"},
        {"psi": "< 3", "any_of": [{"psi": "> 3"}, {"psi": "[2..5]"}]},
        {"unknown": ["psi"], "none_of": [{"hums": True}]},
        {"symptom": '"leaking"', "any_of": [{"symptom": '"not_freezing"'}]},
        {"on": '> @"2026-01-01"', "none_of": [{"on": '> @"2026-01-02"'}]},
    ],
)
def test_a_rule_that_fires_on_the_edge_is_fine(when):
    found = findings({**NUMBERS, "evidence/edge.yml": evidence_file("edge", when, dirty_filter=0.5)})
    assert "never-fires" not in found


def test_a_draft_is_looked_at_and_a_retired_rule_is_not():
    when = {"fill_level": "> 100"}
    for status, expected in (("draft", True), ("retired", False)):
        rule = evidence_file("never", when, dirty_filter=0.5, status=status)
        assert ("never-fires" in findings({"evidence/never.yml": rule})) is expected


def test_a_rule_that_waits_for_a_value_no_rule_sets_is_told():
    setter = derive_file("filter-neglected", {"filter_days": "> 15"}, {"filter_neglected": True})
    waiting = evidence_file("cared-for", {"filter_neglected": False}, low_fill=0.5)
    found = findings({"derive/filter-neglected.yml": setter, "evidence/cared-for.yml": waiting})
    (never,) = found["never-set"]
    assert never.rule == "cared-for"
    assert "filter_neglected" in never.message


def test_a_derive_rule_covered_by_a_wider_one_is_told_once():
    narrow = derive_file("worse", {"filter_days": "> 60"}, {"filter_neglected": True})
    wide = derive_file("bad", {"filter_days": "> 15"}, {"filter_neglected": True})
    found = findings(
        {"derive/worse.yml": narrow, "derive/bad.yml": wide, "derive/filter-neglected.yml": None}
    )
    (covered,) = found["covered"]
    assert covered.rule == "worse"
    assert "whenever worse holds, bad holds too" in covered.message


def test_two_rules_that_cover_each_other_are_told_once():
    rules = {
        f"derive/{name}.yml": derive_file(name, when, {"filter_neglected": True})
        for name, when in (
            ("one", {"filter_days": "> 15"}),
            ("other", {"none_of": [{"filter_days": "<= 15"}]}),
        )
    }
    found = findings({**rules, "derive/filter-neglected.yml": None})
    assert len(found["covered"]) == 1


def test_a_derive_rule_with_otherwise_is_covered_only_when_its_false_side_is_too():
    both = {"otherwise": {"filter_neglected": False}}
    narrow = derive_file("worse", {"filter_days": "> 60"}, {"filter_neglected": True}, **both)
    assert "covered" not in findings({"derive/worse.yml": narrow})
    same = derive_file("same", {"filter_days": "(15..3650]"}, {"filter_neglected": True}, **both)
    assert [each.rule for each in findings({"derive/same.yml": same})["covered"]] == ["filter-neglected"]


def test_a_policy_rule_covered_by_one_at_least_as_strong_is_told():
    weaker = policy_file("torn-and-humming", {"cord_damaged": True, "hums": True}, "dispatch", 800)
    assert [one.rule for one in findings({"policy/torn-and-humming.yml": weaker})["covered"]] == [
        "torn-and-humming"
    ]
    stronger = policy_file("torn-and-humming", {"cord_damaged": True, "hums": True}, "dispatch", 950)
    assert "covered" not in findings({"policy/torn-and-humming.yml": stronger})
