"""Business days across a public holiday, and the weekdays in a year.

Source: NumPy developers; NumPy reference; 2024; "Datetime support functions" (busday_offset, busday_count)
Status: computed with numpy
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from triage.rulebook.terms import ServiceHours
from triage.schedule.service_hours import add_service_hours, is_after_hours, public_holidays

ZONE = "America/Chicago"
WEEK = dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), ("08:00", "17:00"))
US = ServiceHours(WEEK, "US", None, {}, 1)
NO_HOLIDAYS = ServiceHours(WEEK, None, None, {}, 1)


def closing(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 17, tzinfo=ZoneInfo(ZONE))


@pytest.mark.parametrize(("days", "reached"), [(1, date(2024, 7, 5)), (5, date(2024, 7, 11))])
def test_whole_days_from_closing_to_closing_step_over_the_fourth_of_july(days, reached):
    assert add_service_hours(closing(date(2024, 7, 3)), Decimal(9 * days), US, ZONE) == closing(reached)


@pytest.mark.parametrize("days", [1, 2, 3, 7, 20, 64])
def test_whole_days_agree_with_numpy_over_a_year_of_holidays(days):
    off = sorted(public_holidays("US", None, 2024) | public_holidays("US", None, 2025))
    start = np.busday_offset("2024-03-01", 0, roll="forward", holidays=off)
    for _ in range(12):
        reached = np.busday_offset(start, days, holidays=off).astype(date)
        assert add_service_hours(closing(start.astype(date)), Decimal(9 * days), US, ZONE) == closing(reached)
        start = np.busday_offset(start, 17, holidays=off)


@pytest.mark.parametrize(("year", "weekdays"), [(2011, 260), (2023, 260), (2024, 262)])
def test_the_weekdays_of_a_year_are_service_days_when_no_holidays_are_kept(year, weekdays):
    noon = datetime(year, 1, 1, 12, tzinfo=ZoneInfo(ZONE))
    length = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    open_days = sum(
        not is_after_hours(noon + timedelta(days=day), NO_HOLIDAYS, ZONE) for day in range(length)
    )
    assert open_days == weekdays
