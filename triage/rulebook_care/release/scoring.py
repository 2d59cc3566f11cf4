"""How well chances fit what was found: proper scores, and which of two rulebooks scores better.

Log loss and the Brier score are 0 for a sure and right answer; less is better. The Brier score is the one of
Brier, "Verification of forecasts expressed in terms of probability", Monthly Weather Review 78 (1950): the
sum over the causes, from 0 to 2. Both rulebooks are scored on the same tickets, and the intervals are
percentile bootstraps over tickets (Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13;
from memory), resampled in pairs: what makes a ticket hard is hard for both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Verdict: TypeAlias = Literal["better", "worse", "too thin to tell"]

FLOOR = 0.001
"""A confirmed cause given less than this, or not named at all, counts in the log loss as one in a thousand:
one surprise in a thousand tickets must not decide between two rulebooks."""

FEWEST = 30
"""With fewer scored tickets nothing is said of better or worse. Common practice, no source."""

RESAMPLES = 2000
CONFIDENCE = 0.95
SEED = 1950


@dataclass(frozen=True, slots=True)
class Score:
    """What a rulebook said of the confirmed cause. `place` is 1 for the likeliest; 0: it was not named."""

    chance: float
    brier: float
    place: int


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mean over tickets, with the bounds of its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Compared:
    """One measure of both rulebooks; `difference` is candidate less baseline, on the same tickets."""

    measure: str
    less_is_better: bool
    baseline: Estimate
    candidate: Estimate
    difference: Estimate
    verdict: Verdict


MEASURES: tuple[tuple[str, bool], ...] = (
    ("log_loss", True),
    ("brier", True),
    ("true_cause_first", False),
    ("true_cause_in_first_three", False),
)
"""(name, whether less is better)."""


def score(chances: Mapping[str, float], confirmed: str) -> Score:
    """Scores the chances of all causes (they sum to 1) against the confirmed one."""
    chance = chances.get(confirmed, 0.0)
    others = sum(each * each for cause, each in chances.items() if cause != confirmed)
    ranked = sorted(chances, key=lambda cause: (-chances[cause], cause))
    place = ranked.index(confirmed) + 1 if confirmed in chances else 0
    return Score(chance, (1.0 - chance) ** 2 + others, place)


def log_loss(chances_of_truth: Array, floor: float = FLOOR) -> Array:
    """Minus the natural logarithm of each chance that was given to what was found; one number a ticket."""
    losses: Array = -np.log(np.maximum(chances_of_truth, floor))
    return losses


def compare(
    baseline: Sequence[Score],
    candidate: Sequence[Score],
    resamples: int = RESAMPLES,
    seed: int = SEED,
    fewest: int = FEWEST,
) -> tuple[Compared, ...]:
    """Every measure of two rulebooks over the same tickets, in the same order; empty without tickets.

    The same seed gives the same intervals. A verdict is given when the interval of the difference leaves out
    zero and there are at least `fewest` tickets. Raises ValueError when the two differ in length.
    """
    if len(baseline) != len(candidate):
        raise ValueError("both rulebooks are scored on the same tickets")
    if not baseline:
        return ()
    one, other = _measures(baseline), _measures(candidate)
    table = np.hstack([one, other, other - one])
    means = table.mean(axis=0)
    low, high = bootstrap_means(table, resamples, seed)
    count = len(MEASURES)
    found = []
    for index, (name, less) in enumerate(MEASURES):
        ours, theirs, difference = (
            Estimate(float(means[place]), float(low[place]), float(high[place]))
            for place in (index, index + count, index + 2 * count)
        )
        verdict = _verdict(difference, less, len(baseline) >= fewest)
        found.append(Compared(name, less, ours, theirs, difference, verdict))
    return tuple(found)


def bootstrap_means(table: Array, resamples: int = RESAMPLES, seed: int = SEED) -> tuple[Array, Array]:
    """Bounds of the interval of each column's mean; whole rows are drawn, so that columns stay paired."""
    random = np.random.default_rng(seed)
    rows = len(table)
    means = np.empty((resamples, table.shape[1]))
    for index in range(resamples):
        weights = np.bincount(random.integers(0, rows, rows), minlength=rows)
        means[index] = weights @ table / rows
    tail = (1.0 - CONFIDENCE) / 2.0
    low, high = np.quantile(means, [tail, 1.0 - tail], axis=0)
    return low, high


def _measures(scores: Sequence[Score]) -> Array:
    chances = np.array([each.chance for each in scores])
    places = np.array([each.place for each in scores])
    return np.column_stack(
        [
            log_loss(chances),
            np.array([each.brier for each in scores]),
            (places == 1).astype(float),
            ((places >= 1) & (places <= 3)).astype(float),
        ]
    )


def _verdict(difference: Estimate, less_is_better: bool, enough: bool) -> Verdict:
    if not enough or difference.low <= 0.0 <= difference.high:
        return "too thin to tell"
    return "better" if (difference.high < 0.0) == less_is_better else "worse"
