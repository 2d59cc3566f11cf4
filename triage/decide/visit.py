"""Who comes, by when, with which parts."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import get_args

from triage.decide.outcome import CautionsThatHold, Verdict, strongest
from triage.decide.parts_kit import Kit, Load, Need, Van, best_kit, chance_of
from triage.decide.spending.costs import WorkStart
from triage.records.decision import CauseChance, Visit
from triage.records.report import Machine, Report, local_date, timezone_of
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import OTHER_CAUSE, Cause, Fixer, Outcome, Rulebook, Skill
from triage.rulebook.terms import RateAgreement
from triage.schedule.service_hours import due_at, due_within_access, is_after_hours

LIKELY = 0.10
"""Causes at least this likely decide the skill of a visit. Common practice, no source."""

RARE = 0.01
"""Nothing is carried for causes less likely than this, lest a kit of everything hide what matters."""

URGENT = 2
"""The priority of an exchange where no rule names one: scheduled like an urgent service call."""


def visit_for(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    causes: Sequence[CauseChance],
    live: CautionsThatHold,
    outcome: Outcome,
    priority: int,
) -> Visit | None:
    """The visit an outcome asks for; None for a fix in the store, or before a held case has its yes."""
    if outcome in ("fix_in_store", "hold"):
        return None
    fixes = outcome != "swap"
    by = _sent(rulebook, causes, live) if fixes else "contractor"
    fixes = fixes and by == "contractor"
    day = local_date(machine, report.reported_at)
    contractor = machine.contractor if machine is not None else None
    kit = visit_kit(rulebook, causes, day, contractor) if fixes else None
    return Visit(
        priority=priority,
        due=_due(rulebook, report, machine, priority),
        skill=visit_skill(rulebook, causes, live),
        kit=() if kit is None else tuple(number for number, count in kit.parts.items() for _ in range(count)),
        kit_chance=None if kit is None else kit.chance,
        by=by,
    )


def _due(rulebook: Rulebook, report: Report, machine: Machine | None, priority: int) -> datetime:
    due = due_at(report.reported_at, priority, rulebook.service_hours, timezone_of(machine))
    return due_within_access(due, report.reported_at, None if machine is None else machine.site)


def usual_priority(rulebook: Rulebook, live: CautionsThatHold) -> int:
    """The urgency before policy has spoken: that of the cautions, or the default one."""
    return rulebook.service_hours.default_priority if live.priority is None else live.priority


def urgency(rulebook: Rulebook, live: CautionsThatHold, verdict: Verdict) -> int:
    """The most urgent priority of all cautions and policy rules that hold, else the default one."""
    hours = rulebook.service_hours
    usual = hours.default_priority
    if verdict.outcome == "swap" and URGENT in hours.priorities:
        usual = min(usual, URGENT)
    return min((one for one in (verdict.visit_priority, live.priority) if one is not None), default=usual)


@dataclass(frozen=True, slots=True)
class Lateness:
    """Whether after-hours rates are agreed for a ticket, whether a visit begins after hours, and how it would
    be paid: by when work starts, where that is known.
    """

    agreed: bool
    after_hours: bool
    paid: bool | WorkStart


def lateness(rulebook: Rulebook, report: Report, machine: Machine | None, priority: int) -> Lateness:
    """They are agreed where the response time of the priority does not wait for the service hours.

    Then it counts when someone is to come: as the technician says, else as the visit is planned, else by when
    it is due.
    """
    hours, zone = rulebook.service_hours, timezone_of(machine)
    response = hours.priorities.get(priority)
    if response is None or response.clock == "service":
        return Lateness(False, False, False)
    if report.after_hours is not None:
        return Lateness(True, report.after_hours, report.after_hours)
    comes_at = report.visit_at or _due(rulebook, report, machine, priority)
    return Lateness(True, is_after_hours(comes_at, hours, zone), WorkStart(comes_at, zone))


def fixed_by(rulebook: Rulebook, causes: Iterable[CauseChance]) -> Fixer:
    """Who fixes most of what may be at fault; the contractor where that is even."""
    chances: dict[Fixer, float] = dict.fromkeys(get_args(Fixer), 0.0)
    for each in causes:
        cause = rulebook.causes.get(each.cause)
        chances["contractor" if cause is None else cause.repair.by] += each.chance
    return max(chances, key=lambda by: chances[by])


def _sent(rulebook: Rulebook, causes: Sequence[CauseChance], live: CautionsThatHold) -> Fixer:
    """Whom to send: in danger the contractor's specialist, but for an electrician where one is asked for.

    Pest control comes where nothing but food is in danger.
    """
    by = fixed_by(rulebook, causes)
    if by == "pest_control" and any(one.stop_use and one.harm != "food" for one in live.said):
        return "contractor"
    able = (None, "general", "electrical") if by == "electrician" else (None, "general")
    return by if live.skill in able else "contractor"


def visit_skill(rulebook: Rulebook, causes: Iterable[CauseChance], live: CautionsThatHold) -> Skill:
    """Whom to send: the specialist a caution asks for, or else the strongest that a likely cause needs.

    Danger comes before the repair: an electrician for a wet plug, though the compressor be at fault.
    """
    if live.skill is not None and live.skill != "general":
        return live.skill
    return strongest(cause.repair.skill for cause in _likely(rulebook, causes)) or "general"


def visit_kit(
    rulebook: Rulebook, causes: Iterable[CauseChance], on: date, contractor: str | None = None
) -> Kit:
    """The parts to carry, likeliest cause first, within what the contractor's agreement of that day lets
    a van carry.

    The kit's chance is over all causes. `other`, whose repair nobody knows beforehand, is never counted as
    fixed; a cause whose repair takes no parts always is.
    """
    chances = tuple((each.cause, each.chance) for each in causes)
    return _kits(rulebook)(chances, rulebook.rates.agreement(contractor, on))


@once_per_rulebook
def _kits(rulebook: Rulebook) -> Callable[[tuple[tuple[str, float], ...], RateAgreement], Kit]:
    loads = {number: Load(part.kg, part.price) for number, part in rulebook.parts.items()}
    repairs = {
        id_: cause.repair.parts
        for id_, cause in rulebook.causes.items()
        if id_ != OTHER_CAUSE and cause.repair.parts.keys() <= loads.keys()
    }

    @lru_cache(maxsize=2048)
    def kit(chances: tuple[tuple[str, float], ...], agreement: RateAgreement) -> Kit:
        needs = [Need(chance, repairs[cause]) for cause, chance in chances if cause in repairs]
        packed = best_kit(
            [need for need in needs if need.chance >= RARE], loads, Van(agreement.van_kg, agreement.van_value)
        )
        return Kit(packed.parts, chance_of(packed.parts, needs), packed.exact)

    return kit


def _likely(rulebook: Rulebook, causes: Iterable[CauseChance]) -> list[Cause]:
    return [
        rulebook.causes[each.cause]
        for each in causes
        if each.chance >= LIKELY and each.cause in rulebook.causes
    ]
