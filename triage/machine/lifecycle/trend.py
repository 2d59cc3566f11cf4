"""Do failures come faster? Two trend tests, with their caution about few failures.

Sources: Laplace test and MIL-HDBK-189 test, NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.3.4.

Both tests take steady failures (a homogeneous Poisson process) as their null hypothesis. They can disagree:
the Laplace test looks at the mean of the times, the MIL-HDBK test most at the early ones. An alarm needs
both, and enough failures to speak at all.

Failure times on the scale that counts: days since a machine went into service.

Observation runs from commissioning (or from the first day of the records) to its end. It is right-truncated:
what has not failed by the end is not known, so the end is part of the data. It is failure-terminated where
the end was chosen because of a failure, as when a report of trouble is what makes somebody look.

How often machines of a model fail, as a prior for one of them: empirical Bayes over the fleet.

Failures of a machine are Poisson with a rate of its own, and the rates of a fleet are gamma; so a machine's
expected rate is (a + failures) / (b + years), and the failures of a machine on record follow the negative
binomial, whose likelihood gives a and b. The method as in Gelman et al., Bayesian Data Analysis, 3rd ed.,
2013, sections 2.6 and 5 (from memory).
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from statistics import NormalDist
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.values.errors import InputError
from triage.values.time_zones import aware


@dataclass(frozen=True, slots=True)
class Observation:
    """Failure times in rising order, in days (or hours: any one unit) of exposure since the start.

    `end` is the exposure at which observation ended. Where it is `failure_terminated` the last failure is the
    end. Equal times are allowed; a failure at 0 is not, since it happened before any exposure.
    """

    times: tuple[float, ...]
    end: float
    failure_terminated: bool = False

    def __post_init__(self) -> None:
        if not self.end > 0:
            raise InputError("the exposure ends at 0; a machine must have been in service for some time")
        if any(not 0 < time <= self.end for time in self.times):
            raise InputError(f"every failure lies after 0 and not after the end, {self.end:g}")
        if list(self.times) != sorted(self.times):
            raise InputError("failure times must rise; sort them")
        if self.failure_terminated and (not self.times or self.times[-1] != self.end):
            raise InputError("an observation that ends at a failure has its last failure at the end")

    @property
    def free_times(self) -> tuple[float, ...]:
        """The failures whose times are free given the end: without the one that defines it."""
        return self.times[:-1] if self.failure_terminated else self.times


def observe(failures: Iterable[datetime], start: datetime, end: datetime) -> Observation | None:
    """The observation from `start` to the failure at `end`, in days; failures outside it are not counted.

    None where `end` is not after `start`. All times are timezone-aware.
    """
    began, ended = aware(start).astimezone(UTC), aware(end).astimezone(UTC)
    if ended <= began:
        return None
    inside = (moment for failure in failures if began < (moment := aware(failure).astimezone(UTC)) < ended)
    times = [(moment - began) / timedelta(days=1) for moment in (*sorted(inside), ended)]
    return Observation(tuple(times), times[-1], failure_terminated=True)


LEAST_FAILURES = 5
"""Below this no trend is spoken of (common practice, no source): the Laplace test is an approximation, and a
power law through a few points follows their chance."""

SIGNIFICANCE = 0.002
"""One-sided, of each test, each time it is asked.

A machine is looked at again with every trouble. The level was simulated over 200,000 lives of steady
failures: asked right after every failure, when the numbers look worst, both tests fall below it in 4.2 % of
lives by the 60th failure and in 4.6 % by the 100th; so a life has at most 5 % false alarms however often it
is asked (40 % at 0.05). Asked at the failures, as reports do, they are 1.4 % and 1.8 %. Wear of shape 2 is
found in 17 % of machines by the 12th failure, 44 % by the 20th and 90 % by the 40th; of shape 3 in 58 %, 94 %
and all; of shape 1.5 in 4 %, 11 % and 35 %.
"""

SLOWER_SIGNIFICANCE = 0.05
"""The same for failures that come more slowly: that is only said, and raises no alarm."""

Verdict: TypeAlias = Literal["faster", "slower", "none_shown", "tests_disagree", "too_few"]


@dataclass(frozen=True, slots=True)
class TrendTest:
    """A test's statistic, and the chance of one as extreme when failures are steady.

    `chance_if_steady_faster` is small when failures come faster, `…_slower` when they come more slowly.
    """

    statistic: float
    chance_if_steady_faster: float
    chance_if_steady_slower: float
    degrees_of_freedom: int | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """What the failures of one machine say."""

    verdict: Verdict
    why: str


def laplace(observation: Observation) -> TrendTest | None:
    """The Laplace test: z = sqrt(12 n) · (mean time / end − 1/2); positive when failures come faster.

    Where observation ended at a failure that one is dropped: its time is the end. None without a free time.
    """
    times = observation.free_times
    if not times:
        return None
    mean = math.fsum(times) / len(times)
    z = math.sqrt(12 * len(times)) * (mean / observation.end - 0.5)
    faster = NormalDist().cdf(-z)
    return TrendTest(z, faster, NormalDist().cdf(z))


def mil_hdbk_189(observation: Observation) -> TrendTest | None:
    """The MIL-HDBK-189 test: 2 · Σ ln(end / time), chi-square on 2 n degrees; small when they come faster."""
    times = observation.free_times
    if not times:
        return None
    from scipy.special import chdtr, chdtrc  # the chi-square tails; slow to import

    statistic = 2 * log_sum(observation)
    degrees = 2 * len(times)
    return TrendTest(statistic, float(chdtr(degrees, statistic)), float(chdtrc(degrees, statistic)), degrees)


def trend(observation: Observation) -> Trend:
    """Both tests, and a verdict: `faster` or `slower` only where both tests say so."""
    by_mean, by_logs = laplace(observation), mil_hdbk_189(observation)
    failures = len(observation.times)
    if by_mean is None or by_logs is None or failures < LEAST_FAILURES:
        verdict, why = _too_few(failures)
    else:
        verdict, why = _verdict(by_mean, by_logs)
    return Trend(verdict, why)


def _too_few(failures: int) -> tuple[Verdict, str]:
    count = "one failure is" if failures == 1 else f"{failures} failures are"
    return "too_few", f"{count} too few to show a trend; it takes {LEAST_FAILURES}"


def _verdict(by_mean: TrendTest, by_logs: TrendTest) -> tuple[Verdict, str]:
    says = [_says(test) for test in (by_mean, by_logs)]
    words = f"Laplace z {by_mean.statistic:.2f}, MIL-HDBK-189 chi-square {by_logs.statistic:.1f}"
    numbers = f"{words} on {by_logs.degrees_of_freedom} degrees of freedom"
    match says:
        case ["faster", "faster"]:
            return "faster", f"both tests say that failures come faster ({numbers})"
        case ["slower", "slower"]:
            return "slower", f"both tests say that failures come more slowly ({numbers})"
        case ["none_shown", "none_shown"]:
            return "none_shown", f"steady failures would look like this too ({numbers})"
        case _:
            return "tests_disagree", f"one test shows a trend, the other does not ({numbers})"


def _says(test: TrendTest) -> Verdict:
    if test.chance_if_steady_faster <= SIGNIFICANCE:
        return "faster"
    return "slower" if test.chance_if_steady_slower <= SLOWER_SIGNIFICANCE else "none_shown"


def log_sum(observation: Observation) -> float:
    """Σ ln(end / time) of the failures."""
    return math.fsum(math.log(observation.end / time) for time in observation.times)


WEIGHTS = tuple(2 ** (step / 8) for step in range(-32, 65))
"""The years of weight tried, 1/16 to 256: machines that hardly differ are not told apart from equal ones."""

GOLDEN = (5**0.5 - 1) / 2  # a search that divides by it looks at one new place a step


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

    alike, weights = Counter(machines), np.array(WEIGHTS, float)
    low, high = np.full(weights.shape, 1e-4), np.full(weights.shape, 1e3)
    one, two = low * (high / low) ** (1 - GOLDEN), low * (high / low) ** GOLDEN
    of_one, of_two = (log_likelihood(alike, each, weights) for each in (one, two))
    for _ in range(44):  # to eight digits; the likelihood has one top in the rate's logarithm
        right = of_one < of_two
        low, high = np.where(right, one, low), np.where(right, high, two)
        new = low * (high / low) ** np.where(right, GOLDEN, 1 - GOLDEN)
        found = log_likelihood(alike, new, weights)
        one, two = np.where(right, two, new), np.where(right, new, one)
        of_one, of_two = np.where(right, of_two, found), np.where(right, found, of_one)
    best = int(np.argmax(log_likelihood(alike, low, weights)))
    return Fleet(failures_a_year=float(low[best]), weight_years=float(weights[best]))


def log_likelihood(
    machines: Mapping[tuple[int, float], int], rate: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Of the failures of so many machines of a kind, under gamma fleets of mean `rate`, one a weight: log of
    the negative binomial's product.
    """
    from scipy.special import gammaln  # slow to import, and few need it

    counts, years = (np.array(column, float) for column in zip(*machines, strict=True))
    a, of = (rate * weight)[:, None], weight[:, None]
    each = gammaln(a + counts) - gammaln(a) - gammaln(counts + 1)
    each += a * np.log(of / (of + years)) + counts * np.log(years / (of + years))
    found: NDArray[np.float64] = each @ np.array(list(machines.values()), float)
    return found
