"""Service hours over nights, a weekend and a public holiday.

Source: pandas developers; pandas user guide; 2025; "Time series / date functionality: Custom business hour"
Status: computed with pandas
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from triage.rulebook.terms import ServiceHours
from triage.schedule.service_hours import add_service_hours

ZONE = "America/Chicago"
WEEK = dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), ("08:00", "17:00"))
US = ServiceHours(WEEK, "US", None, {}, 1)


def local(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE))


def added(start: str, hours: int) -> datetime:
    return add_service_hours(local(start), Decimal(hours), US, ZONE)


@pytest.mark.parametrize(
    ("start", "hours", "reached"),
    [
        ("2024-07-03T15:30", 4, "2024-07-05T10:30"),
        ("2024-07-05T16:00", 4, "2024-07-08T11:00"),
        ("2024-07-03T17:00", 1, "2024-07-05T09:00"),
    ],
)
def test_hours_run_on_at_the_next_opening(start, hours, reached):
    assert added(start, hours) == local(reached)


def test_hours_that_fill_the_day_end_at_closing_where_pandas_rolls_to_the_next_opening():
    # pandas gives 2024-07-05T08:00: no service time lies between the two. A promise "by" uses the earlier.
    assert added("2024-07-03T08:00", 9) == local("2024-07-03T17:00")


@pytest.mark.parametrize("hours", [1, 5, 9, 10, 27, 63])
def test_hours_agree_with_pandas_but_for_the_roll_at_closing(hours):
    offset = pd.offsets.CustomBusinessHour(hours, start="08:00", end="17:00", holidays=["2024-07-04"])
    for step in range(24):
        start = pd.Timestamp("2024-06-28T08:00") + timedelta(minutes=437 * step)
        ours = added(start.isoformat(), hours).replace(tzinfo=None)
        theirs = (start + offset).to_pydatetime()
        if ours.hour == 17:
            next_opening = pd.offsets.CustomBusinessHour(start="08:00", end="17:00", holidays=["2024-07-04"])
            ours = next_opening.rollforward(ours + timedelta(seconds=1)).to_pydatetime()
        assert ours == theirs
