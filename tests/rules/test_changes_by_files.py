"""Changes that an ops lead makes by editing files: the lint takes each, and it does what it says."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from tests import RULES
from triage.cli.main import run
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import decide_case
from triage.records.decision import Decision
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook.rule_cases import run_rule_cases
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

AT = "2026-06-10T14:30:00-04:00"
DARK = {
    "symptoms/display_dark.yml": """\
id: display_dark
title: Display dark
title_es: Pantalla apagada
callers_say: [the screen is black]
shares: {display_failed: 60, control_board_failed: 30, other: 10}
source: our estimate
""",
    "facts/shows_when_tapped.yml": """\
id: shows_when_tapped
title: The display shows something when tapped
title_es: La pantalla muestra algo al tocarla
type: flag
ask: Does the display show anything when you tap it?
ask_es: ¿Muestra algo la pantalla cuando la toca?
asked_of: clerk
""",
    "evidence/shows-when-tapped.yml": """\
id: shows-when-tapped
title: Shows something when tapped
status: live
owner: program desk
why: A loose ribbon, not the board.
source: our estimate
when: {shows_when_tapped: true}
then: {seen_with: {display_failed: 0.5, others: 0.02}}
known_misfires: None known.
cases:
  - {facts: {shows_when_tapped: true}, fires: true}
  - {facts: {shows_when_tapped: false}, fires: false}
""",
    "checks/both-sides-off-and-on.yml": """\
id: both-sides-off-and-on
title: Switch both sides off and on
title_es: Apague y encienda los dos lados
when: {symptom: '"display_dark"'}
who: clerk
minutes: 2
resolves: {control_board_failed: 0.4}
steps: [Switch both sides off., Switch both sides on.]
steps_es: [Apague los dos lados., Encienda los dos lados.]
look_for: The display is lit.
look_for_es: La pantalla está encendida.
why: Boards hang after a power dip.
source: our estimate
""",
}
WARRANTY = """\
id: maker_from_2027
title: Maker's warranty of the LH-20 from 2027 on
models: [LH-20]
starts: commissioned
cap_months_from_ship: 90
periods:
  default: {parts_months: 84, labor_months: 84}
valid_from: 2027-01-01
claim_needs: [serial number]
source: invented
"""


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A copy to change, in which the lint finds no error after the test."""
    copied = Path(shutil.copytree(RULES, tmp_path / "rules"))
    yield copied
    assert not has_errors(lint(read_rulebook(copied)))


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert text.count(old) == 1
    path.write_text(text.replace(old, new))


def decided(folder: Path, case: str, at: str = AT, **report: object) -> Decision:
    """A whole report of the rulebook, at another time, and with another `report`."""
    rulebook = read_rulebook(folder)
    found = rulebook.cases[case]
    moved = replace(found, report={**found.report, "reported_at": at, **report})
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
    assert rulebook.spanish[rulebook.facts["lid_cracked"].ask or ""] == "¿Está agrietada la tapa?"


def test_a_symptom_comes_with_two_causes_a_check_and_evidence(folder: Path) -> None:
    for name, text in DARK.items():
        (folder / name).write_text(text)
    dark: dict[str, object] = {"symptoms": ["display_dark"], "checks": []}
    first = decided(folder, "garbled-display", AT, **dark, answers={})
    assert {cause.cause: round(cause.share, 2) for cause in first.causes if cause.share > 0.2} == {
        "display_failed": 0.6,
        "control_board_failed": 0.3,
    }
    assert [step.check for step in first.plan] == ["both-sides-off-and-on"]
    told = decided(folder, "garbled-display", AT, **dark, answers={"shows_when_tapped": True})
    assert (told.causes[0].cause, told.causes[0].chance > 0.9) == ("display_failed", True)
    assert "shows-when-tapped" in {factor.rule for factor in told.causes[0].factors if factor.held}


def test_a_retired_cause_is_weighed_nowhere(folder: Path) -> None:
    before = decided(folder, "cup-spring-tired").causes
    assert run(["rulebook", "retire", "causes", "cup_spring_weak", "--rulebook", str(folder)]) == 0
    after = decided(folder, "cup-spring-tired").causes
    assert "cup_spring_weak" in {cause.cause for cause in before}
    assert "cup_spring_weak" not in {cause.cause for cause in after}
    rulebook = read_rulebook(folder)
    assert rulebook.causes["cup_spring_weak"].status == "retired", "older tickets keep its title"
    assert run_rule_cases(rulebook) == []


def test_a_model_has_another_warranty_from_a_day_on(folder: Path) -> None:
    (folder / "warranty/maker_from_2027.yml").write_text(WARRANTY)
    for at, terms, covered in (
        ("2026-12-31T12:00:00-05:00", "maker_standard", False),
        ("2027-01-01T12:00:00-05:00", "maker_from_2027", True),
    ):
        warranty = decided(folder, "garbled-display", at).warranty
        assert (warranty.terms, warranty.parts.covered) == (terms, covered)


def test_a_caution_is_said_with_a_check(folder: Path) -> None:
    before = decided(folder, "tray-full").plan[0]
    edit(folder / "checks/empty-tray.yml", "minutes: 3\n", "minutes: 3\ncautions: [slippery-floor]\n")
    after = decided(folder, "tray-full").plan[0]
    assert (before.check, after.check) == ("empty-tray", "empty-tray")
    assert (before.cautions, after.cautions) == ((), ("slippery-floor",))
