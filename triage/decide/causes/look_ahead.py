"""The least expected cost after each possible answer, for many answers at once.

Up to `EXACT_AHEAD` checks it is exact, by the dynamic program of the plans themselves. Beyond, the best of
some plans is taken for each answer: sending someone, the plan that is best now, and the checks by falling
chance/cost, cut where the cost is least. Each could be followed, so that the saving is never overstated.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.check_lattice import CheckTables
from triage.decide.causes.checks import plan_costs

Array: TypeAlias = NDArray[np.float64]
Mask: TypeAlias = NDArray[np.bool_]

EXACT_AHEAD = 8
NOT_TO_BE_DONE = 1e15  # the cost of a check whose condition does not hold
NO_COST = 1e-9
PASSES = 2  # the second orders by the chances as the first has changed them


def costs_ahead(
    tables: CheckTables, checks: tuple[str, ...], may: Mask, cases: Array, ends: Array, now: Sequence[str]
) -> Array:
    """The least expected cost of each case.

    `may` [check, case] says which of `checks` may be done; `cases` [case, cause] are weights of the causes,
    which need not sum to 1; `ends` [cause] is the cost of sending someone; `now` is the best plan's order.
    """
    possible = cases.any(axis=0)
    cases, ends = cases[:, possible], ends[possible]
    if len(checks) > EXACT_AHEAD:
        cures = np.array([tables.cures[check][possible] for check in checks])
        costs = np.array([tables.costs[check] for check in checks])
        plan_now = [checks.index(check) for check in now]
        return _best_of_some(costs, cures, may, cases, ends, plan_now)
    check_set = tables.check_set(checks)
    prices = check_set.costs[:, None]
    if not may.all():
        prices = np.where(may, prices, NOT_TO_BE_DONE)
    least: Array = plan_costs(check_set.survives[:, possible], cases.T, ends, prices)[0]
    return least


def _best_of_some(
    costs: Array, cures: Array, may: Mask, cases: Array, ends: Array, now: Sequence[int]
) -> Array:
    by_now = np.where(may[now].all(axis=0), cases @ _under_each_cause(costs, cures, now, ends), np.inf)
    least: Array = np.minimum(cases @ ends, by_now)
    paid_at_least = np.maximum(costs, NO_COST)[:, None]
    end_and_one = np.stack([ends, np.ones_like(ends)], axis=1)
    left = np.empty((len(costs) + 1, *cases.shape))  # [step, case, cause]
    left[0] = cases
    cured = cures @ cases.T
    for _ in range(PASSES):
        orders = np.argsort(np.where(may, -cured / paid_at_least, np.inf), axis=0, kind="stable")
        for step, checks in enumerate(orders):
            np.multiply(left[step], (1.0 - cures)[checks], out=left[step + 1])
        stopping, unsolved = np.moveaxis(left @ end_and_one, 2, 0)
        totals = stopping[1:] + np.cumsum(unsolved[:-1] * costs[orders], axis=0)
        totals[~np.take_along_axis(may, orders, axis=0)] = np.inf  # these stand last in the order
        np.minimum(least, totals.min(axis=0), out=least)
        np.put_along_axis(cured, orders, unsolved[:-1] - unsolved[1:], axis=0)
    return least


def _under_each_cause(costs: Array, cures: Array, order: Sequence[int], ends: Array) -> Array:
    """What a plan costs, by cause."""
    later = ends
    for check in reversed(order):
        later = costs[check] + (1.0 - cures[check]) * later
    return later
