"""The commissioning a machine's care log holds: its checklist judged again, and what it says for the rules.

The last line of the kind `commissioned` counts, its details being the installer's checklist. A line whose
details cannot be read as one counts as an empty checklist: all of it is missing, none of it passed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal

from triage.logic.conditions import Scalar, holds
from triage.machine.commissioning.checklist import Checklist, read_checklist
from triage.machine.commissioning.finding import Finding, Standard
from triage.machine.commissioning.judging import findings
from triage.machine.commissioning.to_record import facts
from triage.records.report import CareEvent, Machine
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError


def last_checklist(care: Iterable[CareEvent], at: datetime) -> Checklist | None:
    """The checklist of the last commissioning up to `at` (timezone-aware); None when there was none."""
    done = [event for event in care if event.kind == "commissioned" and event.at <= at]
    if not done:
        return None
    try:
        return read_checklist(max(done, key=lambda event: event.at).details)
    except InputError:
        return Checklist()


def standard_for(rulebook: Rulebook, model: str) -> Standard:
    """What a machine of `model` needs: the space of `models.yml`, everything else by common practice."""
    known = rulebook.models.get(model)
    numbers: Mapping[str, Scalar] = {} if known is None else known.facts
    behind, left, right = (numbers.get(f"clearance_need_{side}_in") for side in ("behind", "left", "right"))
    sides = [side for side in (left, right) if isinstance(side, Decimal)]
    return Standard(
        behind_in=behind if isinstance(behind, Decimal) else Standard().behind_in,
        side_in=max(sides, default=None),
    )


def judged(rulebook: Rulebook, machine: Machine, checklist: Checklist) -> tuple[Finding, ...]:
    """Every line of the checklist, judged by the machine's model and its site."""
    site = machine.site
    return findings(
        checklist,
        site_timezone=None if site is None else site.timezone,
        open_around_the_clock=site is not None and site.open_around_the_clock,
        standard=standard_for(rulebook, machine.model),
    )


def facts_on_record(
    rulebook: Rulebook, machine: Machine, care: Iterable[CareEvent], at: datetime
) -> dict[str, Scalar]:
    """The facts of the last commissioning that the rulebook knows, each within its fact's range."""
    checklist = last_checklist(care, at)
    if checklist is None:
        return {}
    found = facts(checklist, judged(rulebook, machine, checklist))
    return {name: value for name, value in found.items() if _fits(rulebook, name, value)}


def _fits(rulebook: Rulebook, name: str, value: Scalar) -> bool:
    fact = rulebook.facts.get(name)
    return fact is not None and (fact.range is None or holds(fact.range, value))
