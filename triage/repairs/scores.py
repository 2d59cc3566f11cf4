"""How well a decision's chances fit the cause that was confirmed, and what each rule did to that.

The Brier score is that of Brier, "Verification of forecasts expressed in terms of probability", Monthly
Weather Review 78 (1950): the sum over the causes, from 0 to 2. What a rule did is the log loss without what
it said less the log loss with it: above 0 it helped. All else is left as it was, also the discount of other
rules of its mechanism.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FLOOR = 0.001
"""A chance below it counts as it in the log loss: one surprise must not decide over all others."""


@dataclass(frozen=True, slots=True)
class DecisionScore:
    log_loss: float
    brier: float
    rules: Mapping[str, float]


def decision_score(decision: Mapping[str, Any], cause: str) -> DecisionScore | None:
    """None where the decision ranked no causes, or not in shares; `decision` is the contract's JSON."""
    causes = decision.get("causes") or ()
    if not causes or not all({"share", "factors"} <= one.keys() for one in causes):
        return None
    is_true = np.array([one["cause"] == cause for one in causes])
    chances = np.array([float(one["chance"]) for one in causes])
    rules = [factor["rule"] for factor in causes[0]["factors"]]
    factors = np.array([[float(each["factor"]) for each in one["factors"]] for one in causes])
    shares = np.array([float(one["share"]) for one in causes])
    without = _without_each(shares, factors.reshape(len(causes), len(rules)))
    loss = _log_loss(float(chances[is_true].sum()))
    missed = 0.0 if is_true.any() else 1.0  # a cause that was not named had no chance
    return DecisionScore(
        loss,
        float(np.sum((chances - is_true) ** 2)) + missed,
        {
            rule: round(_log_loss(float(chance)) - loss, 4)
            for rule, chance in zip(rules, is_true @ without, strict=True)
        },
    )


def _without_each(shares: NDArray[np.float64], factors: NDArray[np.float64]) -> NDArray[np.float64]:
    """[cause, rule]: the chances where the rule had said nothing."""
    ones = np.ones((len(shares), 1))
    before = np.cumprod(np.hstack([ones, factors]), axis=1)[:, :-1]
    after = np.cumprod(np.hstack([ones, factors[:, ::-1]]), axis=1)[:, :-1][:, ::-1]
    weights = shares[:, None] * before * after
    totals = weights.sum(axis=0)
    found: NDArray[np.float64] = weights / np.where(totals > 0, totals, 1.0)
    return found


def _log_loss(chance: float) -> float:
    return -float(np.log(max(chance, FLOOR)))
