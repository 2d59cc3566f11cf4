"""Rules that can never fire, that wait for a value nothing sets, or that another rule covers."""

from __future__ import annotations

import json

import pytest

from tests.triage.builders import fact, head, minimal_files
from tests.triage.rulebook_care.lint.linted import clean_files, evidence_file, findings, policy_file
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.lint.findings import located
from triage.rulebook_care.lint.lint import lint

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


CORD = {
    "text": "Leave the plug alone and keep clear; a licensed electrician looks at it first.",
    "stop_use": True,
    "forbids": "all",
    "visit_skill": "electrical",
    "visit_priority": 1,
    "defers_to": ["a licensed electrician"],
}
TORN = {"cord_damaged": True, "hums": True}


def caution_file(rule, when, **then):
    return head(rule, when, when or {}, {}, then={**CORD, **then})


def covered(**rules):
    files = {f"cautions/{name.replace('_', '-')}.yml": rule for name, rule in rules.items()}
    return [each.rule for each in findings(files).get("covered", ())]


def test_a_caution_covered_by_a_wider_one_is_told_with_its_place(tmp_path):
    folded = CORD["text"].replace("licensed ", "licensed\n")
    narrow = caution_file("torn-and-humming", TORN, text=folded)
    files = {**minimal_files(clean_files()), "cautions/torn-and-humming.yml": narrow}
    for name, data in files.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(data, indent=2))
    (found,) = (each for each in located(lint(read_rulebook(tmp_path)), tmp_path) if each.code == "covered")
    lines = (tmp_path / found.file).read_text().splitlines()
    assert found.file == "cautions/torn-and-humming.yml"
    assert lines[found.line - 1].strip().startswith('"when"')
    assert found.message == (
        "whenever torn-and-humming holds, damaged-cord holds too and says, forbids and stops at least as much"
    )
    assert found.fix == "Retire it, or narrow damaged-cord"


@pytest.mark.parametrize(
    "less",
    [
        {"text": "Leave the plug alone and keep clear; a licensed electrician looks at it first. Call us."},
        {"defers_to": ["a licensed electrician", "local codes"]},
        {"visit_skill": "refrigeration"},
    ],
)
def test_a_caution_that_says_or_asks_more_is_not_covered(less):
    assert covered(torn_and_humming=caution_file("torn-and-humming", TORN, **less)) == []


@pytest.mark.parametrize(
    ("weaker", "stronger"),
    [
        ({"stop_use": False}, {}),
        ({"stop_use": False, "forbids": ["rinse-filter"]}, {"stop_use": False}),
        (
            {"stop_use": False, "forbids": ["rinse-filter"]},
            {"stop_use": False, "forbids": ["rinse-filter", "fill-hopper"]},
        ),
        ({"visit_priority": 2}, {}),
        ({"visit_priority": None}, {}),
        ({"visit_skill": None}, {}),
        ({"text": "Keep clear."}, {"text": "Stop at once. Keep clear."}),
    ],
)
def test_a_caution_is_covered_only_by_one_that_warns_as_much(weaker, stronger):
    when = {"hums": True, "seal_style": "grooved"}
    for wide, narrow, expected in ((stronger, weaker, ["humming-seal"]), (weaker, stronger, [])):
        rules = {
            "humming": caution_file("humming", {"hums": True}, **wide),
            "humming_seal": caution_file("humming-seal", when, **narrow),
        }
        assert covered(**rules) == expected


def test_a_caution_that_holds_elsewhere_or_is_a_draft_covers_nothing():
    assert covered(grooved=caution_file("grooved", {"seal_style": "grooved"})) == []
    wide = caution_file("humming", {"hums": True}) | {"status": "draft"}
    narrow = caution_file("humming-seal", {"hums": True, "seal_style": "grooved"})
    assert covered(humming=wide, humming_seal=narrow) == []


def test_a_caution_said_beside_a_check_is_covered_only_where_the_other_is_said_beside_it_too():
    unplug = {"text": "Unplug the machine first."}
    other = {**head("unplug-too", {}, {}, {}, then=unplug), "with_checks": True, "cases": []}
    rinse = dict(minimal_files()["checks/rinse-filter.yml"])

    def told(*cautions):
        files = {
            "cautions/unplug-too.yml": other,
            "checks/rinse-filter.yml": {**rinse, "cautions": list(cautions)},
        }
        return [each.rule for each in findings(files).get("covered", ())]

    assert told("unplug-first", "unplug-too") == ["unplug-first"]
    assert told("unplug-first") == ["unplug-too"]
    always = head("unplug-too", {"hums": True}, {"hums": True}, {}, then=unplug)
    assert covered(unplug_too=always) == []
