"""Days and moments as every door reads them, and time zones by their IANA names."""

import re
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from triage.values.errors import InputError, Problem

UTC_NAME = "UTC"
"""The time zone where no site is on record."""

CLOCKS_APART = timedelta(minutes=5)
"""How far in the future a time may lie: two clocks are never quite the same."""


YEARS = range(1970, 2200)
"""What can be meant; dates near the ends of the calendar cannot be reckoned with."""

_ZONE = re.compile(r"[A-Za-z][\w+-]{0,31}(/[\w+-]{1,32}){0,2}", re.ASCII)
"""The form of a name, checked before zoneinfo looks for modules and files by it."""

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}\S*", re.ASCII)


def day_of(text: str) -> date:
    """A day written as "2026-01-31"; ValueError says what is wrong."""
    try:
        day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None:
        raise ValueError('this is not a date of the calendar; write it as "2026-01-31"')
    if day.year not in YEARS:
        raise ValueError(f"the year {day.year} cannot be meant; fix the date")
    return day


def moment_of(text: str) -> datetime:
    """A time as RFC 3339 with its offset; ValueError says what is wrong."""
    fix = 'write RFC 3339 with an offset, such as "2026-03-02T10:00:00-05:00"'
    try:
        at = datetime.fromisoformat(text) if _MOMENT.fullmatch(text) else None
    except ValueError:
        at = None
    if at is None:
        raise ValueError(f"this is not a time; {fix}")
    if at.utcoffset() is None:
        raise ValueError(f'"{text[:40]}" has no offset, so it names no moment; {fix}')
    if at.year not in YEARS:
        raise ValueError(f"the year {at.year} cannot be meant; fix the date")
    return at


@lru_cache(maxsize=256)
def zone_named(name: str, pointer: str | None = None) -> ZoneInfo:
    """The zone of an IANA name such as "America/Chicago"; InputError, at `pointer`, when there is none."""
    try:
        if _ZONE.fullmatch(name):
            return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        pass
    message = f'"{name[:60]}" is not a time zone; write an IANA name such as "America/Chicago"'
    raise InputError([Problem(message, pointer)])


def aware(at: datetime) -> datetime:
    """`at` itself; InputError when it has no offset, since such a time names no moment."""
    if at.utcoffset() is None:
        raise InputError(f"{at.isoformat()} has no time zone; add an offset such as -05:00, or Z")
    return at


def lies_ahead(at: datetime, now: datetime) -> str | None:
    """What is wrong with a time further in the future than clocks run apart; None when nothing is."""
    if at <= now + CLOCKS_APART:
        return None
    return f"{at.isoformat()} lies in the future (it is {now.isoformat()}); fix the time"
