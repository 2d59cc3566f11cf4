"""What a job may come to when its work varies: the same repair takes one technician longer than another.

Hours and parts of a repair vary together, by one factor with a lognormal law whose mean is 1, so that the
typical repair is the mean; `spread` is its standard deviation, 0.30 for 30 %. The trip, the distance and
the freight do not vary. Hours are billed in whole steps from the minimum on, so a job's cost rises with the
factor, and the chance that it runs over a limit is the tail of the law beyond one point: exact but for the
cents of rounded lines. That repair times are about lognormal is common practice, no source.
"""

import math
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

HALF_A_CENT = 0.005
LEAST = 1e-4
"""The least chance of a job that can run over, and that of one which can stay under to stay there: no law of
repair times is known more finely."""


@dataclass(frozen=True, slots=True)
class Work:
    """The hours of a repair as planned, how they are billed (in hours), and their spread."""

    hours: float
    step: float
    minimum: float
    spread: float


@dataclass(frozen=True, slots=True)
class VaryingCost:
    """`fixed`, the rate of a billed hour, and the parts of the typical repair; with tax, in one currency."""

    fixed: float
    labor_hour: float
    parts: float
    work: Work

    def chance_above(self, limit: float) -> float:
        """The chance, 0..1, that the job costs more than `limit`."""
        most = self._largest_factor(limit)
        if most < 0 or math.isinf(most):
            return 1.0 if most < 0 else 0.0
        if not self.work.spread:
            return 1.0 if most < 1 else 0.0
        return uncertain(_above(most, self.work.spread))

    def _largest_factor(self, limit: float) -> float:
        """The factor up to which the job stays within the limit; below 0 where none does, else infinite."""
        work = self.work
        left = limit + HALF_A_CENT - self.fixed
        rate = self.labor_hour * work.hours + self.parts
        if left < self.labor_hour * work.minimum:
            return -1.0
        if not rate:
            return math.inf
        if not self.labor_hour * work.hours:
            return (left - self.labor_hour * work.minimum) / self.parts
        # billed hours lie between the hours and one step more, so few steps come into question
        least = (left - self.labor_hour * work.step) / rate
        steps = max(1, math.floor(least * work.hours / work.step))
        billed = max(work.minimum, steps * work.step)
        reached = 0.0
        for _ in range(4):
            room = left - self.labor_hour * billed
            if room < 0:
                return reached
            whole = math.floor(billed / work.step + 1e-9)
            ends = whole * work.step / work.hours
            most = room / self.parts if self.parts else math.inf
            if most < ends:
                return max(most, reached)
            reached = ends
            billed = max(work.minimum, (whole + 1) * work.step)
        return reached


def uncertain(chance: float) -> float:
    """A chance of what is not certain."""
    return min(max(chance, LEAST), 1 - LEAST)


def _above(factor: float, spread: float) -> float:
    """The chance of a factor above this one."""
    if factor <= 0:
        return 1.0
    variance = math.log1p(spread * spread)
    return math.erfc((math.log(factor) + variance / 2) / math.sqrt(2 * variance)) / 2


@dataclass(frozen=True, slots=True)
class PossibleCost:
    """One way the job may go: what it typically costs, its chance, and how it varies.

    It costs more than a limit where all of `bounds` do (a job and what is taken off it); without any it
    costs `amount` exactly, as a technician's estimate does.
    """

    amount: Decimal
    chance: float
    bounds: tuple[tuple[VaryingCost, Decimal], ...] = ()

    def chance_above(self, limit: Decimal) -> float:
        if not self.bounds:
            return 1.0 if self.amount > limit else 0.0
        return min(cost.chance_above(float(limit - more)) for cost, more in self.bounds)


@dataclass(frozen=True)
class CostDistribution:
    """What a job may come to, cause by cause; the chances sum to 1."""

    outcomes: tuple[PossibleCost, ...]

    @cached_property
    def expected(self) -> Decimal:
        """The mean of the typical costs, exact in the chances' decimal form; not rounded."""
        return sum((one.amount * Decimal(repr(one.chance)) for one in self.outcomes), Decimal(0))

    def chance_above(self, amount: Decimal) -> float:
        """The chance that the job costs more than `amount`, 0..1; 0 and 1 only of what is certain."""
        above = [(one.chance, one.chance_above(amount)) for one in self.outcomes if one.chance]
        only = {chance for _, chance in above}
        if only in ({0.0}, {1.0}):
            return only.pop()
        return uncertain(sum(share * chance for share, chance in above))
