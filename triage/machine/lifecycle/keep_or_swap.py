"""Keep a machine or swap it: the defender's costs against the challenger's at its economic life.

The defender is the machine in use. Keeping it takes what it would sell for, and the repair due now; both are
lost by swapping at once. The rule (Newnan et al., chapter 13): keep while the defender can be kept for some
number of years below the challenger's best annual cost; then stop before the first year, past that life,
whose marginal cost is above it. The lowest average alone would stop too early.

`repair_limit` is the repair-limit rule after Drinkwater & Hastings (1967) and Hastings (1969), from memory:
fix only up to the cost at which fixing and replacing come to the same.

Equivalent uniform annual cost: what owning a machine for n years comes to, spread evenly over the years.

Amounts are Decimals in the program's currency, not rounded. Years are whole; costs fall at a year's end.
`rate` is the yearly interest, 0.08 for 8 %. Source: Newnan, Eschenbach & Lavelle, Engineering Economic
Analysis, 14th edition (2020), chapter 13, replacement analysis.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Literal, TypeAlias

from triage.values.errors import InputError

HIGHEST_RATE = Decimal(1)
MOST_YEARS = 50


@dataclass(frozen=True, slots=True)
class Owning:
    """What owning a machine takes: `paid` at the start (its price; for one in use what it would sell for,
    plus a repair due now), `values[k]` it would sell for after year k + 1, `running[k]` spent in that year.
    """

    paid: Decimal
    values: Sequence[Decimal]
    running: Sequence[Decimal]

    def __post_init__(self) -> None:
        amounts = (self.paid, *self.values, *self.running)
        if len(self.values) != len(self.running) or not 1 <= len(self.values) <= MOST_YEARS:
            raise InputError(f"values and running costs are given for the same years, 1 to {MOST_YEARS}")
        if not all(map(Decimal.is_finite, amounts)) or min(amounts) < 0:
            raise InputError("amounts are finite and not below 0")

    @property
    def years(self) -> int:
        return len(self.values)


@dataclass(frozen=True, slots=True)
class EconomicLife:
    """The years at which the annual cost is least, and that cost."""

    years: int
    annual_cost: Decimal


@lru_cache(maxsize=4096)
def capital_recovery(rate: Decimal, years: int) -> Decimal:
    """A/P: the yearly payment for `years` that repays 1 paid now."""
    _check(rate, years)
    grown = growth(rate, years)
    return rate * grown / (grown - 1) if rate else Decimal(1) / years


@lru_cache(maxsize=4096)
def growth(rate: Decimal, years: int) -> Decimal:
    """F/P: what 1 paid now comes to after `years`."""
    return (1 + rate) ** years


def sinking_fund(rate: Decimal, years: int) -> Decimal:
    """A/F: the yearly payment for `years` that comes to 1 at their end."""
    return capital_recovery(rate, years) - rate


@dataclass(frozen=True, slots=True)
class InterestFactors:
    """F/P, A/P and A/F of one number of years."""

    growth: Decimal
    capital_recovery: Decimal
    sinking_fund: Decimal


@lru_cache(maxsize=512)
def interest_factors(rate: Decimal, years: int) -> tuple[InterestFactors, ...]:
    """The factors of 1, 2 … `years`."""
    return tuple(
        InterestFactors(growth(rate, year), capital_recovery(rate, year), sinking_fund(rate, year))
        for year in range(1, years + 1)
    )


def annual_costs(owning: Owning, rate: Decimal) -> tuple[Decimal, ...]:
    """The equivalent annual cost of owning for 1, 2 … years."""
    costs: list[Decimal] = []
    spent = Decimal(0)
    factors = interest_factors(rate, owning.years)
    for factor, value, running in zip(factors, owning.values, owning.running, strict=True):
        spent += running / factor.growth
        costs.append((owning.paid + spent) * factor.capital_recovery - value * factor.sinking_fund)
    return tuple(costs)


def marginal_costs(owning: Owning, rate: Decimal) -> tuple[Decimal, ...]:
    """What each single year costs: interest on the value at its start, the value lost, the running cost."""
    _check(rate, owning.years)
    starts = (owning.paid, *owning.values)
    return tuple(
        start * (1 + rate) - value + running
        for start, value, running in zip(starts, owning.values, owning.running, strict=False)
    )


def economic_life(owning: Owning, rate: Decimal) -> EconomicLife:
    """The life with the least annual cost, compared unrounded; the shortest where two are exactly alike."""
    costs = annual_costs(owning, rate)
    least = min(costs)
    return EconomicLife(costs.index(least) + 1, least)


def _check(rate: Decimal, years: int) -> None:
    if not rate.is_finite() or not 0 <= rate <= HIGHEST_RATE:
        raise InputError(
            f"a yearly rate of {rate} cannot be used; write 0.08 for 8 %, at most {HIGHEST_RATE}"
        )
    if years < 1:
        raise InputError(f"{years} years; at least one is wanted")


Choice: TypeAlias = Literal["keep", "swap"]
Number: TypeAlias = Literal["repair_now", "value_now", "running_costs", "swap_price", "rate"]

HIGHEST_RATE_LOOKED_AT = Decimal("0.50")
_RATE_STEP = Decimal("0.01")
_RATE_PRECISION = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Defender:
    """The machine in use: what it would sell for now, the repair due now, then as in `Owning`."""

    value_now: Decimal
    repair_now: Decimal
    values: tuple[Decimal, ...]
    running: tuple[Decimal, ...]

    @property
    def owning(self) -> Owning:
        return Owning(self.value_now + self.repair_now, self.values, self.running)


@dataclass(frozen=True, slots=True)
class KeepOrSwap:
    """The cheaper choice. `keep_years` is how long keeping stays cheaper (0 for a swap, at most the
    years forecast).
    """

    choice: Choice
    keep: EconomicLife
    swap: EconomicLife
    keep_years: int


@dataclass(frozen=True, slots=True)
class TurningPoint:
    """The value of one number, all others as they are, at which the choice turns; None where none does it.

    `running_costs` is a factor on every running cost of the defender, so `now` is 1; `rate` is searched for
    up to 0.50 and given to four places.
    """

    number: Number
    now: Decimal
    turns_at: Decimal | None


def keep_or_swap(defender: Defender, challenger: Owning, rate: Decimal) -> KeepOrSwap:
    """Compares both at their best; where they cost exactly the same the machine is kept."""
    owning = defender.owning
    keep, swap = economic_life(owning, rate), economic_life(challenger, rate)
    marginal = marginal_costs(owning, rate)
    if keep.annual_cost > swap.annual_cost:
        return KeepOrSwap("swap", keep, swap, 0)
    years = keep.years
    while years < len(marginal) and marginal[years] <= swap.annual_cost:
        years += 1
    return KeepOrSwap("keep", keep, swap, years)


def repair_limit(defender: Defender, challenger: Owning, rate: Decimal) -> Decimal:
    """The repair cost up to which keeping is no dearer than swapping; below 0 not even a free repair is."""
    target = economic_life(challenger, rate).annual_cost
    return _affordable(replace(defender, repair_now=Decimal(0)).owning, target, rate)


def turning_points(defender: Defender, challenger: Owning, rate: Decimal) -> tuple[TurningPoint, ...]:
    """For each number, the number that would have turned the choice; the answer's sensitivity.

    Exact for amounts (each cost is linear in them), by bisection for the rate. A number below 0 cannot occur
    and is given as None.
    """
    found = keep_or_swap(defender, challenger, rate)
    target = found.swap.annual_cost
    limit = repair_limit(defender, challenger, rate)
    no_value = replace(defender, value_now=Decimal(0)).owning
    free = replace(challenger, paid=Decimal(0))
    return (
        TurningPoint("repair_now", defender.repair_now, _possible(limit)),
        TurningPoint("value_now", defender.value_now, _possible(_affordable(no_value, target, rate))),
        TurningPoint("running_costs", Decimal(1), _running_factor(defender.owning, target, rate)),
        TurningPoint(
            "swap_price", challenger.paid, _possible(_affordable(free, found.keep.annual_cost, rate))
        ),
        TurningPoint("rate", rate, _turning_rate(defender, challenger, rate, found.choice)),
    )


def _affordable(owning: Owning, target: Decimal, rate: Decimal) -> Decimal:
    """How much more could be paid at the start until the least annual cost comes to `target`."""
    return max(
        (target - cost) / capital_recovery(rate, years)
        for years, cost in enumerate(annual_costs(owning, rate), start=1)
    )


def _running_factor(owning: Owning, target: Decimal, rate: Decimal) -> Decimal | None:
    idle = replace(owning, running=(Decimal(0),) * owning.years)
    factors: list[Decimal] = []
    for bare, full in zip(annual_costs(idle, rate), annual_costs(owning, rate), strict=True):
        if full > bare:
            factors.append((target - bare) / (full - bare))
        elif bare <= target:
            return None  # a life without running costs stays below the target whatever the factor
    return _possible(max(factors)) if factors else None


def _turning_rate(defender: Defender, challenger: Owning, rate: Decimal, choice: Choice) -> Decimal | None:
    """The rate nearest to `rate` at which the choice turns, looked for in steps of 0.01."""
    owning = defender.owning
    for candidate in _rates_by_nearness(rate):
        if _choice(owning, challenger, candidate) != choice:
            return _bisected(owning, challenger, candidate, rate, choice)
    return None


@lru_cache(maxsize=64)
def _rates_by_nearness(rate: Decimal) -> tuple[Decimal, ...]:
    steps = int(HIGHEST_RATE_LOOKED_AT / _RATE_STEP)
    rates = (step * _RATE_STEP for step in range(steps + 1))
    return tuple(sorted(rates, key=lambda one: (abs(one - rate), one)))


def _bisected(owning: Owning, challenger: Owning, turned: Decimal, kept: Decimal, choice: Choice) -> Decimal:
    while abs(turned - kept) > _RATE_PRECISION:
        middle = (turned + kept) / 2
        if _choice(owning, challenger, middle) == choice:
            kept = middle
        else:
            turned = middle
    return round(turned, 4)


def _choice(owning: Owning, challenger: Owning, rate: Decimal) -> Choice:
    keep = min(annual_costs(owning, rate))
    return "keep" if keep <= min(annual_costs(challenger, rate)) else "swap"


def _possible(amount: Decimal) -> Decimal | None:
    return amount if amount >= 0 else None
