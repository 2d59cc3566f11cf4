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
class PowerLaw:
    """Expected failures rise with exposure to the power of `shape`. Above 1: failures come faster.

    The shape is the maximum-likelihood one, corrected for few failures: (r−1)/r where observation ended at a
    time, (r−2)/r where it ended at a failure. `mtbf_at_end` is exposure between failures at the end.
    """

    shape: float
    mtbf_at_end: float


@dataclass(frozen=True, slots=True)
class Trend:
    """What the failures of one machine say. `power_law` is None where it cannot be computed."""

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
    from scipy.special import chdtr, chdtrc  # the chi-square tails; slow to import

    statistic = 2 * log_sum(observation)
    degrees = 2 * len(times)
    return TrendTest(statistic, float(chdtr(degrees, statistic)), float(chdtrc(degrees, statistic)), degrees)


def power_law(observation: Observation) -> PowerLaw | None:
    """The power law that fits best. None with too few failures, or when all of them lie at the end."""
    failures, total = len(observation.times), log_sum(observation)
    lost = 2 if observation.failure_terminated else 1
    if failures <= lost or not total:
        return None
    shape = failures / total * (failures - lost) / failures
    return PowerLaw(shape, observation.end / (failures * shape))


def trend(observation: Observation) -> Trend:
    """Both tests, the fit, and a verdict: `faster` or `slower` only where both tests say so."""
    by_mean, by_logs = laplace(observation), mil_hdbk_189(observation)
    failures = len(observation.times)
    if by_mean is None or by_logs is None or failures < LEAST_FAILURES:
        verdict, why = _too_few(failures)
    else:
        verdict, why = _verdict(by_mean, by_logs)
    return Trend(power_law(observation), verdict, why)


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
