"""Changes that an ops lead makes by editing files: the lint takes each, and it does what it says."""

from __future__ import annotations

import shutil
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from tests import RULES
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import decide_case
from triage.records.decision import Decision
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.lint.lint import has_errors, lint
from triage.values.money import Money

LATE = """\
id: no-dispatch-late
title: Nobody is sent late
status: live
owner: program desk
why: Night rates.
source: common practice, no source
when:
  hour: ">= 20"
  none_of: [{symptom: '"leaking","leaking_tap"'}]
then:
  outcome: hold
  priority: 615
  text: It waits until morning.
  text_es: Espera hasta la mañana.
known_misfires: None.
cases:
  - {facts: {hour: 21, symptom: [noisy]}, fires: true}
  - {facts: {hour: 21, symptom: [leaking]}, fires: false}
"""
ROW = """rows:
  - {when: {component: '"compressor"'}, then: {amount: 900.00}, valid_from: 2027-01-01}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(RULES, tmp_path / "rules"))


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))


def decided(folder: Path, case: str, at: str) -> Decision:
    """A whole report of the rulebook, at another time."""
    rulebook = read_rulebook(folder)
    assert not has_errors(lint(rulebook))
    found = rulebook.cases[case]
    moved = replace(found, report={**found.report, "reported_at": at})
    return decide_case(rulebook, compile_rulebook(rulebook, "plain"), moved)


def test_more_may_be_spent_on_compressors_from_a_day_on(folder: Path) -> None:
    nte = folder / "limits/nte.yml"
    edit(nte, "hit_policy: UNIQUE", "hit_policy: FIRST")
    edit(nte, "inputs: [contractor, after_hours]", "inputs: [contractor, after_hours, component]")
    edit(nte, "rows:\n", ROW)
    for case, at, amount in (
        ("clicks-on-good-supply", "2026-12-30T14:30:00-05:00", "400"),
        ("clicks-on-good-supply", "2027-01-05T14:30:00-05:00", "900"),
        ("leak-nothing-helped", "2027-01-05T14:30:00-05:00", "550"),  # no compressor; comes after hours
    ):
        assert decided(folder, case, at).limit.nte == Money(Decimal(amount), "USD"), (case, at)


def test_nobody_is_sent_late_unless_it_leaks(folder: Path) -> None:
    (folder / "policy/no-dispatch-late.yml").write_text(LATE)
    for case, at, held in (
        ("clicks-on-good-supply", "2026-06-10T19:59:00-04:00", False),
        ("clicks-on-good-supply", "2026-06-10T21:00:00-04:00", True),
        ("leak-nothing-helped", "2026-06-10T21:00:00-04:00", False),
    ):
        reasons = [reason.rule for reason in decided(folder, case, at).reasons]
        assert ("no-dispatch-late" in reasons) == held, (case, at)


def test_the_filter_is_overdue_five_days_sooner(folder: Path) -> None:
    at = "2026-06-10T14:30:00-04:00"
    before = decided(folder, "hot-side-old-filter", at).facts["filter_overdue_days"].value
    edit(folder / "rulebook.yml", "filter_days: 15", "filter_days: 10")
    after = decided(folder, "hot-side-old-filter", at).facts["filter_overdue_days"].value
    assert (before, after) == (35, 40)


def test_a_fact_has_its_question_in_both_languages(folder: Path) -> None:
    text = (folder / "facts/display_lit.yml").read_text()
    new = text.replace("display_lit", "lid_cracked").replace("Is the display lit?", "Is the lid cracked?")
    new = new.replace("¿Está encendida la pantalla?", "¿Está agrietada la tapa?")
    new = new.replace("The display is lit", "The lid is cracked").replace(
        "La pantalla está encendida", "La tapa está agrietada"
    )
    (folder / "facts/lid_cracked.yml").write_text(new)
    rulebook = read_rulebook(folder)
    assert not has_errors(lint(rulebook))
    assert rulebook.spanish[rulebook.facts["lid_cracked"].ask or ""] == "¿Está agrietada la tapa?"
