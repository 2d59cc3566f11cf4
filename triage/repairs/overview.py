"""A week or a month at a glance: six numbers with what is usual, whom to look after, what was saved."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Literal

import numpy as np

from triage.machine.lifecycle.trend import fit_fleet
from triage.repairs.period import Closing, Period, Recorded
from triage.repairs.period_numbers import repeats_of
from triage.repairs.statistics import (
    TOO_FEW,
    first_below,
    funnel_limit,
    mean_within,
    still_waiting,
    wilson,
)
from triage.repairs.weeks import WeekNumber, numbers_of, whole
from triage.rulebook.model import Rulebook

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

    title: Literal["fix_in_store", "visit"]
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
    week: Period
    since: Period  # with the weeks before
    numbers: tuple[WeekNumber, ...]
    reliability: tuple[Bin, ...]
    places: tuple[Place, ...]
    repeat_share: float | None
    often_down: tuple[OftenDown, ...]
    waited: tuple[Waited, ...]
    saved: Saved | None
    currency: str


def overview(
    recorded: Recorded,
    machines: Mapping[str, date],
    rulebook: Rulebook,
    weeks: Sequence[Period],
    now: datetime,
) -> Overview:
    """`recorded` is of all the weeks; `machines` says since when each is in service."""
    span = whole(weeks)
    closed = [one for one in recorded.closings if span.holds(one.at) and one.stands]
    places, share = _places(recorded)
    return Overview(
        week=weeks[-1],
        since=span,
        numbers=numbers_of(recorded, rulebook, weeks, now),
        reliability=tuple(_reliability(closed)),
        places=places,
        repeat_share=share,
        often_down=_often_down(recorded, machines, span),
        waited=_waited(recorded, now),
        saved=_saved(closed),
        currency=rulebook.currency,
    )


def _reliability(closed: Sequence[Closing]) -> list[Bin]:
    """By tenths of the chance that the last decision gave its first cause."""
    tenths: dict[int, list[tuple[float, bool]]] = {}
    for one in closed:
        if one.cause is not None and one.top_chance is not None:
            tenth = min(9, int(one.top_chance * 10))
            tenths.setdefault(tenth, []).append((one.top_chance, one.top_cause == one.cause))
    bins = []
    for _, found in sorted(tenths.items()):
        hits = sum(confirmed for _, confirmed in found)
        low, high = wilson(hits, len(found))
        chance = float(np.mean([chance for chance, _ in found]))
        bins.append(Bin(chance, hits / len(found), len(found), low, high))
    return bins


def _places(recorded: Recorded) -> tuple[tuple[Place, ...], float | None]:
    """Sites by their share of repeats, those furthest above the funnel first, and the share of all sites."""
    again = {ticket.ticket for ticket, _ in repeats_of(recorded.opened, recorded.closings)}
    known = [ticket for ticket in recorded.opened if ticket.site is not None and ticket.machine is not None]
    reports = Counter(str(ticket.site) for ticket in known)
    repeats = Counter(str(ticket.site) for ticket in known if ticket.ticket in again)
    total = sum(reports.values())
    if not total:
        return (), None
    share = sum(repeats.values()) / total
    found = [
        Place(site, count, repeats[site], funnel_limit(share, count, FUNNEL) if 0 < share < 1 else 1.0)
        for site, count in reports.items()
    ]
    found.sort(key=lambda one: (one.limit - one.share, -one.reports, one.site))
    return tuple(found), share


def _often_down(recorded: Recorded, machines: Mapping[str, date], span: Period) -> tuple[OftenDown, ...]:
    """Machines that call more than the fleet, drawn towards it (empirical Bayes, gamma-Poisson)."""
    calls = Counter(one.machine for one in recorded.opened)
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


def _waited(recorded: Recorded, now: datetime) -> tuple[Waited, ...]:
    found = []
    titles: tuple[Literal["fix_in_store", "visit"], ...] = ("fix_in_store", "visit")
    for title in titles:
        in_store = title == "fix_in_store"
        group = [one for one in recorded.opened if (one.first_outcome == "fix_in_store") is in_store]
        ended = [_hours(one.closed_at - one.opened_at) for one in group if one.closed_at is not None]
        waiting = [_hours(now - one.opened_at) for one in group if one.closed_at is None]
        if not ended:
            continue
        hours, shares = still_waiting(ended, waiting)
        enough = len(group) >= TOO_FEW
        found.append(
            Waited(
                title,
                tuple(map(float, hours)),
                tuple(map(float, shares)),
                len(group),
                first_below(hours, shares, 0.5) if enough else None,
                first_below(hours, shares, 0.1) if enough else None,
            )
        )
    return tuple(found)


def _hours(length: timedelta) -> float:
    return max(0.0, length / timedelta(hours=1))


def _saved(closed: Sequence[Closing]) -> Saved | None:
    """None with too few visits to say what one costs."""
    costs = np.array([float(one.cost) for one in closed if one.visited])
    fixed = sum(not one.visited and one.cured_by not in (None, "nothing") for one in closed)
    if len(costs) < TOO_FEW:
        return None
    mean, least, most = mean_within(costs)
    few, many = WOULD_HAVE_SENT
    low, high = fixed * few * max(0.0, least), fixed * many * most
    return Saved(fixed, len(costs), *(Decimal(f"{one:.0f}") for one in (mean, low, high)))
