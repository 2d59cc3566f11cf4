"""Keep a machine or swap it: the defender's costs against the challenger's at its economic life.

The defender is the machine in use. Keeping it takes what it would sell for, and the repair due now; both are
lost by swapping at once. The rule (Newnan et al., chapter 13): keep while the defender can be kept for some
number of years below the challenger's best annual cost; then stop before the first year, past that life,
whose marginal cost is above it. The lowest average alone would stop too early.

`repair_limit` is the repair-limit rule after Drinkwater & Hastings (1967) and Hastings (1969), from memory:
fix only up to the cost at which fixing and replacing come to the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Literal, TypeAlias

from triage.machine.lifecycle.annual_cost import (
    EconomicLife,
    Owning,
    annual_costs,
    capital_recovery,
    economic_life,
    marginal_costs,
)

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
