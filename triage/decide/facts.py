"""The built-in facts, and what is known of a report before any rule is asked.

Some built-in facts are known at once (the symptom, the machine's age, what was spent on it). The
others are computed by the pipeline from the ranking, the plan, warranty and limits; only policy rules
and limit tables see them (POLICY_FACTS). Every fact carries its source: the caller is heard before the
record.
"""

from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from dateutil.relativedelta import relativedelta

from triage.decide.dangers import heard_facts, with_dangers
from triage.decide.on_day import clock_facts, unused_facts
from triage.logic.conditions import FactValue
from triage.machine.commissioning.recorded import facts_on_record
from triage.machine.measures import upkeep
from triage.records.danger import CALM, DangerState
from triage.records.decision import KnownFact
from triage.records.report import History, Machine, PastRepair, Report, local_date, timezone_of, whole_months
from triage.rulebook.model import Rulebook
from triage.values.time_zones import zone_named

ROLLING_MONTHS = 12
REPEAT_DAYS = 90


def gather_facts(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    history: History,
    now: datetime,
    state: DangerState = CALM,
) -> dict[str, KnownFact]:
    """Everything known before inference, by fact id.

    Answers of the caller come first; then the care log (days since the filter and the whole machine were
    cleaned, and the last commissioning's checklist), the machine's recorded facts, what holds for its model
    and for the program, and the built-in facts. Days overdue follow from the days since, whoever said those.
    A fact the rulebook does not know is left out. A danger is true when any of them or the caller's words say
    so. `now` is timezone-aware.
    """
    built_in = {**_built_in(machine, history, now), **clock_facts(rulebook, machine, report.reported_at)}
    known = {fact: KnownFact(value, "computed") for fact, value in built_in.items()}
    known["symptom"] = KnownFact(frozenset(report.symptoms), "caller")
    known |= {fact: KnownFact(value, "record") for fact, value in rulebook.program_facts.items()}
    on_record: list[dict[str, KnownFact]] = []
    if machine is not None:
        model = rulebook.models.get(machine.model)
        records: tuple[Mapping[str, FactValue], ...] = (
            model.facts if model is not None else {},
            machine.facts,
            facts_on_record(rulebook, machine, history.care, now),
            _care(rulebook, machine, history, now),
        )
        known["model"] = KnownFact(machine.model, "record")
        if machine.contractor is not None:
            known["contractor"] = KnownFact(machine.contractor, "record")
        on_record = [
            {fact: KnownFact(value, "record") for fact, value in each.items() if fact in rulebook.facts}
            for each in records
        ]
    for each in on_record:
        known |= each
    known |= {
        fact: KnownFact(value, "caller") for fact, value in report.answers.items() if fact in rulebook.facts
    }
    known = with_dangers(rulebook, known, on_record)
    known = with_dangers(rulebook, known, [heard_facts(rulebook, report, state)])
    left_out = {*report.forgotten, *unused_facts(rulebook)}
    if left_out:
        known = {fact: each for fact, each in known.items() if fact not in left_out}
    return known | _overdue(rulebook, known)


def repairs_since(history: History, start: datetime, now: datetime) -> tuple[PastRepair, ...]:
    """The closed visits after `start` and up to `now`."""
    return tuple(repair for repair in history.repairs if start < repair.at <= now)


def spent_12_months(machine: Machine | None, history: History, now: datetime) -> Decimal:
    """What was spent on the machine in the 12 calendar months up to `now`."""
    recent = repairs_since(history, year_before(now, timezone_of(machine)), now)
    return sum((repair.cost.amount for repair in recent), Decimal(0))


@lru_cache(maxsize=1024)
def year_before(now: datetime, zone: str) -> datetime:
    """The start of the rolling 12 calendar months, by the calendar of `zone` (an IANA name).

    The offset that `now` is written with does not matter: as a key one moment is the same in any.
    """
    there = now.astimezone(zone_named(zone))
    return (there - relativedelta(months=ROLLING_MONTHS)).astimezone(UTC)


def _built_in(machine: Machine | None, history: History, now: datetime) -> dict[str, FactValue]:
    facts: dict[str, FactValue] = {"machine_known": machine is not None}
    if machine is None:
        return facts
    today = local_date(machine, now)
    facts["age_months"] = Decimal(whole_months(machine.shipped_on, today))
    if machine.commissioned_on is not None:
        facts["months_since_commissioned"] = Decimal(whole_months(machine.commissioned_on, today))
    if machine.site is not None:
        facts["open_around_the_clock"] = machine.site.open_around_the_clock
    year = repairs_since(history, year_before(now, timezone_of(machine)), now)
    facts["repairs_12_months"] = Decimal(len(year))
    facts["repeat_visits_90_days"] = Decimal(
        len(repairs_since(history, now - timedelta(days=REPEAT_DAYS), now))
    )
    causes = Counter(repair.cause for repair in year if repair.cause is not None)
    facts["repeats_of_one_cause"] = Decimal(max(causes.values(), default=0))
    facts["spent_12_months"] = sum((repair.cost.amount for repair in year), Decimal(0))
    return facts


def _care(rulebook: Rulebook, machine: Machine, history: History, now: datetime) -> dict[str, Decimal]:
    return upkeep.facts(history.care, now, timezone_of(machine), rulebook.care)


def _overdue(rulebook: Rulebook, known: Mapping[str, KnownFact]) -> dict[str, KnownFact]:
    days = {fact: each.value for fact, each in known.items() if isinstance(each.value, Decimal)}
    return {
        fact: KnownFact(value, "computed")
        for fact, value in upkeep.overdue_facts(days, rulebook.care).items()
        if fact in rulebook.facts
    }
