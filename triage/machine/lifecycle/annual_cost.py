"""Equivalent uniform annual cost: what owning a machine for n years comes to, spread evenly over the years.

Amounts are Decimals in the program's currency, not rounded. Years are whole; costs fall at a year's end.
`rate` is the yearly interest, 0.08 for 8 %. Source: Newnan, Eschenbach & Lavelle, Engineering Economic
Analysis, 14th edition (2020), chapter 13, replacement analysis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

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
