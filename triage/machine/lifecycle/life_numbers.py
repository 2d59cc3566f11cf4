"""The numbers of one machine's life, from its record to what policy rules and people see, and in words.

The forecast is simple and said. Failures go on at the machine's own rate, drawn towards its model's fleet so
that a short history does not run away, and rise with wear. Where both trend tests say that they come faster,
they go on from the rate the power law has reached, its shape drawn towards the fleet's; it is not carried on
beyond the data. Keeping costs all visits over the time in service, those without a fault and lost sales
included, at what they would cost now; a visit more never makes keeping cheaper. A new machine fails at the
fleet's rate, costs the same a failure and wears alike; warranty is left aside on both sides. All of it is our
estimate.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from decimal import Decimal
from functools import lru_cache

from triage.logic.conditions import Scalar
from triage.machine.lifecycle.keep_or_swap import (
    Defender,
    KeepOrSwap,
    Number,
    Owning,
    TurningPoint,
    keep_or_swap,
    turning_points,
)
from triage.machine.lifecycle.trend import Fleet, Observation, Trend, log_sum, observe, trend
from triage.records.report import Machine, timezone_of
from triage.values.errors import InputError
from triage.values.money import as_money, round_money
from triage.values.time_zones import zone_named


def values_ahead(value: Decimal, years: int, yearly_drop: Decimal) -> tuple[Decimal, ...]:
    """`value` after 1, 2 … `years`, falling by the share `yearly_drop` (0.20 for 20 %) a year; not rounded.

    Declining balance; which share fits is our estimate.
    """
    if not 0 <= yearly_drop < 1 or years < 0 or value < 0:
        raise InputError("a value falls by a share from 0 to below 1 a year; value and years are not below 0")
    return tuple(value * share for share in _shares_left(yearly_drop, years))


@lru_cache(maxsize=256)
def _shares_left(yearly_drop: Decimal, years: int) -> tuple[Decimal, ...]:
    return tuple((1 - yearly_drop) ** year for year in range(1, years + 1))


DAYS_PER_YEAR = 365
MOST_FAILURES_A_YEAR = Decimal(52)
"""A forecast goes no higher: nobody fixes a machine more than once a week."""


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What the program takes for granted (our estimate): money, wear, and how a new machine does.

    `rate` and `yearly_drop` are shares (0.08 is 8 %); the fleet's failures hold for the first year of a new
    machine and rise by `wear` a year; `years` is how far the forecast looks.
    """

    rate: Decimal = Decimal("0.08")
    yearly_drop: Decimal = Decimal("0.20")
    wear: Decimal = Decimal("0.15")
    cost_of_a_repair: Decimal = Decimal(260)  # of the fleet; weighs as much as the fleet's failures do
    years: int = 8


@dataclass(frozen=True, slots=True)
class PastVisit:
    """A visit at what it would cost now, lost sales included; a failure unless no fault was found."""

    at: datetime
    failure: bool
    cost: Decimal


@dataclass(frozen=True, slots=True)
class LifeNumbers:
    """The trend of the failures (None where the machine was never in service), and the choice with what it
    was made from.
    """

    trend: Trend | None
    defender: Defender
    challenger: Owning
    rate: Decimal
    choice: KeepOrSwap

    def turning_points(self) -> tuple[TurningPoint, ...]:
        """Which number would have turned the choice; worked out only when asked for."""
        return turning_points(self.defender, self.challenger, self.rate)


def life_numbers(
    machine: Machine,
    visits: Sequence[PastVisit],
    now: datetime,
    *,
    value_now: Decimal,
    repair_now: Decimal,
    swap_cost: Decimal,
    assumptions: Assumptions | None = None,
    fleet: Fleet | None = None,
) -> LifeNumbers | None:
    """The numbers as of `now` (timezone-aware), when trouble is reported; None without a price on record.

    `value_now` is what the machine is worth, `repair_now` what fixing it now would cost, `swap_cost` what
    the exchange costs on top of the price of the machine that comes. The trouble reported now
    counts as a failure and ends the observation.
    """
    if machine.price is None:
        return None
    given, price, model = assumptions or Assumptions(), machine.price.amount, fleet or Fleet()
    seen = observed(machine, visits, now)
    shown = None if seen is None else trend(seen)
    past = [visit for visit in visits if _service_start(machine) < visit.at < now]
    every, repairs = (_cost_of_a_failure(past, given, model, only) for only in (False, True))
    failures = expected_failures(seen, shown, given, model)
    defender = Defender(
        value_now, repair_now, _values(value_now, given), tuple(count * every for count in failures)
    )
    challenger = Owning(
        price + swap_cost,
        _values(price, given),
        tuple(count * repairs for count in _new_failures(given, model)),
    )
    return LifeNumbers(
        trend=shown,
        defender=defender,
        challenger=challenger,
        rate=given.rate,
        choice=keep_or_swap(defender, challenger, given.rate),
    )


def facts(numbers: LifeNumbers, currency: str) -> dict[str, Scalar]:
    """`keep_cost_year`, `swap_cost_year`, `swap_saves_year` (rounded to the currency) and `failures_faster`.

    The last is left out where there are too few failures to tell. What a swap saves is below 0 where keeping
    is cheaper.
    """
    keep = round_money(numbers.choice.keep.annual_cost, currency)
    swap = round_money(numbers.choice.swap.annual_cost, currency)
    found: dict[str, Scalar] = {
        "keep_cost_year": keep,
        "swap_cost_year": swap,
        "swap_saves_year": keep - swap,
    }
    if numbers.trend is not None and numbers.trend.verdict != "too_few":
        found["failures_faster"] = numbers.trend.verdict == "faster"
    return found


def observed(machine: Machine, visits: Iterable[PastVisit], now: datetime) -> Observation | None:
    """The machine's failures in days of service up to the trouble reported `now`.

    Visits that found no fault are no failures. Service began when the machine was commissioned, or where that
    is not known when it was shipped.
    """
    failures = [visit.at for visit in visits if visit.failure and visit.at < now]
    return observe(failures, _service_start(machine), now)


def expected_failures(
    seen: Observation | None, shown: Trend | None, given: Assumptions, fleet: Fleet
) -> tuple[Decimal, ...]:
    """Failures to expect in each of the coming years, at most one a week; see the module on how."""
    if seen is None or shown is None:
        return _new_failures(given, fleet)
    # the free failures: the one that made us look would otherwise count for more than it is
    first = fleet.rate(len(seen.free_times), seen.end / DAYS_PER_YEAR)
    if shown.verdict == "faster":
        first *= max(1.0, fleet.shape_of(len(seen.free_times), log_sum(seen)))
    counts = (Decimal(repr(first)) * rise for rise in _rises(given.wear, given.years))
    return tuple(min(MOST_FAILURES_A_YEAR, count) for count in counts)


def _new_failures(given: Assumptions, fleet: Fleet) -> tuple[Decimal, ...]:
    return tuple(Decimal(repr(fleet.failures_a_year)) * rise for rise in _rises(given.wear, given.years))


@lru_cache(maxsize=64)
def _rises(wear: Decimal, years: int) -> tuple[Decimal, ...]:
    """By what failures have risen in the first, second … year."""
    return tuple((1 + wear) ** year for year in range(years))


def _values(value: Decimal, given: Assumptions) -> tuple[Decimal, ...]:
    return values_ahead(value, given.years, given.yearly_drop)


def _cost_of_a_failure(
    visits: Sequence[PastVisit], given: Assumptions, fleet: Fleet, failures_only: bool
) -> Decimal:
    """All visits' cost by failure, the fleet's mixed in as the fleet's failures are in the rate.

    Times the rate this is (fleet's cost + all visits' cost) / (fleet's weight + years in service).
    """
    weight = Decimal(repr(fleet.failures_a_year * fleet.weight_years))
    costs = (visit.cost for visit in visits if visit.failure or not failures_only)
    count = sum(visit.failure for visit in visits)
    return sum(costs, weight * given.cost_of_a_repair) / (weight + count)


def _service_start(machine: Machine) -> datetime:
    day = machine.commissioned_on or machine.shipped_on
    return datetime.combine(day, time(0), zone_named(timezone_of(machine)))


_NAMES: dict[Number, str] = {
    "repair_now": "the repair due now",
    "value_now": "what the machine is worth now",
    "running_costs": "the machine's running costs",
    "swap_price": "the price of the swap",
    "rate": "the yearly interest",
}


def numbers_that_turn(numbers: LifeNumbers) -> tuple[TurningPoint, ...]:
    """The numbers of which some number turns the choice, the one that does it by the least change first.

    The change is taken relative to the number itself; the first is the one the choice hangs most on.
    """
    points = (point for point in numbers.turning_points() if point.turns_at is not None)
    return tuple(sorted(points, key=_relative_change))


def explain(
    numbers: LifeNumbers, currency: str, points: Sequence[TurningPoint] | None = None
) -> tuple[str, ...]:
    """Sentences: the comparison, the number it hangs most on, what number of each would turn it, the trend.

    `points` are those of `numbers_that_turn`, where they are worked out already.
    """
    choice = numbers.choice
    keep, swap = (as_money(life.annual_cost, currency) for life in (choice.keep, choice.swap))
    lines = [
        f"Keeping it costs {keep.amount} {currency} a year at best (over {_years(choice.keep.years)}), "
        f"swapping it {swap.amount} {currency} (over {_years(choice.swap.years)}): {choice.choice} it."
    ]
    if choice.keep_years:
        lines.append(f"By the forecast it is worth keeping for {_years(choice.keep_years)}; then ask again.")
    points = numbers_that_turn(numbers) if points is None else points
    if points:
        lines.append(
            f"It depends most on {_NAMES[points[0].number]}: it changes at {_turn(points[0], currency)}."
        )
    if len(points) > 1:
        others = (f"{_NAMES[point.number]} at {_turn(point, currency)}" for point in points[1:])
        lines.append(f"With all else alike, these would change it too: {', '.join(others)}.")
    if not points:
        lines.append("No single number could have changed it.")
    if numbers.trend is not None:
        lines.append(f"Of its failures: {numbers.trend.why}.")
    return tuple(lines)


def _turn(point: TurningPoint, currency: str) -> str:
    now, turns_at = (_shown(point.number, value, currency) for value in (point.now, point.turns_at))
    if point.number == "running_costs":
        return f"{turns_at} of the forecast"
    return f"{turns_at} (now {now})"


def _shown(number: Number, value: Decimal | None, currency: str) -> str:
    amount = Decimal(0) if value is None else value
    if number == "rate":
        return f"{(amount * 100).quantize(Decimal('0.01')).normalize():f} %"
    if number == "running_costs":
        return f"{round(amount * 100)} %"
    return f"{as_money(amount, currency).amount} {currency}"


def _relative_change(point: TurningPoint) -> tuple[Decimal, str]:
    turns_at = Decimal(0) if point.turns_at is None else point.turns_at
    change = abs(turns_at - point.now)
    return (change / point.now if point.now else Decimal("Infinity"), point.number)


def _years(count: int) -> str:
    return "1 year" if count == 1 else f"{count} years"
