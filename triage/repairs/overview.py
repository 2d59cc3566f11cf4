"""A period at a glance: six numbers with what is usual, whom to look after, what was saved."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Literal

from triage.machine.lifecycle.trend import fit_fleet
from triage.repairs.day_sums import TENTHS
from triage.repairs.period import NOT_KNOWN, Period, Sums, Tally
from triage.repairs.statistics import (
    TOO_FEW,
    first_below,
    funnel_limits,
    mean_within,
    still_waiting,
    wilson,
)
from triage.repairs.weeks import KeyNumber

MOST_SHOWN = 8
FEWEST_CALLS = 2
MORE_THAN_FLEET = 1.2
WOULD_HAVE_SENT = (0.5, 1.0)
"""Of the calls that the store fixed, the share that would have cost a visit. Our estimate, no source."""

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


@dataclass(frozen=True, slots=True)
class OftenDown:
    """A machine that calls more than its fleet. `expected` calls are the fleet's, `rate` the shrunk ratio."""

    machine: str
    calls: int
    expected: float
    rate: float


@dataclass(frozen=True, slots=True)
class Bin:
    """Decisions whose first cause had a chance in one tenth, against what was confirmed."""

    chance: float
    share: float
    of: int
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Waited:
    """Reports by their first decision: hours, and the share that does not pour yet."""

    title: Literal["store", "visit"]
    hours: tuple[float, ...]
    shares: tuple[float, ...]
    reports: int
    median: float | None
    p90: float | None


@dataclass(frozen=True, slots=True)
class Saved:
    """What the calls that the store fixed would have cost as visits, at least and at most."""

    fixed: int
    visits: int
    mean: Decimal
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Overview:
    period: Period
    span: Period  # with the periods before
    numbers: tuple[KeyNumber, ...]
    reliability: tuple[Bin, ...]
    places: tuple[Place, ...]
    repeat_share: float | None
    often_down: tuple[OftenDown, ...]
    waited: tuple[Waited, ...]
    saved: Saved | None
    currency: str


def reliability(chances: Mapping[str, Tally]) -> tuple[Bin, ...]:
    """By tenths of the chance that the last decision gave its first cause."""
    bins = []
    for tenth in range(TENTHS):
        hit, miss = (chances.get(f"{tenth}|{how}", Tally()) for how in ("hit", "miss"))
        of = hit.count + miss.count
        if of:
            low, high = wilson(hit.count, of)
            bins.append(Bin((hit.total + miss.total) / of, hit.count / of, of, low, high))
    return tuple(bins)


def places(sites: Mapping[str, Sums]) -> tuple[tuple[Place, ...], float | None]:
    """Sites by their share of repeats, those furthest above the funnel first, and the share of all sites."""
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
    found.sort(key=lambda one: (one.limit - one.share, -one.reports, one.site))
    return tuple(found), share


def often_down(calls: Counter[str], machines: Mapping[str, date], span: Period) -> tuple[OftenDown, ...]:
    """Machines that call more than the fleet, drawn towards it (empirical Bayes, gamma-Poisson).

    `machines` says since when each is in service.
    """
    days = {serial: (span.last - max(since, span.first)).days for serial, since in machines.items()}
    years = {serial: count / 365 for serial, count in days.items() if count > 0}
    if not any(calls[serial] for serial in years):
        return ()
    fleet = fit_fleet([(calls[serial], length) for serial, length in years.items()])
    usual = fleet.failures_a_year
    found = [
        OftenDown(serial, calls[serial], usual * length, fleet.rate(calls[serial], length) / usual)
        for serial, length in years.items()
        if calls[serial] >= FEWEST_CALLS
    ]
    found.sort(key=lambda one: (-one.rate, one.machine))
    return tuple(one for one in found if one.rate >= MORE_THAN_FLEET)[:MOST_SHOWN]


def waited(
    tallies: Mapping[str, Tally], still_open: Sequence[tuple[date, str, int]], now: datetime
) -> tuple[Waited, ...]:
    """`tallies` are of those that ended, by length; `still_open` by the day and hour of opening."""
    ended: dict[str, dict[float, int]] = defaultdict(dict)
    for key, one in tallies.items():
        group, how, length = key.split("|")
        if how == "closed":
            ended[group][float(length)] = one.count
    waiting: dict[str, dict[float, int]] = defaultdict(lambda: defaultdict(int))
    for day, key, count in still_open:
        group, _, hour = key.split("|")
        since = datetime.combine(day, time(int(hour), 30), UTC)  # within the hour, its middle
        waiting[group][max(0.0, (now - since) / timedelta(hours=1))] += count
    found = []
    titles: tuple[Literal["store", "visit"], ...] = ("store", "visit")
    for title in titles:
        if not ended[title]:
            continue
        hours, shares = still_waiting(ended[title], waiting[title])
        of = sum(ended[title].values()) + sum(waiting[title].values())
        median, p90 = (first_below(hours, shares, level) if of >= TOO_FEW else None for level in (0.5, 0.1))
        found.append(Waited(title, tuple(hours.tolist()), tuple(shares.tolist()), of, median, p90))
    return tuple(found)


def saved(fixed: int, costs: Tally) -> Saved | None:
    """None with too few visits to say what one costs."""
    if costs.count < TOO_FEW:
        return None
    mean, least, most = mean_within(costs.count, costs.total, costs.squares)
    few, many = WOULD_HAVE_SENT
    low, high = fixed * few * max(0.0, least), fixed * many * most
    return Saved(fixed, costs.count, *(Decimal(f"{one:.0f}") for one in (mean, low, high)))
