from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from moneyed import Money

from tests.triage.builders import minimal_rulebook
from triage.decide.facts import gather_facts, spent_12_months, year_before
from triage.logic.conditions import FactValue
from triage.records.report import (
    CareEvent,
    History,
    Machine,
    PastRepair,
    Report,
    Site,
    local_date,
    whole_months,
)
from triage.rulebook.built_in_facts import BUILTIN_FACTS, LIMIT_FACTS, POLICY_FACTS

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
SITE = Site("halt-1", "Lanternway Alder Quay", "Alder", "America/New_York", open_around_the_clock=True)
MACHINE = Machine(
    "LH-1", "LH-20", date(2025, 1, 10), date(2025, 2, 3), SITE, "fogline", facts={"filter_days": Decimal(90)}
)


def report(**answers: object) -> Report:
    return Report(("not_freezing",), NOW, "LH-1", answers)  # type: ignore[arg-type]


def repair(at: str, cost: str) -> PastRepair:
    return PastRepair(datetime.fromisoformat(at), "OLD-1", None, Money(cost, "USD"))


def test_every_built_in_fact_is_of_one_kind_and_all_are_named() -> None:
    assert BUILTIN_FACTS.keys() > POLICY_FACTS | LIMIT_FACTS
    assert all(fact.id == id_ for id_, fact in BUILTIN_FACTS.items())


def test_what_the_caller_says_goes_before_the_record() -> None:
    rulebook = minimal_rulebook()

    said = gather_facts(rulebook, report(filter_days=Decimal(3)), MACHINE, History(), NOW)
    recorded = gather_facts(rulebook, report(), MACHINE, History(), NOW)

    assert (said["filter_days"].value, said["filter_days"].source) == (Decimal(3), "caller")
    assert (recorded["filter_days"].value, recorded["filter_days"].source) == (Decimal(90), "record")


def test_the_care_log_goes_before_a_number_written_into_the_record() -> None:
    rinsed = History(care=(CareEvent("filter_cleaned", datetime(2026, 2, 25, 15, tzinfo=UTC), "store"),))

    facts = gather_facts(minimal_rulebook(), report(), MACHINE, rinsed, NOW)

    assert facts["filter_days"].value == Decimal(5)
    assert "full_clean_days" not in facts  # the rulebook has no such fact


def test_ages_are_whole_calendar_months_on_the_sites_own_day() -> None:
    facts = gather_facts(minimal_rulebook(), report(), MACHINE, History(), NOW)

    assert facts["age_months"].value == Decimal(13)
    assert facts["months_since_commissioned"].value == Decimal(12)
    assert facts["open_around_the_clock"].value is True
    assert facts["model"].value == "LH-20"
    assert facts["contractor"].value == "fogline"


def test_repairs_and_spending_count_in_the_rolling_windows_only() -> None:
    history = History(
        repairs=(
            repair("2025-03-02T15:59:00+00:00", "900.00"),  # a minute too old
            repair("2025-03-02T16:01:00+00:00", "100.00"),
            repair("2026-01-15T12:00:00+00:00", "50.50"),
            repair("2026-03-02T17:00:00+00:00", "70.00"),  # after now
        )
    )

    facts = gather_facts(minimal_rulebook(), report(), MACHINE, history, NOW)

    assert facts["repairs_12_months"].value == Decimal(2)
    assert facts["repeat_visits_90_days"].value == Decimal(1)
    assert facts["spent_12_months"].value == Decimal("150.50")


@pytest.mark.parametrize(("seconds", "counted"), [(-1, 0), (0, 0), (1, 1)])
def test_a_window_opens_a_second_after_its_start_and_closes_with_now(seconds: int, counted: int) -> None:
    def visits(start: datetime) -> History:
        return History(repairs=(repair((start + timedelta(seconds=seconds)).isoformat(), "80.00"),))

    def found(history: History, fact: str) -> FactValue:
        return gather_facts(minimal_rulebook(), report(), MACHINE, history, NOW)[fact].value

    assert found(visits(NOW - timedelta(days=90)), "repeat_visits_90_days") == counted
    year_ago = year_before(NOW, "America/New_York")
    assert found(visits(year_ago), "repairs_12_months") == counted
    assert found(visits(year_ago), "spent_12_months") == 80 * counted
    assert found(visits(NOW), "repairs_12_months") == (seconds <= 0)


@pytest.mark.parametrize("offsets", [(0, -6), (-6, 0)])
def test_twelve_months_are_the_sites_own_whatever_offset_the_time_is_written_with(
    offsets: tuple[int, int],
) -> None:
    """On 29 February in UTC it is the 28th in New York still: a year before that are two moments."""
    at = datetime(2028, 2, 29, 3, tzinfo=UTC)  # 22:00 on 28 February at the site
    on_the_last_day = repair("2027-02-28T22:00:00-05:00", "80.00")
    after_it = repair("2027-02-28T22:01:00-05:00", "70.00")
    history = History(repairs=(on_the_last_day, after_it))

    for offset in offsets:
        now = at.astimezone(timezone(timedelta(hours=offset)))
        assert spent_12_months(MACHINE, history, now) == Decimal(70)
    assert year_before(at, "America/New_York") == datetime(2027, 3, 1, 3, tzinfo=UTC)
    assert year_before(at, "Asia/Tokyo") == datetime(2027, 2, 28, 3, tzinfo=UTC)


def test_repeats_of_one_cause_are_those_of_the_commonest_one_within_the_year() -> None:
    causes = ("fan_failed", "gearmotor_worn", None, "gearmotor_worn", None, None)
    repairs = [
        replace(repair(f"2025-{month:02}-20T12:00:00+00:00", "90.00"), cause=cause)
        for month, cause in enumerate(causes, start=6)
    ]
    old = replace(repair("2025-02-20T12:00:00+00:00", "90.00"), cause="gearmotor_worn")

    facts = gather_facts(minimal_rulebook(), report(), MACHINE, History(repairs=(old, *repairs)), NOW)
    none = gather_facts(minimal_rulebook(), report(), MACHINE, History(), NOW)

    assert facts["repeats_of_one_cause"].value == Decimal(2)
    assert none["repeats_of_one_cause"].value == Decimal(0)
    assert "repeats_of_one_cause" not in gather_facts(minimal_rulebook(), report(), None, History(), NOW)


def test_without_a_machine_only_the_report_is_known() -> None:
    facts = gather_facts(minimal_rulebook(), report(), None, History(), NOW)

    assert facts.keys() == {"symptom", "machine_known"}
    assert facts["machine_known"].value is False
    assert facts["symptom"].value == frozenset({"not_freezing"})


def test_the_local_day_is_the_sites_and_utc_without_one() -> None:
    late = datetime(2026, 3, 2, 3, tzinfo=UTC)

    assert local_date(MACHINE, late) == date(2026, 3, 1)
    assert local_date(replace(MACHINE, site=None), late) == date(2026, 3, 2)
    assert local_date(None, late) == date(2026, 3, 2)


def test_whole_months_count_full_months_and_never_below_zero() -> None:
    assert whole_months(date(2025, 1, 31), date(2025, 2, 27)) == 0
    assert whole_months(date(2025, 1, 31), date(2026, 1, 31)) == 12
    assert whole_months(date(2026, 1, 31), date(2025, 1, 31)) == 0
