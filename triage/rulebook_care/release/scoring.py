"""How well chances fit what was found: proper scores, and which of two rulebooks scores better.

The log loss is that of all that was seen of a closed ticket: which checks did not fix it, which did, and the
cause where one was confirmed; so a ticket that the store fixed counts as well. The other measures look at the
confirmed causes alone, and call no rulebook better whose log loss on all tickets is worse. Log loss and the
Brier score are 0 for a sure and right answer; less is better. The Brier score is the one of Brier,
"Verification of forecasts expressed in terms of probability", Monthly Weather Review 78 (1950): the sum over
the causes, from 0 to 2. Both rulebooks are scored on the same tickets, and the intervals are percentile
bootstraps over tickets (Efron and Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13; from
memory), resampled in pairs: what makes a ticket hard is hard for both.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Verdict: TypeAlias = Literal["better", "worse", "too thin to tell"]

FLOOR = 0.001
"""A confirmed cause given less than this, or not named at all, counts in the log loss as one in a thousand:
one surprise in a thousand tickets must not decide between two rulebooks."""

LEAST = 1e-12  # what a logarithm is taken of at least

BY_ITSELF = 0.002  # the chance that a check fixes a cause of which the rulebook does not say so; our estimate

FEWEST = 30
"""With fewer scored tickets nothing is said of better or worse. Common practice, no source."""

HIDDEN = -1  # the place of a cause that was not confirmed

RESAMPLES = 2000
CONFIDENCE = 0.95
SEED = 1950


@dataclass(frozen=True, slots=True)
class Score:
    """What a rulebook said of the confirmed cause. `place` is 1 for the likeliest; 0: it was not named.

    `likelihood` is that of all that was seen; None: of the cause alone. With HIDDEN it is all there is.
    """

    chance: float
    brier: float
    place: int
    likelihood: float | None = None


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


def score_of_all(
    chances: Mapping[str, float], unfixed: float, cures: Mapping[str, float] | None, confirmed: str | None
) -> Score:
    """Scores all that was seen: checks that did not fix it (`unfixed`), what did, and the cause, if known.

    `chances` are given the checks that did not; `cures` is the chance of what fixed it by cause.
    """
    seen = sum(
        chance * (1.0 if cures is None else cures.get(cause, 0.0))
        for cause, chance in chances.items()
        if confirmed in (None, cause)
    )
    found = Score(0.0, 0.0, HIDDEN) if confirmed is None else score(chances, confirmed)
    return replace(found, likelihood=unfixed * max(seen, FLOOR))


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
    found = _compared(MEASURES[:1], _losses(baseline), _losses(candidate), resamples, seed, fewest)
    known = [place for place, each in enumerate(baseline) if each.place != HIDDEN]
    if known:
        ours, theirs = (_measures([scores[place] for place in known]) for scores in (baseline, candidate))
        of_causes = _compared(MEASURES[1:], ours, theirs, resamples, seed, fewest)
        worse = found[0].difference.value > 0.0
        found += [
            replace(one, verdict="too thin to tell") if worse and one.verdict == "better" else one
            for one in of_causes
        ]
    return tuple(found)


def _compared(
    measures: Sequence[tuple[str, bool]], one: Array, other: Array, resamples: int, seed: int, fewest: int
) -> list[Compared]:
    table = np.hstack([one, other, other - one])
    means = table.mean(axis=0)
    low, high = bootstrap_means(table, resamples, seed)
    count = len(measures)
    found = []
    for index, (name, less) in enumerate(measures):
        ours, theirs, difference = (
            Estimate(float(means[place]), float(low[place]), float(high[place]))
            for place in (index, index + count, index + 2 * count)
        )
        verdict = _verdict(difference, less, len(one) >= fewest)
        found.append(Compared(name, less, ours, theirs, difference, verdict))
    return found


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


def _losses(scores: Sequence[Score]) -> Array:
    """[ticket, 1]; the floor is on what the causes say, not on how often checks fail."""
    chances = [
        max(each.chance, FLOOR) if each.likelihood is None else max(each.likelihood, LEAST) for each in scores
    ]
    return log_loss(np.array(chances), LEAST)[:, None]


def _measures(scores: Sequence[Score]) -> Array:
    places = np.array([each.place for each in scores])
    return np.column_stack(
        [
            np.array([each.brier for each in scores]),
            (places == 1).astype(float),
            ((places >= 1) & (places <= 3)).astype(float),
        ]
    )


def _verdict(difference: Estimate, less_is_better: bool, enough: bool) -> Verdict:
    if not enough or difference.low <= 0.0 <= difference.high:
        return "too thin to tell"
    return "better" if (difference.high < 0.0) == less_is_better else "worse"
