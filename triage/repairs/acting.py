"""Whom to look after: stores with repeat trouble, machines that call often or ever more, what goes with care.

Rates are calls a year of a machine in service.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal, TypeAlias

import numpy as np

from triage.machine.lifecycle.trend import LEAST_FAILURES, fit_fleet
from triage.repairs.period import NOT_KNOWN, Period, Sums
from triage.repairs.statistics import TOO_FEW, false_alarms, funnel_limits, rate_within, ratio_within

FEWEST_CALLS = 2
MORE_THAN_FLEET = 1.2
MOST_FALSE = 0.1
"""Of the machines said to call ever more, the share that would by chance. Our choice, no source."""
FUNNEL = 0.975  # a store above it is one of 40 by chance


@dataclass(frozen=True, slots=True)
class Place:
    """A site: its reports, how many came soon after a visit, and the share that the funnel allows so many."""

    site: str
    reports: int
    repeats: int
    limit: float

    @property
    def share(self) -> float:
        return self.repeats / self.reports

    @property
    def most(self) -> int:
        """So many of its reports come again by chance at most, in 39 of 40 such sites."""
        return int(self.limit * self.reports)

    @property
    def stands_out(self) -> bool:
        """Of one report that came back nothing is said."""
        return self.share > self.limit and self.repeats > 1


@dataclass(frozen=True, slots=True)
class Calls:
    """How many calls a machine had in a period, and the sum of their days since its beginning."""

    count: int = 0
    days: float = 0.0


@dataclass(frozen=True, slots=True)
class OftenDown:
    """A machine or a site that calls more than the fleet: `expected` by the fleet's rate, `rate` shrunk."""

    name: str
    calls: int
    expected: float
    rate: float


@dataclass(frozen=True, slots=True)
class Rising:
    """A machine whose calls come closer together: Laplace's z, and the share of false alarms down to it."""

    machine: str
    calls: int
    z: float
    false: float


@dataclass(frozen=True, slots=True)
class Rate:
    """Calls of a group of machines in so many years of service, and the bounds of their rate."""

    machines: int
    calls: int
    years: float
    low: float
    high: float | None  # None of no time

    @classmethod
    def of(cls, machines: int, calls: int, years: float) -> "Rate":
        return cls(machines, calls, years, *rate_within(calls, years))

    @property
    def a_year(self) -> float | None:
        return self.calls / self.years if self.years else None

    @property
    def too_few(self) -> bool:
        return self.calls < TOO_FEW


@dataclass(frozen=True, slots=True)
class Compared:
    """A rate over another's, with the bounds of that; None of too few calls."""

    ratio: float
    low: float
    high: float

    @property
    def says(self) -> Literal["more", "fewer", "neither"]:
        return "more" if self.low > 1 else "fewer" if self.high < 1 else "neither"


Commissioning: TypeAlias = Literal["complete", "missing", "failed"]


@dataclass(frozen=True, slots=True)
class Commissioned:
    """A machine whose commissioning is not complete: how many points are not written down, or failed."""

    machine: str
    missing: int
    failed: int
    calls: int

    @property
    def state(self) -> Commissioning:
        return "failed" if self.failed else "missing" if self.missing else "complete"


def places(sites: Mapping[str, Sums]) -> tuple[tuple[Place, ...], float | None]:
    """Sites by their share of repeats, those that stand out first, and the share of all sites."""
    known = {site: one for site, one in sites.items() if site != NOT_KNOWN and one.on_machine}
    total = sum(one.on_machine for one in known.values())
    if not total:
        return (), None
    share = sum(one.repeats for one in known.values()) / total
    limits = funnel_limits(share, [one.on_machine for one in known.values()], FUNNEL).tolist()
    found = [
        Place(site, one.on_machine, one.repeats, limit)
        for (site, one), limit in zip(known.items(), limits, strict=True)
    ]
    found.sort(key=lambda one: (not one.stands_out, one.limit - one.share, -one.reports, one.site))
    return tuple(found), share


def days_of(machines: Mapping[str, date], period: Period) -> dict[str, int]:
    """How many days of the period each machine was in service; those without any are left out."""
    days = {serial: (period.last - max(since, period.first)).days + 1 for serial, since in machines.items()}
    return {serial: count for serial, count in days.items() if count > 0}


def often_down(calls: Mapping[str, Calls], days: Mapping[str, int]) -> tuple[OftenDown, ...]:
    """Those that call more than the fleet, drawn towards it (empirical Bayes, gamma-Poisson)."""
    known = {serial: (calls.get(serial, Calls()).count, count / 365) for serial, count in days.items()}
    if not any(count for count, _ in known.values()):
        return ()
    fleet = fit_fleet(list(known.values()))
    usual = fleet.failures_a_year
    found = [
        OftenDown(serial, count, usual * years, rate)
        for serial, (count, years) in known.items()
        if count >= FEWEST_CALLS and (rate := fleet.rate(count, years) / usual) >= MORE_THAN_FLEET
    ]
    return tuple(sorted(found, key=lambda one: (-one.rate, one.name)))


def by_site(
    machines: Mapping[str, tuple[date, Calls, str | None]], days: Mapping[str, int]
) -> tuple[dict[str, Calls], dict[str, int]]:
    """The calls of each site's machines, and the days that these were in service."""
    called: Counter[str] = Counter()
    served: Counter[str] = Counter()
    for serial, count in days.items():
        _, calls, site = machines[serial]
        if site is not None:
            called[site] += calls.count
            served[site] += count
    return {site: Calls(count) for site, count in called.items() if count}, dict(served)


def rising(
    calls: Mapping[str, Calls], days: Mapping[str, int], period: Period
) -> tuple[tuple[Rising, ...], int]:
    """Machines whose calls come closer together, surest first, and how many had enough calls to be tested.

    Laplace's test of each (NIST/SEMATECH e-Handbook, 8.2.3.4), one-sided; of all that are named MOST_FALSE
    are expected to be so by chance (Benjamini and Hochberg 1995).
    """
    tested = [serial for serial in days if calls.get(serial, Calls()).count >= LEAST_FAILURES]
    if not tested:
        return (), 0
    counts = np.array([calls[serial].count for serial in tested], float)
    length = np.array([days[serial] for serial in tested], float)
    means = np.array([calls[serial].days for serial in tested]) / counts - (period.days - length)
    z = np.sqrt(12 * counts) * (means / length - 0.5)
    found = [
        Rising(serial, calls[serial].count, float(each), float(false))
        for serial, each, false in zip(tested, z, false_alarms(z), strict=True)
        if false <= MOST_FALSE
    ]
    return tuple(sorted(found, key=lambda one: (-one.z, one.machine))), len(tested)


def compared(one: Rate, other: Rate) -> Compared | None:
    """The first rate over the second."""
    if one.too_few or other.too_few:
        return None
    return Compared(*ratio_within(one.calls, one.years, other.calls, other.years))


def by_commissioning(found: Sequence[Commissioned], days: Mapping[str, int]) -> dict[Commissioning, Rate]:
    """The calls of machines by how they were commissioned."""

    def rate(some: Iterable[Commissioned]) -> Rate:
        known = [one for one in some if one.machine in days]
        return Rate.of(
            len(known), sum(one.calls for one in known), sum(days[one.machine] for one in known) / 365
        )

    states: tuple[Commissioning, ...] = ("complete", "missing", "failed")
    return {state: rate(one for one in found if one.state == state) for state in states}
