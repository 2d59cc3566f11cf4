"""Care due, overdue and kept, in the site's calendar days."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.machine.measures.upkeep import compliance, due, facts
from triage.records.report import CareEvent, CareKind
from triage.rulebook.model import CareIntervals
from triage.values.errors import InputError

ZONE = "America/New_York"
NOW = datetime(2026, 3, 31, 15, 0, tzinfo=UTC)


def event(kind: CareKind, text: str) -> CareEvent:
    return CareEvent(kind, datetime.fromisoformat(text), "store")


def test_the_days_since_care_and_the_days_overdue_become_facts():
    care = [event("fully_cleaned", "2026-03-01T12:00:00Z"), event("filter_cleaned", "2026-03-10T12:00:00Z")]
    assert facts(care, NOW, ZONE) == {
        "filter_days": Decimal(21),
        "filter_overdue_days": Decimal(6),
        "full_clean_days": Decimal(30),
        "full_clean_overdue_days": Decimal(0),
    }


def test_a_task_is_overdue_only_on_the_day_after_it_is_due():
    care = [event("filter_cleaned", "2026-03-16T12:00:00Z")]
    assert due("filter", care, NOW, ZONE).days_overdue == 0
    assert due("filter", care, NOW, ZONE).due_on == date(2026, 3, 31)
    assert due("filter", care, NOW + timedelta(days=1), ZONE).days_overdue == 1


def test_days_turn_at_midnight_of_the_site_not_of_the_server():
    care = [event("filter_cleaned", "2026-03-30T03:30:00Z")]  # 23:30 on the 29th at the site
    assert facts(care, NOW, ZONE)["filter_days"] == 2
    assert facts(care, NOW, "UTC")["filter_days"] == 1


def test_a_full_clean_includes_the_filter_but_a_rinsed_filter_is_no_full_clean():
    full = facts([event("fully_cleaned", "2026-03-29T12:00:00Z")], NOW, ZONE)
    assert full["filter_days"] == full["full_clean_days"] == 2
    rinsed = facts([event("filter_cleaned", "2026-03-29T12:00:00Z")], NOW, ZONE)
    assert "full_clean_days" not in rinsed


def test_commissioning_starts_both_intervals():
    found = facts([event("commissioned", "2026-03-21T12:00:00Z")], NOW, ZONE)
    assert found["filter_days"] == found["full_clean_days"] == 10


def test_without_any_record_the_days_stay_unknown():
    assert facts([], NOW, ZONE) == {}
    assert due("filter", [], NOW, ZONE).days_overdue is None


def test_care_logged_after_the_moment_asked_about_is_not_seen():
    care = [event("filter_cleaned", "2026-03-20T12:00:00Z"), event("filter_cleaned", "2026-03-31T15:00:01Z")]
    assert facts(care, NOW, ZONE)["filter_days"] == 11
    assert facts(care, NOW + timedelta(seconds=1), ZONE)["filter_days"] == 0


def test_compliance_counts_the_days_on_which_nothing_was_overdue():
    care = [event("commissioned", "2026-03-01T12:00:00Z"), event("filter_cleaned", "2026-03-20T12:00:00Z")]
    answer = compliance("filter", care, date(2026, 3, 1), date(2026, 3, 31), ZONE)
    # due on the 16th, overdue from the 17th to the 19th, caught up on the 20th
    assert (answer.days, answer.days_kept, answer.longest_overdue_days) == (31, 28, 3)
    assert (answer.times, answer.times_late) == (2, 1)
    assert answer.share_kept == Decimal(28) / Decimal(31)


def test_days_before_the_first_record_count_for_neither_side():
    care = [event("commissioned", "2026-03-22T12:00:00Z")]
    answer = compliance("filter", care, date(2026, 3, 1), date(2026, 3, 31), ZONE)
    assert (answer.days, answer.days_kept) == (10, 10)
    assert compliance("filter", [], date(2026, 3, 1), date(2026, 3, 31), ZONE).share_kept is None


def test_overdue_that_began_before_the_period_is_counted_in_full_length():
    care = [event("filter_cleaned", "2026-01-01T12:00:00Z")]
    answer = compliance("filter", care, date(2026, 2, 1), date(2026, 2, 10), ZONE)
    assert (answer.days, answer.days_kept, answer.longest_overdue_days) == (10, 0, 25)


@settings(deadline=None, derandomize=True)
@given(
    st.lists(st.integers(0, 120), max_size=8),
    st.integers(0, 100),
    st.integers(0, 60),
    st.integers(1, 30),
)
def test_compliance_agrees_with_asking_day_by_day(offsets, first_offset, length, interval):
    start = datetime(2026, 1, 1, 17, tzinfo=UTC)
    care = [CareEvent("filter_cleaned", start + timedelta(days=days), "store") for days in offsets]
    intervals = CareIntervals(filter_days=interval)
    first = date(2026, 1, 1) + timedelta(days=first_offset)
    last = first + timedelta(days=length)
    ends = [datetime(day.year, day.month, day.day, 23, 59, tzinfo=UTC) for day in _days(first, last)]
    daily = [due("filter", care, end, "UTC", intervals) for end in ends]
    known = [one.days_overdue for one in daily if one.days_overdue is not None]
    answer = compliance("filter", care, first, last, "UTC", intervals)
    assert (answer.days, answer.days_kept) == (len(known), known.count(0))
    assert answer.longest_overdue_days == max(known, default=0)


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=offset) for offset in range((last - first).days + 1)]


def test_bad_input_is_refused_with_words():
    with pytest.raises(InputError, match="no time zone; add an offset"):
        facts([], datetime(2026, 3, 1), ZONE)  # noqa: DTZ001  the naive time is the point
    with pytest.raises(InputError, match="write an IANA name"):
        facts([], NOW, "Mars/Olympus")
    with pytest.raises(InputError, match=r"ends .* before it starts"):
        compliance("filter", [], date(2026, 3, 2), date(2026, 3, 1), ZONE)
    with pytest.raises(InputError, match="at least 1"):
        CareIntervals(filter_days=0)


def test_care_on_the_due_day_is_in_time_and_on_the_first_day_of_the_period_counts():
    first, last = date(2026, 3, 16), date(2026, 3, 31)
    on_the_day = [
        event("commissioned", "2026-03-01T12:00:00Z"),
        event("filter_cleaned", "2026-03-16T12:00:00Z"),
    ]
    in_time = compliance("filter", on_the_day, first, last, ZONE)
    assert (in_time.times, in_time.times_late) == (1, 0)
    a_day_late = [event("commissioned", "2026-02-28T12:00:00Z"), on_the_day[1]]
    late = compliance("filter", a_day_late, first, last, ZONE)
    assert (late.times, late.times_late) == (1, 1)
