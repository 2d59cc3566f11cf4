"""Do failures come faster? Two trend tests and the power law, with their caution about few failures.

Sources: Laplace test and MIL-HDBK-189 test, NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.3.4;
power law (Crow-AMSAA), the same, section 8.4.5.2, and MIL-HDBK-189 (1981), Appendix C.

Both tests take steady failures (a homogeneous Poisson process) as their null hypothesis. They can disagree:
the Laplace test looks at the mean of the times, the MIL-HDBK test most at the early ones. An alarm needs
both, and enough failures to speak at all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal, TypeAlias

from triage.machine.lifecycle.exposure import Observation

LEAST_FAILURES = 5
"""Below this no trend is spoken of (common practice, no source): the Laplace test is an approximation, and a
power law through a few points follows their chance."""

SIGNIFICANCE = 0.05
"""One-sided."""

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
class PowerLaw:
    """Expected failures by exposure t: scale · t ** shape. Shape above 1: failures come faster.

    `shape` and `scale` are maximum likelihood; `shape_unbiased` corrects for few failures ((r−1)/r where
    observation ended at a time, (r−2)/r where it ended at a failure), None where that leaves nothing.
    `intensity_at_end` is in failures per unit of exposure, `mtbf_at_end` its inverse;
    `mtbf_at_end_unbiased` is that of the unbiased shape.
    """

    shape: float
    scale: float
    shape_unbiased: float | None
    intensity_at_end: float
    mtbf_at_end: float
    mtbf_at_end_unbiased: float | None


@dataclass(frozen=True, slots=True)
class Trend:
    """What the failures of one machine say; tests and power law are None where they cannot be computed."""

    failures: int
    laplace: TrendTest | None
    mil_hdbk_189: TrendTest | None
    power_law: PowerLaw | None
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
    statistic = 2 * _log_sum(observation)
    degrees = 2 * len(times)
    slower = chi_square_upper_tail(statistic, degrees)
    return TrendTest(statistic, 1 - slower, slower, degrees)


def power_law(observation: Observation) -> PowerLaw | None:
    """The power law that fits best. None without failures, or when all of them lie at the end."""
    failures, total = len(observation.times), _log_sum(observation)
    if not failures or not total:
        return None
    end = observation.end
    shape = failures / total
    lost = 2 if observation.failure_terminated else 1
    unbiased = shape * (failures - lost) / failures if failures > lost else None
    intensity = failures * shape / end
    return PowerLaw(
        shape=shape,
        scale=failures * _power(1 / end, shape),
        shape_unbiased=unbiased,
        intensity_at_end=intensity,
        mtbf_at_end=1 / intensity,
        mtbf_at_end_unbiased=None if unbiased is None else end / (failures * unbiased),
    )


def trend(
    observation: Observation, *, least_failures: int = LEAST_FAILURES, significance: float = SIGNIFICANCE
) -> Trend:
    """Both tests, the fit, and a verdict: `faster` or `slower` only where both tests say so."""
    by_mean, by_logs = laplace(observation), mil_hdbk_189(observation)
    failures = len(observation.times)
    if by_mean is None or by_logs is None or failures < least_failures:
        verdict, why = _too_few(failures, least_failures)
    else:
        verdict, why = _verdict(by_mean, by_logs, significance)
    return Trend(failures, by_mean, by_logs, power_law(observation), verdict, why)


def _too_few(failures: int, least: int) -> tuple[Verdict, str]:
    count = "one failure is" if failures == 1 else f"{failures} failures are"
    return "too_few", f"{count} too few to show a trend; it takes {least}"


def _verdict(by_mean: TrendTest, by_logs: TrendTest, significance: float) -> tuple[Verdict, str]:
    says = [_says(test, significance) for test in (by_mean, by_logs)]
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


def _says(test: TrendTest, significance: float) -> Verdict:
    if test.chance_if_steady_faster <= significance:
        return "faster"
    return "slower" if test.chance_if_steady_slower <= significance else "none_shown"


def chi_square_upper_tail(statistic: float, degrees_of_freedom: int) -> float:
    """P(chi-square > statistic), exact for an even number of degrees: a Poisson sum."""
    if degrees_of_freedom < 2 or degrees_of_freedom % 2:
        raise ValueError(f"{degrees_of_freedom} degrees of freedom; an even number from 2 on is wanted")
    half = statistic / 2
    if half <= 0:
        return 1.0
    terms = (
        math.exp(-half + count * math.log(half) - math.lgamma(count + 1))
        for count in range(degrees_of_freedom // 2)
    )
    return min(1.0, math.fsum(terms))


def _power(base: float, exponent: float) -> float:
    try:
        return math.pow(base, exponent)
    except OverflowError:
        return math.inf


def _log_sum(observation: Observation) -> float:
    return math.fsum(math.log(observation.end / time) for time in observation.times)
