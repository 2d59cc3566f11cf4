"""Which checks to do in which order, which of them together, and when to stop and send someone.

For a plan of groups s that ends in sending someone (Heckerman, Breese and Rommelse, "Decision-theoretic
troubleshooting", CACM 38(3), 1995):

    expected cost(s) = Σ P(unsolved before group i) · cost(i) + P(unsolved at the end) · cost of sending then

The checks of a group are done one after the other, then there is one wait, the longest, and one look whether
the trouble is gone: the postponed system test of T. J. Ottosen and F. V. Jensen, "When to Test?
Troubleshooting with Postponed System Test", 2010. What may be done together is the rulebook's `together`.

Up to `EXACT_LIMIT` checks the best plan is found exactly, by dynamic programming over the sets of failed
checks: the chances after failed checks do not depend on their order or grouping. Beyond, checks are taken by
falling chance/cost with the chances updated after each and grouped at their best, and the plan says so.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from triage.decide.causes.check_lattice import (
    EXACT_LIMIT,
    MOST_TOGETHER,
    Array,
    CheckSet,
    CheckTables,
    check_cost,
    check_tables,
)
from triage.records.decision import ExpectedCost, PlanStep, in_groups
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem
from triage.values.money import Money, as_money

Group: TypeAlias = tuple[str, ...]
"""Checks done before one wait."""

ROUNDING = 1e-12  # savings below this share are rounding, and no reason to do a check


@dataclass(frozen=True, slots=True)
class Plan:
    """The best plan found. Costs are floats in the rulebook's currency, unrounded."""

    steps: tuple[PlanStep, ...]
    cost: float  # expected, of the checks and of sending someone if all of them fail
    dispatch_now: float  # expected, of sending someone at once
    unsolved: float  # the chance that all steps fail
    exact: bool  # False: found greedily

    @property
    def groups(self) -> tuple[Group, ...]:
        """The checks of each wait, in order."""
        return tuple(tuple(step.check for step in steps) for steps in in_groups(self.steps))

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
    Checks in `first` come before all others, each by itself, whatever they save. Raises InputError where a
    cause with a chance has no repair cost.
    """
    tables = check_tables(rulebook)
    weights, ends = cause_arrays(tables, chances, repair_cost)
    behind = weights
    for check in first:
        behind = behind * (1.0 - tables.cures[check])
    wanted = useful_checks(tables, behind, applicable, {*done, *first})
    exact = len(wanted) <= EXACT_LIMIT
    found = _exact(tables, wanted, behind, ends) if exact else _greedy(tables, wanted, behind, ends)
    steps, left, cost = [], weights, 0.0
    for number, group in enumerate([*((check,) for check in first), *map(tables.in_order, found)], start=1):
        reached = float(left.sum())
        cost += reached * tables.cost(group)
        for check in group:
            before, left = left, left * (1.0 - tables.cures[check])
            chance = (float(before.sum()) - float(left.sum())) / reached if reached else 0.0
            steps.append(_step(rulebook, check, chance, number if len(group) > 1 else 0))
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
    left = (set(applicable) - set(done)) & tables.work.keys()
    return tuple(sorted(check for check in left if float(tables.cures[check] @ weights) > 0))


def plan_costs(check_set: CheckSet, weights: Array, ends: Array, work: Array) -> Array:
    """The least expected cost in every state, for many weightings of the causes at once.

    `weights` [cause, case] need not sum to 1: costs scale with them. `ends` [cause] is the cost of sending
    someone; `work` [check, case or 1] that of doing the checks (very large: not to be done). The causes are
    those of the tables. Gives [2**checks, case], in the rows of `check_set`: row 0 is the start.
    """
    unsolved = check_set.survives @ weights
    least = check_set.survives @ (weights * ends[:, None])
    costs = check_set.group_costs(work)
    for layer in check_set.layers():
        going_on = unsolved[layer.sources]
        going_on *= costs[layer.groups]
        going_on += least[layer.targets]
        best = least[layer.first : layer.last]
        np.minimum(best, np.minimum.reduceat(going_on, layer.starts, axis=0), out=best)
    return least


def _exact(tables: CheckTables, checks: tuple[str, ...], weights: Array, ends: Array) -> list[Group]:
    check_set = tables.check_set(checks)
    least = plan_costs(check_set, weights[:, None], ends, check_set.work[:, None])[:, 0]
    costs = check_set.group_costs(check_set.work[:, None])[:, 0]
    found: list[Group] = []
    state = 0
    while True:
        row = check_set.rows[state]
        here = check_set.survives[row] * weights
        if least[row] >= float(here @ ends) * (1.0 - ROUNDING):
            return found
        free = np.flatnonzero((check_set.groups & state) == 0)
        going_on = float(here.sum()) * costs[free] + least[check_set.rows[state | check_set.groups[free]]]
        group = free[going_on.argmin()]
        found.append(tuple(checks[index] for index in np.flatnonzero(check_set.members[group])))
        state |= int(check_set.groups[group])


def _greedy(tables: CheckTables, checks: Sequence[str], weights: Array, ends: Array) -> list[Group]:
    """By falling chance/cost, grouped, then without what does not pay, the worst dropped first."""
    order: list[str] = []
    left, remaining = weights, list(checks)
    while remaining:
        best = max(remaining, key=lambda check: _worth(tables, check, left))
        order.append(best)
        remaining.remove(best)
        left = left * (1.0 - tables.cures[best])
    cost, groups = _grouped(tables, order, weights, ends)
    order = [check for group in groups for check in group]
    while order:
        without = [[check for check in order if check != one] for one in order]
        cheapest = min((_grouped(tables, each, weights, ends) for each in without), key=lambda each: each[0])
        if cheapest[0] > cost:
            break
        cost, groups = cheapest
        order = [check for group in groups for check in group]
    return groups


def _grouped(
    tables: CheckTables, order: Sequence[str], weights: Array, ends: Array
) -> tuple[float, list[Group]]:
    """The least cost of doing checks in this order up to some point, and the groups that give it."""
    left = [weights]
    for check in order:
        left.append(left[-1] * (1.0 - tables.cures[check]))
    later: list[tuple[float, list[Group]]] = [(float(here @ ends), []) for here in left]
    for start in range(len(order) - 1, -1, -1):
        here = float(left[start].sum())
        for end in range(start + 1, min(start + MOST_TOGETHER, len(order)) + 1):
            group = tuple(order[start:end])
            if tables.may_be_together(group):
                cost = here * tables.cost(group) + later[end][0]
                if cost < later[start][0] * (1.0 - ROUNDING):
                    later[start] = cost, [group, *later[end][1]]
    return later[0]


def _worth(tables: CheckTables, check: str, weights: Array) -> float:
    cost = tables.cost((check,))
    cured = float(tables.cures[check] @ weights)
    return cured / cost if cost > 0 else float("inf") if cured > 0 else 0.0


def _step(rulebook: Rulebook, check_id: str, chance: float, group: int) -> PlanStep:
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
        group=group,
    )


@once_per_rulebook
def _costs_shown(rulebook: Rulebook) -> Mapping[str, Money]:
    store = rulebook.rates.store
    return {
        check.id: as_money(check_cost(check, store), rulebook.currency) for check in rulebook.checks.values()
    }
