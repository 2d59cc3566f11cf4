"""Failure times on the scale that counts: days since a machine went into service.

Observation runs from commissioning (or from the first day of the records) to its end. It is right-truncated:
what has not failed by the end is not known, so the end is part of the data. It is failure-terminated where
the end was chosen because of a failure, as when a report of trouble is what makes somebody look.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from triage.values.errors import InputError
from triage.values.time_zones import aware


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


def observe(failures: Iterable[datetime], start: datetime, end: datetime) -> Observation | None:
    """The observation from `start` to the failure at `end`, in days; failures outside it are not counted.

    None where `end` is not after `start`. All times are timezone-aware.
    """
    began, ended = aware(start).astimezone(UTC), aware(end).astimezone(UTC)
    if ended <= began:
        return None
    inside = (moment for failure in failures if began < (moment := aware(failure).astimezone(UTC)) < ended)
    times = [(moment - began) / timedelta(days=1) for moment in (*sorted(inside), ended)]
    return Observation(tuple(times), times[-1], failure_terminated=True)
