"""Shares, ranges and waiting times as they are shown to people: how sure they are, and what is usual.

`scipy.stats` is imported where it is used: it is slow to import, and most pages show none of this.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CONFIDENCE = 0.95
TOO_FEW = 10
"""Of fewer, nothing is said of a share, a median or a range. Common practice, no source."""


def wilson(hits: int, of: int) -> tuple[float, float]:
    """The interval of a share seen (Wilson 1927; Newcombe 1998, method 3); (0, 1) of nothing."""
    if not of:
        return 0.0, 1.0
    from scipy import stats

    interval = stats.binomtest(hits, of).proportion_ci(CONFIDENCE, "wilson")
    return float(interval.low), float(interval.high)


def mean_within(values: Array) -> tuple[float, float, float]:
    """The mean of at least two values, and the bounds of its interval by the normal distribution."""
    from scipy import stats

    mean = float(values.mean())
    away = float(stats.norm.ppf((1 + CONFIDENCE) / 2) * stats.sem(values))
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


def funnel_limit(share: float, of: int, level: float) -> float:
    """The share that a place with `of` cases has at most with the chance `level`, if it is as all others.

    Binomial, interpolated between whole numbers as in Spiegelhalter, "Funnel plots for comparing
    institutional performance", Statistics in Medicine 24 (2005), appendix (from memory).
    """
    from scipy import stats

    places = stats.binom(of, share)
    reached = float(places.ppf(level))
    above, below = float(places.cdf(reached)), float(places.cdf(reached - 1))
    return min(1.0, max(0.0, (reached - (above - level) / (above - below)) / of))


def still_waiting(ended: Sequence[float], waiting: Sequence[float]) -> tuple[Array, Array]:
    """Kaplan-Meier: hours, and the share that has waited longer; `waiting` have not ended yet."""
    from scipy import stats

    seen = stats.CensoredData(uncensored=np.array(ended, float), right=np.array(waiting, float))
    found = stats.ecdf(seen).sf
    return found.quantiles, found.probabilities


def first_below(hours: Array, shares: Array, level: float) -> float | None:
    """When no more than `level` still wait; None where that is not known yet."""
    reached = np.flatnonzero(shares <= level + 1e-12)
    return float(hours[reached[0]]) if reached.size else None
