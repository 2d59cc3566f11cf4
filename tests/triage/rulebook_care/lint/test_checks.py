"""Checks that cure nothing or may never be done, and cautions that leave nothing safe to do."""

from __future__ import annotations

from tests.triage.builders import check, head
from tests.triage.rulebook_care.lint.linted import findings


def caution_file(rule, when, **then):
    return head(rule, when, {}, {}, then={"text": "Keep clear.", "defers_to": ["the technician"], **then})


def test_a_check_that_cures_nothing_its_symptoms_can_have_is_told():
    wrong = check("turn-seal", {"symptom": '"not_freezing"'}, {"seal_wrong": 0.8})
    (nothing,) = findings({"checks/turn-seal.yml": wrong})["check-resolves-nothing"]
    assert (nothing.rule, nothing.path) == ("turn-seal", ("resolves",))


def test_a_cause_out_of_a_checks_reach_is_a_note():
    wrong = check("turn-seal", {"symptom": '"not_freezing"'}, {"seal_wrong": 0.8, "low_fill": 0.1})
    (note,) = findings({"checks/turn-seal.yml": wrong})["check-cause-unreachable"]
    assert (note.severity, note.path) == ("note", ("resolves", "seal_wrong"))


def test_a_check_that_applies_with_any_symptom_reaches_all():
    assert findings({"checks/turn-seal.yml": check("turn-seal", {"hums": True}, {"seal_wrong": 0.8})}) == {}


def test_a_check_that_can_never_apply_never_fires():
    never = check("turn-seal", {"fill_level": "> 100"}, {"seal_wrong": 0.8})
    assert [each.rule for each in findings({"checks/turn-seal.yml": never})["never-fires"]] == ["turn-seal"]


def test_a_check_that_a_caution_always_forbids_is_told():
    wide = caution_file("no-leak-work", {"symptom": '"leaking"'}, forbids=["reseat-seal"])
    (forbidden,) = findings({"cautions/no-leak-work.yml": wide})["check-always-forbidden"]
    assert "no-leak-work" in forbidden.message
    narrow = caution_file("no-leak-work", {"symptom": '"leaking"', "hums": True}, forbids=["reseat-seal"])
    assert findings({"cautions/no-leak-work.yml": narrow}) == {}


def test_a_caution_beside_a_check_must_not_forbid_it():
    beside = {
        **head("unplug-first", {}, {}, {}, then={"text": "Unplug it.", "forbids": ["rinse-filter"]}),
        "with_checks": True,
        "cases": [],
    }
    (forbidden,) = findings({"cautions/unplug-first.yml": beside})["check-always-forbidden"]
    assert forbidden.rule == "rinse-filter"


def test_a_caution_that_takes_everything_away_names_somebody():
    alone = caution_file("stop-it", {"hums": True}, forbids="all", defers_to=[])
    (left,) = findings({"cautions/stop-it.yml": alone})["no-safe-action"]
    assert (left.rule, left.severity) == ("stop-it", "error")
    for way in ({"visit_skill": "electrical"}, {"visit_priority": 1}, {"defers_to": ["an electrician"]}):
        named = caution_file("stop-it", {"hums": True}, **{"forbids": "all", "defers_to": [], **way})
        assert findings({"cautions/stop-it.yml": named}) == {}


def test_a_draft_caution_takes_nothing_away():
    alone = caution_file("stop-it", {"hums": True}, forbids="all", defers_to=[]) | {"status": "draft"}
    assert findings({"cautions/stop-it.yml": alone}) == {}
