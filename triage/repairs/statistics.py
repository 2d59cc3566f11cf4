"""Shares, ranges and waiting times as they are shown to people: how sure they are, and what is usual.

`scipy.special` is imported where it is used: most pages show none of this. `scipy.stats` has the same
distributions and takes ten times as long to import; tests hold what is here against it.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CONFIDENCE = 0.95
NORMAL = 1.959963984540054
"""The normal distribution's 97.5 % point: intervals hold CONFIDENCE."""
TOO_FEW = 10
"""Of fewer, nothing is said of a share, a median or a range. Common practice, no source."""


def wilson(hits: int, of: int) -> tuple[float, float]:
    """The interval of a share seen (Wilson 1927; Newcombe 1998, method 3); (0, 1) of nothing."""
    if not of:
        return 0.0, 1.0
    share, squared = hits / of, NORMAL * NORMAL
    center = (hits + squared / 2) / (of + squared)
    away = NORMAL / (of + squared) * math.sqrt(of * share * (1 - share) + squared / 4)
    return (0.0 if hits == 0 else center - away), (1.0 if hits == of else center + away)


def mean_within(count: int, total: float, squares: float) -> tuple[float, float, float]:
    """The mean of at least two values, and the bounds of its interval by the normal distribution."""
    mean = total / count
    away = NORMAL * math.sqrt(max(0.0, squares / count - mean * mean) / (count - 1))
    return mean, mean - away, mean + away


def usual_range(values: Sequence[float]) -> tuple[float, float] | None:
    """Within what numbers of weeks usually lie: the mean ± 3 × the mean moving range / 1.128.

    The individuals chart of NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (from memory). None for
    fewer than three values.
    """
    if len(values) < 3:
        return None
    center = float(np.mean(values))
    width = 3 * float(np.mean(np.abs(np.diff(values)))) / 1.128
    return center - width, center + width


def funnel_limits(share: float, of: Sequence[int], level: float) -> Array:
    """The shares that places with `of` cases have at most with the chance `level`, if they are as all others.

    Binomial, interpolated between whole numbers as in Spiegelhalter, "Funnel plots for comparing
    institutional performance", Statistics in Medicine 24 (2005), appendix (from memory).
    """
    from scipy.special import bdtr, bdtrik

    counts = np.array(of, int)
    if not 0 < share < 1:
        return np.ones(counts.shape)
    reached = np.maximum(0.0, np.ceil(bdtrik(level, counts, share)))
    reached -= (reached > 0) & (bdtr(np.maximum(0.0, reached - 1), counts, share) >= level)  # rounded up
    above = bdtr(reached, counts, share)
    below = np.where(reached > 0, bdtr(np.maximum(0.0, reached - 1), counts, share), 0.0)
    found: Array = np.clip((reached - (above - level) / (above - below)) / counts, 0.0, 1.0)
    return found


def rate_within(count: int, years: float) -> tuple[float, float | None]:
    """The exact interval of a Poisson rate a year (Garwood 1936); (0, None) of no time."""
    from scipy.special import chdtri

    if not years:
        return 0.0, None
    tail = (1 - CONFIDENCE) / 2
    low = float(chdtri(2 * count, 1 - tail)) / 2 if count else 0.0
    return low / years, float(chdtri(2 * count + 2, tail)) / 2 / years


def ratio_within(count: int, years: float, other: int, other_years: float) -> tuple[float, float, float]:
    """A Poisson rate over another of at least one event, and its exact interval.

    Given how many events both have, those of the first are binomial (Przyborowski and Wilenski 1940; the
    interval of Clopper and Pearson).
    """
    from scipy.special import betaincinv

    tail = (1 - CONFIDENCE) / 2
    least = float(betaincinv(count, other + 1, tail)) if count else 0.0
    most = float(betaincinv(count + 1, other, 1 - tail)) if other else 1.0
    low, high = (
        (math.inf if bound == 1 else bound / (1 - bound) * other_years / years) for bound in (least, most)
    )
    return count / years / (other / other_years), low, high


def false_alarms(z: Array) -> Array:
    """Of all tests with a `z` as high, the share expected by chance (Benjamini and Hochberg 1995)."""
    from scipy.special import ndtr

    falling = np.argsort(z)[::-1]
    each = ndtr(-z[falling]) * len(z) / np.arange(1, len(z) + 1)
    found: Array = np.empty(len(z))
    found[falling] = np.minimum(1.0, np.minimum.accumulate(each[::-1])[::-1])
    return found


def still_waiting(ended: Mapping[float, int], waiting: Mapping[float, int]) -> tuple[Array, Array]:
    """Kaplan-Meier: hours, and the share that has waited longer.

    Both are hours and how many tickets; `waiting` have not ended yet. Who stops at the same hour as others
    end is counted as there when they do.
    """
    hours = np.array(sorted({*ended, *waiting}))
    ends = np.array([ended.get(hour, 0) for hour in hours], float)
    leave = ends + np.array([waiting.get(hour, 0) for hour in hours], float)
    there = leave[::-1].cumsum()[::-1]
    return hours, np.cumprod(1 - ends / there)


def first_below(hours: Array, shares: Array, level: float) -> float | None:
    """When no more than `level` still wait; None where that is not known yet."""
    reached = np.flatnonzero(shares <= level + 1e-12)
    return float(hours[reached[0]]) if reached.size else None
