"""A period at a glance: six numbers with what is usual, how honest and quick it was, what it saved."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Literal

from triage.repairs.day_sums import TENTHS
from triage.repairs.period import Period, Sums, Tally
from triage.repairs.statistics import (
    TOO_FEW,
    first_below,
    mean_within,
    still_waiting,
    wilson,
)
from triage.repairs.weeks import KeyNumber

WOULD_HAVE_SENT = (0.5, 1.0)
"""Of the calls that the store fixed, the share that would have cost a visit. Our estimate, no source."""
KEEPING_HOLDS = (Decimal("0.8"), Decimal("1.2"))
"""Of what keeping swapped machines was said to cost, the share it would have: ten machines with four failures
each tell their failures to about 30 %, and these are some two thirds of the cost. Our estimate, no source."""


@dataclass(frozen=True, slots=True)
class Bin:
    """Decisions whose first cause had a chance in one tenth, against what was confirmed."""

    tenth: int
    chance: float
    share: float
    of: int
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Scored:
    """How good the chances of a period's closed tickets were, the lower the better; None of too few."""

    period: Period
    log_loss: float | None
    brier: float | None
    of: int


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
    """What the calls that the store fixed would have cost as visits, at least and at most.

    `avoided` are the visits that this comes to.
    """

    fixed: int
    avoided: tuple[int, int]
    visits: int
    mean: Decimal
    low: Decimal
    high: Decimal
    again: tuple[float, float]  # the share of reports that come again within 30 days, at least and at most


@dataclass(frozen=True, slots=True)
class Overview:
    period: Period
    span: Period  # with the periods before
    numbers: tuple[KeyNumber, ...]
    reliability: tuple[Bin, ...]
    scores: tuple[Scored, ...]  # of the periods, oldest first
    waited: tuple[Waited, ...]
    saved: Saved | None
    currency: str
    days_to_sum: int = 0  # whose sums are not up to date yet


def reliability(chances: Mapping[str, Tally]) -> tuple[Bin, ...]:
    """By tenths of the chance that the last decision gave its first cause."""
    bins = []
    for tenth in range(TENTHS):
        hit, miss = (chances.get(f"{tenth}|{how}", Tally()) for how in ("hit", "miss"))
        of = hit.count + miss.count
        if of:
            low, high = wilson(hit.count, of)
            bins.append(Bin(tenth, (hit.total + miss.total) / of, hit.count / of, of, low, high))
    return tuple(bins)


def scored(period: Period, found: Sums) -> Scored:
    of = found.scored
    if of < TOO_FEW:
        return Scored(period, None, None, of)
    return Scored(period, found.log_loss / of, found.brier / of, of)


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


def saved(found: Sums, costs: Tally) -> Saved | None:
    """None with too few visits to say what one costs.

    Of the calls that the store fixed, as many are taken off as reports come again: those were only put off.
    """
    if costs.count < TOO_FEW:
        return None
    mean, least, most = mean_within(costs.count, costs.total, costs.squares)
    seldom, often = wilson(found.repeats, found.on_machine)
    few, many = WOULD_HAVE_SENT
    fewest, all_of = found.in_store * few * (1 - often), found.in_store * many * (1 - seldom)
    whole = [Decimal(f"{one:.0f}") for one in (mean, fewest * max(0.0, least), all_of * most)]
    avoided = round(fewest), round(all_of)
    return Saved(found.in_store, avoided, costs.count, whole[0], whole[1], whole[2], (seldom, often))


def swaps_saved(found: Mapping[str, Tally], currency: str) -> dict[str, Any]:
    """What swaps saved a year, as JSON data: sums of what was said, and a range, None of too few."""
    of = max((one.count for one in found.values()), default=0)
    amounts = {
        name: Decimal(f"{found.get(name, Tally()).total:.2f}")
        for name in ("cost", "repair", "keep_year", "swap_year")
    }
    low, high = (amounts["keep_year"] * holds - amounts["swap_year"] for holds in KEEPING_HOLDS)
    too_few = of < TOO_FEW
    return {
        "of": of,
        **{name: f"{amount:.2f} {currency}" for name, amount in amounts.items()},
        "low": None if too_few else f"{low:.2f} {currency}",
        "high": None if too_few else f"{high:.2f} {currency}",
        "too_few": too_few,
    }
