"""When a store lets somebody in: one window a day on the site's own clock, or at any time.

A window whose end is not after its start reaches past midnight ("18:00" to "02:00").
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from triage.records.report import Site
from triage.schedule.service_hours import daily_span, minutes_of_day
from triage.values.errors import InputError
from triage.values.time_zones import zone_named

_LONGEST_SEARCH_DAYS = 400


def access_windows(start: datetime, site: Site) -> Iterator[tuple[datetime, datetime]]:
    """Opening and closing moments (UTC) from the window that may reach into `start` on, for some 400 days.

    Nothing for a site that lets people in at any time.
    """
    if not site.access_from:
        return
    zone = zone_named(site.timezone)
    day = start.astimezone(zone).date() - timedelta(days=1)
    for _ in range(_LONGEST_SEARCH_DAYS):
        yield from daily_span(day, site.access_from, site.access_until, zone)
        day += timedelta(days=1)


def check_access(access_from: str, access_until: str) -> None:
    """Raises InputError unless both are times of day that differ, or neither is given."""
    if bool(access_from) != bool(access_until):
        raise InputError("access hours take both a first and a last time, or neither")
    if access_from and minutes_of_day(access_from) == minutes_of_day(access_until):
        raise InputError("access hours that begin and end alike say nothing; leave both out for any time")


def lets_in(site: Site, at: datetime) -> bool:
    """Whether the site lets somebody in at `at`."""
    if not site.access_from:
        return True
    for opens, closes in access_windows(at, site):
        if opens > at:
            return False
        if at <= closes:
            return True
    return False


def due_within_access(due: datetime, reported_at: datetime, site: Site | None) -> datetime:
    """`due`, or where the store is shut then, the last moment before it at which somebody is let in.

    Where there is none since the report, the next opening; nobody can be there sooner.
    """
    if site is None or not site.access_from or lets_in(site, due):
        return due
    last: datetime | None = None
    for opens, closes in access_windows(due - timedelta(days=1), site):
        if opens > due:
            return (last or opens).astimezone(due.tzinfo or UTC)
        if closes > reported_at:
            last = closes
    return due
