"""Time zones by their IANA names, and the demand that every time says which one it is in."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from triage.values.errors import InputError, Problem

UTC_NAME = "UTC"
"""The time zone where no site is on record."""

CLOCKS_APART = timedelta(minutes=5)
"""How far in the future a time may lie: two clocks are never quite the same."""


@lru_cache(maxsize=256)
def zone_named(name: str, pointer: str | None = None) -> ZoneInfo:
    """The zone of an IANA name such as "America/Chicago"; InputError, at `pointer`, when there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        message = f'"{name}" is not a time zone; write an IANA name such as "America/Chicago"'
        raise InputError([Problem(message, pointer)]) from None


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
