"""Facts that nothing makes known, and facts that nothing looks at."""

from __future__ import annotations

from tests.triage.builders import fact, policy
from tests.triage.rulebook_care.lint.linted import evidence_file, findings


def test_a_computed_fact_that_nothing_gives_is_told():
    glows = fact("glows", "flag", asked_of="computed")
    rule = evidence_file("glows", {"glows": True}, low_fill=0.5)
    found = findings({"facts/glows.yml": glows, "evidence/glows.yml": rule})
    assert [each.rule for each in found["fact-never-known"]] == ["glows"]
    assert [each.rule for each in found["never-set"]] == ["glows"]


def test_a_computed_fact_of_a_calculation_is_known():
    tilted = fact("tilted_back", "flag", asked_of="computed")
    rule = evidence_file("tilted", {"tilted_back": True}, low_fill=0.5)
    assert findings({"facts/tilted_back.yml": tilted, "evidence/tilted.yml": rule}) == {}


def test_a_fact_nobody_looks_at_is_a_note():
    (unused,) = findings({"facts/color.yml": fact("color", "text")})["fact-unused"]
    assert (unused.rule, unused.severity, unused.file) == ("color", "note", "facts/color.yml")


def test_a_calculation_a_table_a_text_or_a_warranty_risk_looks_at_facts_too():
    lamp = fact("lamp", "text")
    said = policy("foot", {"stop_use": "-"}, {}, {}, "dispatch", 1, "The lamp is {lamp}.")
    assert findings({"facts/lamp.yml": lamp, "policy/foot.yml": said}) == {}
    assert findings({"facts/wire_run_ft.yml": fact("wire_run_ft", "number", range="[0..500]")}) == {}
