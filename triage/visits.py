"""Who comes, by when, with which parts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from triage.decision import CautionsInForce, Verdict, strongest
from triage.decision_record import CauseChance, Visit
from triage.report import Machine, Report
from triage.rulebook import Cause, Rulebook, Skill
from triage.service_hours import due_at, is_after_hours

LIKELY = 0.10
"""Causes at least this likely decide the skill and the parts of a visit. Common practice, no source."""

URGENT = 2
"""The priority of an exchange where no rule names one: scheduled like an urgent service call."""


def visit_for(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    causes: Sequence[CauseChance],
    in_force: CautionsInForce,
    verdict: Verdict,
) -> Visit | None:
    """The visit an outcome asks for; None for a fix in the store, or before a held case has its word.

    The most urgent priority of the winning rules and the cautions counts, else the default one.
    """
    if verdict.outcome in ("fix_in_store", "hold"):
        return None
    hours = rulebook.service_hours
    usual = hours.default_priority
    if verdict.outcome == "swap" and URGENT in hours.priorities:
        usual = min(usual, URGENT)
    named = (one for one in (verdict.visit_priority, in_force.priority) if one is not None)
    priority = min(named, default=usual)
    return Visit(
        priority=priority,
        due=due_at(report.reported_at, priority, hours, timezone_of(machine)),
        skill=visit_skill(rulebook, causes, in_force),
        kit=visit_kit(rulebook, causes),
    )


def paid_after_hours(
    rulebook: Rulebook, report: Report, machine: Machine | None, in_force: CautionsInForce
) -> bool:
    """Whether a visit would be paid at after-hours rates.

    It is when the report comes outside the service hours and its response time does not wait for them. The
    urgency is that of the cautions, or the default one: a policy rule speaks only once the costs are known.
    """
    hours = rulebook.service_hours
    priority = in_force.priority if in_force.priority is not None else hours.default_priority
    response = hours.priorities.get(priority)
    if response is None or response.clock == "service":
        return False
    return is_after_hours(report.reported_at, hours, timezone_of(machine))


def visit_skill(rulebook: Rulebook, causes: Iterable[CauseChance], in_force: CautionsInForce) -> Skill:
    """Whom to send: the skill a caution asks for, or else the strongest that a likely cause needs."""
    if in_force.skill is not None:
        return in_force.skill
    return strongest(cause.repair.skill for cause in _likely(rulebook, causes)) or "general"


def visit_kit(rulebook: Rulebook, causes: Iterable[CauseChance]) -> tuple[str, ...]:
    """The numbers of the parts that the likely causes' repairs need, likeliest first."""
    numbers = (number for cause in _likely(rulebook, causes) for number in cause.repair.parts)
    return tuple(dict.fromkeys(numbers))


def timezone_of(machine: Machine | None) -> str:
    """The site's time zone, UTC where no site is known."""
    return machine.site.timezone if machine is not None and machine.site is not None else "UTC"


def _likely(rulebook: Rulebook, causes: Iterable[CauseChance]) -> list[Cause]:
    return [
        rulebook.causes[each.cause]
        for each in causes
        if each.chance >= LIKELY and each.cause in rulebook.causes
    ]
