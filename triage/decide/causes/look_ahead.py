"""The least expected cost after each possible answer, for many answers at once.

Up to `EXACT_AHEAD` checks it is exact, by the dynamic program of the plans themselves. Beyond, the best of
some plans is taken for each answer: sending someone, the plan that is best now, and the checks by falling
chance/cost, cut where the cost is least. Each could be followed, so that the saving is never overstated.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.check_lattice import MOST_TOGETHER, CheckTables
from triage.decide.causes.checks import Group, plan_costs

Array: TypeAlias = NDArray[np.float64]
Mask: TypeAlias = NDArray[np.bool_]

EXACT_AHEAD = 8
NOT_TO_BE_DONE = 1e15  # the cost of a check whose condition does not hold
NO_COST = 1e-9
PASSES = 2  # the second orders by the chances as the first has changed them


def costs_ahead(
    tables: CheckTables, checks: Group, may: Mask, cases: Array, ends: Array, now: Sequence[Group]
) -> Array:
    """The least expected cost of each case.

    `may` [check, case] says which of `checks` may be done; `cases` [case, cause] are weights of the causes,
    which need not sum to 1; `ends` [cause] is the cost of sending someone; `now` is the best plan's groups.
    """
    if len(checks) > EXACT_AHEAD:
        possible: Mask = np.asarray(cases.any(axis=0))
        cases, ends = cases[:, possible], ends[possible]
        cures = np.array([tables.cures[check][possible] for check in checks])
        allowed = may[[checks.index(check) for group in now for check in group]].all(axis=0)
        by_now = np.where(allowed, cases @ _under_each_cause(tables, possible, now, ends), np.inf)
        return np.minimum(by_now, _best_of_some(tables, checks, cures, may, cases, ends))
    check_set = tables.check_set(checks)
    work = check_set.work[:, None]
    if not may.all():
        work = np.where(may, work, NOT_TO_BE_DONE)
    least: Array = plan_costs(check_set, cases.T, ends, work)[0]
    return least


def _best_of_some(
    tables: CheckTables, checks: Group, cures: Array, may: Mask, cases: Array, ends: Array
) -> Array:
    """The checks by falling chance/cost, in the best groups of this order, up to where the cost is least."""
    work = np.array([tables.work[check] for check in checks])
    waits = np.array([tables.waits[check] for check in checks])
    sets = np.array([tables.together[check] for check in checks])
    least: Array = cases @ ends
    paid_at_least = np.maximum(work + waits, NO_COST)[:, None]
    end_and_one = np.stack([ends, np.ones_like(ends)], axis=1)
    left = np.empty((len(checks) + 1, *cases.shape))  # [step, case, cause]
    left[0] = cases
    cured = cures @ cases.T
    for _ in range(PASSES):
        orders = np.argsort(np.where(may, -cured / paid_at_least, np.inf), axis=0, kind="stable")
        for step, each in enumerate(orders):
            np.multiply(left[step], (1.0 - cures)[each], out=left[step + 1])
        later, unsolved = np.moveaxis(left @ end_and_one, 2, 0)
        done = np.where(np.take_along_axis(may, orders, axis=0), work[orders], NOT_TO_BE_DONE)
        for start in range(len(checks) - 1, -1, -1):
            group = slice(start, start + MOST_TOGETHER)
            costs = done[group].cumsum(axis=0) + np.maximum.accumulate(waits[orders[group]], axis=0)
            costs *= unsolved[start]
            costs += later[start + 1 : start + 1 + MOST_TOGETHER]
            apart = np.bitwise_and.accumulate(sets[orders[group]], axis=0) == 0
            apart[0] = False
            costs[apart] = np.inf
            np.minimum(later[start], costs.min(axis=0), out=later[start])
        np.minimum(least, later[0], out=least)
        np.put_along_axis(cured, orders, unsolved[:-1] - unsolved[1:], axis=0)
    return least


def _under_each_cause(tables: CheckTables, possible: Mask, groups: Sequence[Group], ends: Array) -> Array:
    """What a plan costs, by cause."""
    later = ends
    for group in reversed(groups):
        fails = np.prod([1.0 - tables.cures[check][possible] for check in group], axis=0)
        later = tables.cost(group) + fails * later
    return later
