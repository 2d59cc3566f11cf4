"""The sets of failed checks, and the groups of checks that may be done before one wait."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache, reduce
from itertools import combinations
from operator import and_
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.ranking import ranking_tables
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Check, Rulebook
from triage.rulebook.terms import StoreRates

Array: TypeAlias = NDArray[np.float64]
Indexes: TypeAlias = NDArray[np.intp]

EXACT_LIMIT = 16
MOST_TOGETHER = 4
"""So many checks at once can be told on the phone and kept in mind. Common practice, no source."""

MOVES_KEPT = 8  # for at most so many checks the moves are kept
ROWS_KEPT = 1 << 17  # of all `CheckSet`s of a rulebook together


@dataclass(frozen=True, slots=True)
class Layer:
    """All moves from the sets of one size, which are the rows first..last−1: sets by row, each its groups.

    `sources`, `groups` and `targets` [move] are the row before, the group's index and the row after;
    `starts` [set] is where a set's moves begin.
    """

    first: int
    last: int
    sources: Indexes
    groups: Indexes
    targets: Indexes
    starts: Indexes


@dataclass(frozen=True, slots=True)
class CheckSet:
    """Arrays of some checks. Sets of checks are bit sets; in rows they stand the smallest first.

    `survives[row, c]` is P(all checks of that row's set fail | cause c). `groups` [group] are the bit sets of
    the groups that may be done together, single checks first; `members` [group, check] the same as 0 and 1.
    """

    checks: tuple[str, ...]
    work: Array  # [check] what doing it costs, without the wait
    waits: Array  # [group] what its one wait costs
    groups: Indexes
    members: Array
    sets: Indexes  # [row]
    rows: Indexes  # [bit set]
    survives: Array  # [2**checks, cause]
    kept: tuple[Layer, ...]

    def group_costs(self, work: Array) -> Array:
        """[group, case] from the costs of work [check, case]."""
        costs: Array = self.members @ work + self.waits[:, None]
        return costs

    def layers(self) -> Iterator[Layer]:
        """The moves, from the largest sets to the empty one."""
        return iter(self.kept or self._moves())

    def _moves(self) -> Iterator[Layer]:
        sizes = np.bitwise_count(self.sets)
        for size in range(len(self.checks) - 1, -1, -1):
            first, last = np.searchsorted(sizes, [size, size + 1]).tolist()
            sets = self.sets[first:last]
            free = (sets[:, None] & self.groups) == 0
            sources, groups = np.nonzero(free)
            targets = self.rows[sets[sources] | self.groups[groups]]
            starts = np.concatenate([[0], np.cumsum(free.sum(axis=1))[:-1]])
            yield Layer(first, last, sources + first, groups, targets, starts)


@dataclass(frozen=True, slots=True)
class CheckTables:
    """Every clerk check's costs and cure rates over the ranking's causes, and the `CheckSet`s used so far.

    `work` and `waits` are what doing a check and waiting for its result cost. Checks may be done together
    where their `together` have a bit in common, one for each of the rulebook's sets in `orders`.
    """

    causes: Mapping[str, int]
    work: Mapping[str, float]
    waits: Mapping[str, float]
    cures: Mapping[str, Array]
    together: Mapping[str, int]
    orders: tuple[tuple[str, ...], ...]
    sets: dict[tuple[str, ...], CheckSet]

    def may_be_together(self, checks: tuple[str, ...]) -> bool:
        if len(checks) == 1:
            return True
        return len(checks) <= MOST_TOGETHER and bool(reduce(and_, map(self.together.__getitem__, checks)))

    def in_order(self, group: tuple[str, ...]) -> tuple[str, ...]:
        """The group as it is to be done: in the order of the first set that has it whole."""
        if len(group) == 1:
            return group
        order = next(order for order in self.orders if set(group) <= set(order))
        return tuple(sorted(group, key=order.index))

    def cost(self, group: tuple[str, ...]) -> float:
        """What the group costs: all its work, and one wait, the longest."""
        return sum(self.work[check] for check in group) + max(self.waits[check] for check in group)

    def check_set(self, checks: tuple[str, ...]) -> CheckSet:
        """The arrays of `checks` (at most EXACT_LIMIT of them), kept for the next call."""
        known = self.sets.get(checks)
        if known is None:
            known = self._made(checks)
            if sum(len(kept.sets) for kept in tuple(self.sets.values())) + len(known.sets) > ROWS_KEPT:
                self.sets.clear()
            self.sets[checks] = known
        return known

    def _made(self, checks: tuple[str, ...]) -> CheckSet:
        places = range(len(checks))
        by_set = np.ones((1 << len(checks), len(self.causes)))
        for index in places:
            half = 1 << index
            np.multiply(by_set[:half], 1.0 - self.cures[checks[index]], out=by_set[half : 2 * half])
        sets, rows = _in_rows(len(checks))
        groups = [
            group
            for size in range(1, min(len(checks), MOST_TOGETHER) + 1)
            for group in combinations(places, size)
            if self.may_be_together(tuple(checks[index] for index in group))
        ]
        members = np.zeros((len(groups), len(checks)))
        for row, group in enumerate(groups):
            members[row, list(group)] = 1.0
        made = CheckSet(
            checks,
            np.array([self.work[check] for check in checks]),
            np.array([max(self.waits[checks[index]] for index in group) for group in groups]),
            np.array([sum(1 << index for index in group) for group in groups], dtype=np.intp),
            members,
            sets,
            rows,
            by_set[sets],
            (),
        )
        if len(checks) > MOVES_KEPT:
            return made
        return replace(made, kept=tuple(made.layers()))


@lru_cache(maxsize=EXACT_LIMIT + 1)
def _in_rows(checks: int) -> tuple[Indexes, Indexes]:
    """The sets of `checks` checks by row, and their rows by set."""
    every = np.arange(1 << checks)
    sets = np.argsort(np.bitwise_count(every), kind="stable")
    rows = np.empty_like(sets)
    rows[sets] = every
    return sets, rows


def check_cost(check: Check, store: StoreRates) -> Decimal:
    """What doing a check by itself costs the store: `work_cost` and `wait_cost`."""
    return work_cost(check, store) + wait_cost(check, store)


def work_cost(check: Check, store: StoreRates) -> Decimal:
    """The clerk's minutes and the materials."""
    return check.minutes * store.clerk_hour / 60 + check.materials


def wait_cost(check: Check, store: StoreRates) -> Decimal:
    """The sales lost while waiting for the result."""
    return check.wait_minutes * store.lost_sales_hour / 60


@once_per_rulebook
def check_tables(rulebook: Rulebook) -> CheckTables:
    """The tables of a rulebook's clerk checks; a technician's check is never part of a plan."""
    clerk = {check.id: check for check in rulebook.checks.values() if check.who == "clerk"}
    causes = {cause: index for index, cause in enumerate(ranking_tables(rulebook).causes)}
    store = rulebook.rates.store
    return CheckTables(
        causes,
        {id_: float(work_cost(check, store)) for id_, check in clerk.items()},
        {id_: float(wait_cost(check, store)) for id_, check in clerk.items()},
        {
            id_: np.array([float(check.resolves.get(cause, 0.0)) for cause in causes])
            for id_, check in clerk.items()
        },
        {
            id_: sum(1 << place for place, order in enumerate(rulebook.together) if id_ in order)
            for id_ in clerk
        },
        rulebook.together,
        {},
    )
