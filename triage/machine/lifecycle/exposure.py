"""Failure times on the scale that counts: days a machine was in service, not days on the calendar.

Observation runs from commissioning (or from the first day of the records) to its end. It is right-truncated:
what has not failed by the end is not known, so the end is part of the data. It is failure-terminated where
the end was chosen because of a failure, as when a report of trouble is what makes somebody look.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TypeAlias

from triage.values.errors import InputError
from triage.values.time_zones import aware

Idle: TypeAlias = tuple[datetime, datetime]
"""A time out of service (season closed, in the depot): from, to; both timezone-aware."""


@dataclass(frozen=True, slots=True)
class Observation:
    """Failure times in rising order, in days (or hours: any one unit) of exposure since the start.

    `end` is the exposure at which observation ended. Where it is `failure_terminated` the last failure is the
    end. Equal times are allowed; a failure at 0 is not, since it happened before any exposure.
    """

    times: tuple[float, ...]
    end: float
    failure_terminated: bool = False

    def __post_init__(self) -> None:
        if not self.end > 0:
            raise InputError("the exposure ends at 0; a machine must have been in service for some time")
        if any(not 0 < time <= self.end for time in self.times):
            raise InputError(f"every failure lies after 0 and not after the end, {self.end:g}")
        if list(self.times) != sorted(self.times):
            raise InputError("failure times must rise; sort them")
        if self.failure_terminated and (not self.times or self.times[-1] != self.end):
            raise InputError("an observation that ends at a failure has its last failure at the end")

    @property
    def free_times(self) -> tuple[float, ...]:
        """The failures whose times are free given the end: without the one that defines it."""
        return self.times[:-1] if self.failure_terminated else self.times


def observe(
    failures: Iterable[datetime],
    start: datetime,
    end: datetime,
    *,
    idle: Iterable[Idle] = (),
    ended_by_failure: bool = False,
) -> Observation | None:
    """The observation from `start` to `end` in days of exposure; failures outside it are not counted.

    With `ended_by_failure` a failure at `end` itself is added. None when the machine was never in service
    between the two. All times are timezone-aware. A failure while idle counts at the moment service ended.
    """
    began, ended = aware(start).astimezone(UTC), aware(end).astimezone(UTC)
    pauses = _merged(idle, began, ended)
    exposed = _exposure(ended, began, pauses)
    if exposed <= timedelta(0):
        return None
    moments = sorted(aware(failure).astimezone(UTC) for failure in failures)
    inside = [moment for moment in moments if began < moment <= ended]
    if ended_by_failure:
        inside = [*(moment for moment in inside if moment < ended), ended]
    times = [_days(_exposure(moment, began, pauses)) for moment in inside]
    return Observation(
        tuple(time for time in times if time > 0), _days(exposed), failure_terminated=ended_by_failure
    )


def _merged(idle: Iterable[Idle], began: datetime, ended: datetime) -> list[Idle]:
    """Pauses within the observation, in UTC, in order, joined where they overlap."""
    joined: list[Idle] = []
    for first, last in sorted((aware(one).astimezone(UTC), aware(two).astimezone(UTC)) for one, two in idle):
        if last < first:
            raise InputError(f"a time out of service ends ({last}) before it starts ({first})")
        first, last = max(first, began), min(last, ended)
        if first >= last:
            continue
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], last))
        else:
            joined.append((first, last))
    return joined


def _exposure(moment: datetime, began: datetime, pauses: Iterable[Idle]) -> timedelta:
    idle = sum((min(moment, last) - first for first, last in pauses if first < moment), timedelta(0))
    return moment - began - idle


def _days(duration: timedelta) -> float:
    return duration / timedelta(days=1)
