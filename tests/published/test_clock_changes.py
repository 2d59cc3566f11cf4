"""Elapsed hours, day lengths and doubtful wall times when the clocks change in America/Chicago.

Source: IANA; Time Zone Database; 2026; America/Chicago; PEP 495 (2015) for `fold`
Status: computed with zoneinfo
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from triage.rulebook.terms import ResponseTime, ServiceHours
from triage.schedule.service_hours import add_service_hours, due_at

ZONE = "America/Chicago"
EIGHT_ELAPSED = ServiceHours({}, None, None, {1: ResponseTime(Decimal(8), "elapsed")}, 1)
EVERY_DAY = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE))


@pytest.mark.parametrize(
    ("start", "due"),
    [("2025-03-08T22:00", "2025-03-09T07:00"), ("2025-11-01T22:00", "2025-11-02T05:00")],
)
def test_eight_elapsed_hours_are_eight_hours_and_not_a_wall_clock_step(start, due):
    assert due_at(local(start), 1, EIGHT_ELAPSED, ZONE) == local(due)


@pytest.mark.parametrize(
    ("day", "hours"),
    [
        *[(day, 23) for day in ("2024-03-10", "2025-03-09", "2026-03-08")],
        *[(day, 25) for day in ("2024-11-03", "2025-11-02", "2026-11-01")],
    ],
)
def test_a_day_of_service_around_the_clock_has_the_hours_of_the_calendar_day(day, hours):
    always = ServiceHours(dict.fromkeys(EVERY_DAY, ("00:00", "24:00")), None, None, {}, 1)
    midnight = local(f"{day}T00:00")
    next_midnight = (midnight.replace(tzinfo=None) + timedelta(days=1)).replace(tzinfo=ZoneInfo(ZONE))
    assert add_service_hours(midnight, Decimal(hours), always, ZONE) == next_midnight


@pytest.mark.parametrize(
    ("day", "opens", "begins_utc"),
    [
        ("2025-11-02", "01:30", datetime(2025, 11, 2, 6, 30, tzinfo=UTC)),  # occurs twice: the first
        ("2025-03-09", "02:30", datetime(2025, 3, 9, 8, 30, tzinfo=UTC)),  # skipped: 03:30 on the clocks
    ],
)
def test_a_doubtful_opening_time_is_taken_at_fold_0(day, opens, begins_utc):
    hours = ServiceHours({"sun": (opens, "12:00")}, None, None, {}, 1)
    start = local(f"{day}T00:15")
    reached = add_service_hours(start, Decimal(1), hours, ZONE)
    assert reached.astimezone(UTC) == begins_utc + timedelta(hours=1)
