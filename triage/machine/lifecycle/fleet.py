"""How often machines of a model fail, as a prior for one of them: empirical Bayes over the fleet.

Failures of a machine are Poisson with a rate of its own, and the rates of a fleet are gamma; so a machine's
expected rate is (a + failures) / (b + years), and the failures of a machine on record follow the negative
binomial, whose likelihood gives a and b. The method as in Gelman et al., Bayesian Data Analysis, 3rd ed.,
2013, sections 2.6 and 5 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from triage.values.errors import InputError

WEIGHTS = tuple(2 ** (step / 8) for step in range(-32, 65))
"""The years of weight tried, 1/16 to 256: machines that hardly differ are not told apart from equal ones."""


@dataclass(frozen=True, slots=True)
class Fleet:
    """Failures a year of a model's machines, and how many years of a machine's own record weigh as much.

    `shape` is that of the power law, 1 for steady failures; `shape_failures` how many failures weigh as much.
    The defaults are our estimate.
    """

    failures_a_year: float = 0.8
    weight_years: float = 1.0
    shape: float = 1.0
    shape_failures: float = 1.0

    def rate(self, failures: int, years: float) -> float:
        """The expected failures a year of a machine with this record; the gamma posterior's mean."""
        return (self.failures_a_year * self.weight_years + failures) / (self.weight_years + years)

    def shape_of(self, failures: int, log_sum: float) -> float:
        """The expected shape of its power law: given n failures, Σ ln(end / time) is gamma in the shape."""
        return (self.shape_failures + failures) / (self.shape_failures / self.shape + log_sum)


def fit_fleet(machines: Sequence[tuple[int, float]]) -> Fleet:
    """The fleet of machines with (failures, years of exposure > 0) by the greatest marginal likelihood.

    For each weight the best failures a year is found by a search; the weight is one of `WEIGHTS`. Raises
    InputError without any failure.
    """
    if not sum(count for count, _ in machines) or any(years <= 0 for _, years in machines):
        raise InputError("a fleet takes machines with years of service, and at least one failure")

    def best_rate(weight: float) -> tuple[float, float]:
        low, high = 1e-4, 1e3
        for _ in range(80):  # the likelihood has one top in the rate's logarithm
            one, two = low * (high / low) ** 0.382, low * (high / low) ** 0.618
            if log_likelihood(machines, one, weight) < log_likelihood(machines, two, weight):
                low = one
            else:
                high = two
        return log_likelihood(machines, low, weight), low

    _, rate, weight = max((*best_rate(weight), weight) for weight in WEIGHTS)
    return Fleet(failures_a_year=rate, weight_years=weight)


def log_likelihood(machines: Sequence[tuple[int, float]], rate: float, weight: float) -> float:
    """Of the failures, under a gamma fleet of mean `rate`: log of the negative binomial's product."""
    a = rate * weight
    return math.fsum(
        math.lgamma(a + count)
        - math.lgamma(a)
        - math.lgamma(count + 1)
        + a * math.log(weight / (weight + years))
        + (count * math.log(years / (weight + years)) if count else 0.0)
        for count, years in machines
    )
