"""Night mode: the hours in which a machine thaws and stirs instead of freezing, against the opening hours.

A window is two wall-clock times; an end at or before the start lies on the next day. Start and end alike
means that night mode is not set: 0 hours, not 24.
"""

from collections.abc import Mapping
from datetime import time
from decimal import Decimal
from functools import lru_cache
from typing import TypeAlias

from triage.schedule.service_hours import WEEKDAYS, minutes_of_day
from triage.values.errors import InputError

LEAST_NIGHT_MODE_HOURS = Decimal(4)
"""Common practice, no source; holds around the clock too, since the barrels must thaw once a day."""

Opening: TypeAlias = Mapping[str, tuple[str, str]]
"""A site's own opening hours by weekday, "mon".."sun" -> ("06:00", "23:00"); a day not named is closed.
"00:00" to "24:00" is open around the clock; an end at or before the start lies on the next day."""

_DAY = 24 * 60
_WEEK = 7 * _DAY


def night_mode_hours(start: time, end: time) -> Decimal:
    """Hours of the window by the machine's own clock, 0 to just under 24, to two places."""
    return _hours((_minutes(end) - _minutes(start)) % _DAY)


def night_mode_while_open(start: time, end: time, opening: Opening) -> Mapping[str, Decimal]:
    """Hours of night mode within the opening hours, by the weekday on which the night begins; only those > 0.

    At a site that never closes every night is within opening hours: this is a cost to plan for (the quietest
    hours), not a fault.
    """
    return dict(_while_open(start, end, tuple((day, *hours) for day, hours in opening.items())))


@lru_cache(maxsize=1024)
def _while_open(start: time, end: time, opening: tuple[tuple[str, str, str], ...]) -> Mapping[str, Decimal]:
    open_spans = _merged([span for day, *hours in opening for span in _spans(day, *hours)])
    length = (_minutes(end) - _minutes(start)) % _DAY
    found: dict[str, Decimal] = {}
    for day in WEEKDAYS:
        begins = WEEKDAYS.index(day) * _DAY + _minutes(start)
        open_minutes = sum(
            max(0, min(begins + length, closes) - max(begins, opens)) for opens, closes in open_spans
        )
        if open_minutes:
            found[day] = _hours(open_minutes)
    return found


def _spans(day: str, *hours: str) -> list[tuple[int, int]]:
    """Minutes from Monday's first midnight, and a week earlier and later for what crosses the week's end."""
    if day not in WEEKDAYS:
        raise InputError(f'"{day}" is not a weekday; write one of {", ".join(WEEKDAYS)}')
    opens, closes = (minutes_of_day(text) for text in hours)
    if closes <= opens:
        closes += _DAY
    monday = WEEKDAYS.index(day) * _DAY
    return [(monday + week + opens, monday + week + closes) for week in (-_WEEK, 0, _WEEK)]


def _merged(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    merged: list[tuple[int, int]] = []
    for opens, closes in sorted(spans):
        if merged and opens <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(merged[-1][1], closes)
        else:
            merged.append((opens, closes))
    return merged


def _hours(minutes: int) -> Decimal:
    return round(Decimal(minutes) / 60, 2)


def _minutes(at: time) -> int:
    return at.hour * 60 + at.minute
