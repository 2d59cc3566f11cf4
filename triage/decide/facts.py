"""The built-in facts, and what is known of a report before any rule is asked.

Some built-in facts are known at once (PRE_FACTS: the symptom, the machine's age, what was spent on it). The
others are figures the pipeline computes from the ranking, the plan, cover and limits; only policy rules and
limit tables see them (POLICY_FACTS). Every fact carries its source: the caller is heard before the record.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from triage.logic.conditions import FactValue
from triage.machine.commissioning.recorded import facts_on_record
from triage.machine.measures import upkeep
from triage.records.decision import KnownFact
from triage.records.report import History, Machine, PastRepair, Report
from triage.rulebook.model import Fact, FactType, Rulebook

MANY_VALUED = frozenset({"symptom"})
"""Choices that may hold several of their values at once."""

ROLLING_MONTHS = 12
REPEAT_DAYS = 90


def _fact(id_: str, title: str, type_: FactType, unit: str | None = None) -> Fact:
    return Fact(id_, title, type_, "computed", unit)


_PRE = (
    # The choices of symptom, top_cause and component are the rulebook's own; the reader fills them in.
    Fact("symptom", "Symptoms reported", "choice", "clerk", ask="What is wrong with the machine?"),
    Fact("model", "Model of the machine", "text", "record"),
    _fact("machine_known", "The machine is in the records", "flag"),
    _fact("contractor", "Contractor of the machine", "text"),
    _fact("open_around_the_clock", "The store never closes", "flag"),
    _fact("age_months", "Whole months since the machine was shipped", "number", "month"),
    _fact("months_since_commissioned", "Whole months since commissioning", "number", "month"),
    _fact("repairs_12_months", "Repairs in the last 12 months", "number"),
    _fact("repeat_visits_90_days", "Visits in the last 90 days", "number"),
    _fact("repeats_of_one_cause", "Most repairs of one and the same cause in the last 12 months", "number"),
    _fact("spent_12_months", "Spent on repairs in the last 12 months", "number"),
)

_POLICY = (
    _fact("top_cause", "Likeliest cause", "choice"),
    _fact("component", "Component of the likeliest cause", "choice"),
    _fact("top_chance", "Chance of the likeliest cause, 0..1", "number"),
    _fact("second_chance", "Chance of the second likeliest cause, 0..1", "number"),
    _fact("near_certain", "The likeliest cause is near certain", "flag"),
    _fact("plan_starts_in_store", "The best plan starts with a check in the store", "flag"),
    _fact("plan_cost", "Expected cost of the best plan", "number"),
    _fact("dispatch_cost", "Expected cost of sending someone now", "number"),
    _fact("plan_saves", "What the best plan saves against sending someone now", "number"),
    _fact("expected_repair", "Expected cost of the repair to the programme", "number"),
    _fact("cover_parts", "Parts of the likeliest component are in cover", "flag"),
    _fact("cover_labor", "Labor on the likeliest component is in cover", "flag"),
    _fact("cover_known", "Cover can be answered for", "flag"),
    _fact("cover_chance", "Chance that the faulty component is covered in both, 0..1", "number"),
    _fact("cover_at_risk", "Something puts cover at risk", "flag"),
    _fact("after_hours", "The visit would be paid at after-hours rates", "flag"),
    _fact("nte", "Not to exceed on this ticket", "number"),
    _fact("spent_on_ticket", "Spent on this ticket so far", "number"),
    _fact("headroom", "What may still be spent on this ticket", "number"),
    _fact("chance_over", "Chance that the repair runs over the headroom, 0..1", "number"),
    _fact("over_limit", "What is likely to be spent is above the headroom", "flag"),
    _fact("estimate_given", "A technician gave an estimate", "flag"),
    _fact("estimate_total", "Total of the technician's estimate", "number"),
    _fact("estimate_beyond_cover", "What of the estimate the programme pays", "number"),
    _fact("stop_use", "A caution says to stop using the machine", "flag"),
    _fact("caution_fired", "A caution speaks of this report", "flag"),
    _fact("solved", "A check cured it", "flag"),
    _fact("checks_tried", "Checks tried so far", "number"),
    _fact("value_now", "What the machine is worth now", "number"),
    _fact("swap_cost", "Cost of exchanging the machine", "number"),
    _fact("spent_share_of_value", "Spent in 12 months, by what the machine is worth", "number"),
    _fact("keep_cost_year", "Cost of keeping the machine for a year", "number"),
    _fact("swap_cost_year", "Cost of exchanging the machine, by year of its life", "number"),
    _fact("swap_saves_year", "What exchanging the machine saves a year against keeping it", "number"),
    _fact("failures_faster", "Failures come faster than they did", "flag"),
)

_LIMIT = (_fact("amount", "What the ticket would come to (authority tables)", "number"),)

PRE_FACTS: frozenset[str] = frozenset(fact.id for fact in _PRE)
"""Built-in facts known before inference: any rule may look at them."""

POLICY_FACTS: frozenset[str] = frozenset(fact.id for fact in _POLICY)
"""Built-in facts computed after the ranking: only policy rules and limit tables may look at them."""

LIMIT_FACTS: frozenset[str] = frozenset(fact.id for fact in _LIMIT)
"""Built-in facts that only a table of `limits/` may look at."""

BUILTIN_FACTS: Mapping[str, Fact] = {fact.id: fact for fact in (*_PRE, *_POLICY, *_LIMIT)}


def gather_facts(
    rulebook: Rulebook, report: Report, machine: Machine | None, history: History, now: datetime
) -> dict[str, KnownFact]:
    """Everything known before inference, by fact id.

    Answers of the caller come first; then the care log (days since the filter and the whole machine were
    cleaned, and the last commissioning's checklist), the machine's recorded facts, what holds for its model,
    and the built-in facts. Days overdue follow from the days since, whoever said those. A fact the rulebook
    does not know is left out. `now` is timezone-aware.
    """
    known = {
        fact: KnownFact(value, "computed") for fact, value in _built_in(report, machine, history, now).items()
    }
    known["symptom"] = KnownFact(frozenset(report.symptoms), "caller")
    if machine is not None:
        model = rulebook.models.get(machine.model)
        recorded: dict[str, FactValue] = {
            **(model.facts if model is not None else {}),
            **machine.facts,
            **facts_on_record(rulebook, machine, history.care, now),
            **_care(rulebook, machine, history, now),
        }
        known["model"] = KnownFact(machine.model, "record")
        if machine.contractor is not None:
            known["contractor"] = KnownFact(machine.contractor, "record")
        known |= {
            fact: KnownFact(value, "record") for fact, value in recorded.items() if fact in rulebook.facts
        }
    known |= {
        fact: KnownFact(value, "caller") for fact, value in report.answers.items() if fact in rulebook.facts
    }
    if report.forgotten:
        known = {fact: each for fact, each in known.items() if fact not in report.forgotten}
    return known | _overdue(rulebook, known)


def local_date(machine: Machine | None, now: datetime) -> date:
    """The day `now` falls on at the machine's site; in UTC where no site is known."""
    site = machine.site if machine is not None else None
    return now.astimezone(ZoneInfo(site.timezone) if site is not None else UTC).date()


@lru_cache(maxsize=4096)
def whole_months(start: date, end: date) -> int:
    """Full calendar months from `start` to `end`; 0 when `end` comes first."""
    if end < start:
        return 0
    step = relativedelta(end, start)
    return step.years * 12 + step.months


def repairs_since(history: History, start: datetime, now: datetime) -> tuple[PastRepair, ...]:
    """The closed visits after `start` and up to `now`."""
    return tuple(repair for repair in history.repairs if start < repair.at <= now)


def spent_12_months(history: History, now: datetime) -> Decimal:
    """What was spent on the machine in the 12 calendar months up to `now`."""
    recent = repairs_since(history, year_before(now), now)
    return sum((repair.cost.amount for repair in recent), Decimal(0))


@lru_cache(maxsize=1024)
def year_before(now: datetime) -> datetime:
    """The start of the rolling 12 calendar months."""
    return now - relativedelta(months=ROLLING_MONTHS)


def _built_in(
    report: Report, machine: Machine | None, history: History, now: datetime
) -> dict[str, FactValue]:
    facts: dict[str, FactValue] = {"machine_known": machine is not None}
    if machine is None:
        return facts
    today = local_date(machine, now)
    facts["age_months"] = Decimal(whole_months(machine.shipped_on, today))
    if machine.commissioned_on is not None:
        facts["months_since_commissioned"] = Decimal(whole_months(machine.commissioned_on, today))
    if machine.site is not None:
        facts["open_around_the_clock"] = machine.site.open_around_the_clock
    year = repairs_since(history, year_before(now), now)
    facts["repairs_12_months"] = Decimal(len(year))
    facts["repeat_visits_90_days"] = Decimal(
        len(repairs_since(history, now - timedelta(days=REPEAT_DAYS), now))
    )
    causes = Counter(repair.cause for repair in year if repair.cause is not None)
    facts["repeats_of_one_cause"] = Decimal(max(causes.values(), default=0))
    facts["spent_12_months"] = sum((repair.cost.amount for repair in year), Decimal(0))
    return facts


def _care(rulebook: Rulebook, machine: Machine, history: History, now: datetime) -> dict[str, Decimal]:
    timezone = machine.site.timezone if machine.site is not None else "UTC"
    return upkeep.facts(history.care, now, timezone, rulebook.care)


def _overdue(rulebook: Rulebook, known: Mapping[str, KnownFact]) -> dict[str, KnownFact]:
    days = {fact: each.value for fact, each in known.items() if isinstance(each.value, Decimal)}
    return {
        fact: KnownFact(value, "computed")
        for fact, value in upkeep.overdue_facts(days, rulebook.care).items()
        if fact in rulebook.facts
    }
