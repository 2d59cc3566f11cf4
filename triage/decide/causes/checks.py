"""Which checks to do in which order, and when to stop and send someone.

For a plan s of checks that ends in sending someone (Heckerman, Breese and Rommelse, "Decision-theoretic
troubleshooting", CACM 38(3), 1995):

    expected cost(s) = Σ P(unsolved before check i) · cost(i) + P(unsolved at the end) · cost of sending then

Up to `EXACT_LIMIT` checks the best plan is found exactly, by dynamic programming over the sets of failed
checks: the chances after failed checks do not depend on their order. Beyond, checks are taken by falling
chance/cost with the chances updated after each, and the plan says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from threading import local

import numpy as np

from triage.decide.causes.check_lattice import (
    EXACT_LIMIT,
    Array,
    CheckTables,
    check_cost,
    check_tables,
    lattice,
)
from triage.records.decision import ExpectedCost, PlanStep
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem
from triage.values.money import Money, as_money

CASES_AT_ONCE = 64  # keeps the arrays of twelve checks within a processor's cache
ROUNDING = 1e-12  # savings below this share are rounding, and no reason to do a check


@dataclass(frozen=True, slots=True)
class Plan:
    """The best plan found. Costs are floats in the rulebook's currency, unrounded."""

    steps: tuple[PlanStep, ...]
    cost: float  # expected, of the checks and of sending someone if all of them fail
    dispatch_now: float  # expected, of sending someone at once
    unsolved: float  # the chance that all steps fail
    exact: bool  # False: found greedily

    def expected_cost(self, currency: str) -> ExpectedCost:
        """Both costs as they are shown."""
        return ExpectedCost(as_money(self.cost, currency), as_money(self.dispatch_now, currency), self.exact)


def best_plan(
    rulebook: Rulebook,
    chances: Mapping[str, float],
    applicable: Iterable[str],
    repair_cost: Mapping[str, float],
    done: Iterable[str] = (),
    first: Sequence[str] = (),
) -> Plan:
    """The cheapest plan of checks, possibly none, before someone is sent.

    `chances` are the causes' chances now, what was done already included. `applicable` are ids of checks
    that may be done: the caller leaves out what a caution forbids; technicians' checks and those in `done`
    are left out here. `repair_cost` gives for each cause what sending someone costs when it is the cause.
    Checks in `first` come before all others, whatever they save. Raises InputError where a cause with a
    chance has no repair cost.
    """
    tables = check_tables(rulebook)
    weights, ends = cause_arrays(tables, chances, repair_cost)
    behind = weights
    for check in first:
        behind = behind * (1.0 - tables.cures[check])
    wanted = useful_checks(tables, behind, applicable, {*done, *first})
    exact = len(wanted) <= EXACT_LIMIT
    order = _exact(tables, wanted, behind, ends) if exact else _greedy(tables, wanted, behind, ends)
    steps, left, cost = [], weights, 0.0
    for check in (*first, *order):
        before = float(left.sum())
        cost += before * tables.costs[check]
        left = left * (1.0 - tables.cures[check])
        steps.append(_step(rulebook, check, before - float(left.sum())))
    return Plan(tuple(steps), cost + float(left @ ends), float(weights @ ends), float(left.sum()), exact)


def cause_arrays(
    tables: CheckTables, chances: Mapping[str, float], repair_cost: Mapping[str, float]
) -> tuple[Array, Array]:
    """Chances and repair costs over the tables' causes; a cause without a chance counts 0 in both."""
    possible = {cause: chance for cause, chance in chances.items() if chance > 0}
    missing = sorted(possible.keys() - repair_cost.keys())
    if missing:
        raise InputError([Problem(f"no repair cost is given for the cause {cause}") for cause in missing])
    strange = sorted(possible.keys() - tables.causes.keys())
    if strange:
        raise InputError([Problem(f"{cause} is no cause of this rulebook") for cause in strange])
    weights, ends = np.zeros(len(tables.causes)), np.zeros(len(tables.causes))
    for cause, chance in possible.items():
        weights[tables.causes[cause]] = chance
        ends[tables.causes[cause]] = float(repair_cost[cause])
    return weights, ends


def useful_checks(
    tables: CheckTables, weights: Array, applicable: Iterable[str], done: Iterable[str]
) -> tuple[str, ...]:
    """The clerk checks among `applicable` that can cure a cause with a chance, in order of id."""
    left = (set(applicable) - set(done)) & tables.costs.keys()
    return tuple(sorted(check for check in left if float(tables.cures[check] @ weights) > 0))


class _Scratch(local):
    """A thread's memory for passing results: fresh pages from the system would cost more than the sums."""

    def __init__(self) -> None:
        self._room: Array = np.empty(0)

    def room(self, size: int) -> Array:
        if self._room.size < size:
            self._room = np.empty(size)
        return self._room[:size]


_scratch = _Scratch()


def plan_costs(survives: Array, weights: Array, ends: Array, costs: Array) -> Array:
    """The least expected cost in every state, for many weightings of the causes at once.

    `survives` is a `CheckSet`'s. `weights` [cause, case] need not sum to 1: costs scale with them. `ends`
    [cause] is the cost of sending someone; `costs` [check, case or 1] of the checks (very large: not to be
    done). Gives [2**checks, case], in the rows of `lattice`: row 0 is the start.
    """
    cases = weights.shape[1]
    rows = lattice(len(costs))
    states = len(survives)
    room = _scratch.room((states + 2 * rows.widest) * cases)
    unsolved, room = room[: states * cases].reshape(states, cases), room[states * cases :]
    least = np.empty((states, cases))
    for start in range(0, cases, CASES_AT_ONCE):
        part = slice(start, start + CASES_AT_ONCE)
        unsolved[:, part] = survives @ weights[:, part]
        least[:, part] = survives @ (weights[:, part] * ends[:, None])
    costs = np.repeat(costs, cases // costs.shape[1], axis=1)
    for layer in rows.layers:
        best, still = least[layer.first : layer.last], unsolved[layer.first : layer.last]
        going_on, later = room[: 2 * layer.moves.size * cases].reshape(2, *layer.moves.shape, cases)
        costs.take(layer.moves, axis=0, out=going_on, mode="clip")
        going_on *= still
        least.take(layer.successors, axis=0, out=later, mode="clip")
        going_on += later
        np.minimum(best, going_on.min(axis=0), out=best)
    return least


def _exact(tables: CheckTables, checks: tuple[str, ...], weights: Array, ends: Array) -> list[str]:
    check_set = tables.check_set(checks)
    possible = weights > 0
    survives, weights, ends = check_set.survives[:, possible], weights[possible], ends[possible]
    least = plan_costs(survives, weights[:, None], ends, check_set.costs[:, None])[:, 0].tolist()
    unsolved = (survives @ weights).tolist()
    stopping = (survives @ (weights * ends)).tolist()
    costs = check_set.costs.tolist()
    row = lattice(len(checks)).row
    order: list[str] = []
    left, state = list(range(len(checks))), 0
    while least[row[state]] < stopping[row[state]] * (1.0 - ROUNDING):
        here = unsolved[row[state]]
        move = min(left, key=lambda m: costs[m] * here + least[row[state | 1 << m]])
        order.append(checks[move])
        left.remove(move)
        state |= 1 << move
    return order


def _greedy(tables: CheckTables, checks: Sequence[str], weights: Array, ends: Array) -> list[str]:
    """By falling chance/cost, then without the steps that do not pay, the worst one dropped first."""
    order: list[str] = []
    left, remaining = weights, list(checks)
    while remaining:
        best = max(remaining, key=lambda check: _worth(tables, check, left))
        order.append(best)
        remaining.remove(best)
        left = left * (1.0 - tables.cures[best])
    while order:
        losses = _losses(tables, order, weights, ends)
        worst = max(range(len(order)), key=losses.__getitem__)
        if losses[worst] <= 0:
            break
        del order[worst]
    return order


def _losses(tables: CheckTables, order: Sequence[str], weights: Array, ends: Array) -> list[float]:
    """For each step, how much cheaper the plan would be without it."""
    left, before = weights, []
    for check in order:
        before.append(left)
        left = left * (1.0 - tables.cures[check])
    losses, later = [], ends
    for check, unsolved in zip(reversed(order), reversed(before), strict=True):
        cost, cures = tables.costs[check], tables.cures[check]
        losses.append(float(unsolved @ (cost - cures * later)))
        later = cost + (1.0 - cures) * later
    return losses[::-1]


def _worth(tables: CheckTables, check: str, weights: Array) -> float:
    cost = tables.costs[check]
    cured = float(tables.cures[check] @ weights)
    return cured / cost if cost > 0 else float("inf") if cured > 0 else 0.0


def _step(rulebook: Rulebook, check_id: str, chance: float) -> PlanStep:
    check = rulebook.checks[check_id]
    return PlanStep(
        check=check.id,
        title=check.title,
        chance=chance,
        minutes=check.minutes,
        wait_minutes=check.wait_minutes,
        cost=_costs_shown(rulebook)[check_id],
        cautions=check.cautions,
        steps=check.steps,
        look_for=check.look_for,
    )


@once_per_rulebook
def _costs_shown(rulebook: Rulebook) -> Mapping[str, Money]:
    store = rulebook.rates.store
    return {
        check.id: as_money(check_cost(check, store), rulebook.currency) for check in rulebook.checks.values()
    }
