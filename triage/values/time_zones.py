"""Time zones by their IANA names, and the demand that every time says which one it is in."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from triage.values.errors import InputError


@lru_cache(maxsize=256)
def zone_named(name: str) -> ZoneInfo:
    """The zone of an IANA name such as "America/Chicago"; InputError when there is none of that name."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f'"{name}" is not a time zone; write an IANA name such as "America/Chicago"'
        ) from None


def aware(at: datetime) -> datetime:
    """`at` itself; InputError when it has no offset, since such a time names no moment."""
    if at.utcoffset() is None:
        raise InputError(f"{at.isoformat()} has no time zone; add an offset such as -05:00, or Z")
    return at
