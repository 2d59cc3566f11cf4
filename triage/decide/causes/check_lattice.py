"""The sets of failed checks, laid out once a rulebook for the exact order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from math import comb
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from triage.decide.causes.ranking import ranking_tables
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Check, Rulebook
from triage.rulebook.terms import StoreRates

Array: TypeAlias = NDArray[np.float64]


Indexes: TypeAlias = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class CheckSet:
    """Arrays of some checks: `survives[row, c]` is P(all checks of that row's set fail | cause c)."""

    checks: tuple[str, ...]
    costs: Array
    cures: Array  # [check, cause]
    survives: Array  # [2**checks, cause], in the rows of `lattice`


@dataclass(frozen=True, slots=True)
class CheckTables:
    """Every clerk check's cost and cure rates over the ranking's causes, and the `CheckSet`s used so far."""

    causes: Mapping[str, int]
    costs: Mapping[str, float]
    cures: Mapping[str, Array]
    sets: dict[tuple[str, ...], CheckSet]

    def check_set(self, checks: tuple[str, ...]) -> CheckSet:
        """The arrays of `checks` (at most EXACT_LIMIT of them), kept for the next call."""
        known = self.sets.get(checks)
        if known is None:
            cures = np.array([self.cures[check] for check in checks]).reshape(len(checks), len(self.causes))
            by_state = np.ones((1 << len(checks), len(self.causes)))
            for index, cure in enumerate(cures):
                half = 1 << index
                np.multiply(by_state[:half], 1.0 - cure, out=by_state[half : 2 * half])
            survives = np.empty_like(by_state)
            survives[list(lattice(len(checks)).row)] = by_state
            known = CheckSet(checks, np.array([self.costs[check] for check in checks]), cures, survives)
            if sum(1 << len(kept) for kept in tuple(self.sets)) + len(survives) > ROWS_KEPT:
                self.sets.clear()
            self.sets[checks] = known
        return known


@dataclass(frozen=True, slots=True)
class Layer:
    """The sets of one size, as the rows first..last−1, and all that one more check makes of them.

    `moves` [k, set] is the k-th check left to do, `successors` [k, set] the row of the set with it.
    """

    first: int
    last: int
    moves: Indexes
    successors: Indexes


@dataclass(frozen=True, slots=True)
class Lattice:
    """All sets of checks in rows, the smallest first; `layers` go from the largest sets to the empty one."""

    row: tuple[int, ...]  # by bit set
    layers: tuple[Layer, ...]
    widest: int  # the most moves of a layer


def check_cost(check: Check, store: StoreRates) -> Decimal:
    """What doing a check costs the store: the clerk's minutes, sales lost while waiting, materials."""
    minutes = check.minutes * store.clerk_hour + check.wait_minutes * store.lost_sales_hour
    return minutes / 60 + check.materials


@once_per_rulebook
def check_tables(rulebook: Rulebook) -> CheckTables:
    """The tables of a rulebook's clerk checks; a technician's check is never part of a plan."""
    clerk = {check.id: check for check in rulebook.checks.values() if check.who == "clerk"}
    causes = {cause: index for index, cause in enumerate(ranking_tables(rulebook).causes)}
    costs = {id_: float(check_cost(check, rulebook.rates.store)) for id_, check in clerk.items()}
    cures = {
        id_: np.array([float(check.resolves.get(cause, 0.0)) for cause in causes])
        for id_, check in clerk.items()
    }
    return CheckTables(causes, costs, cures, {})


EXACT_LIMIT = 12


ROWS_KEPT = 1 << 17  # of all `CheckSet`s of a rulebook together


@lru_cache(maxsize=EXACT_LIMIT + 1)
def lattice(checks: int) -> Lattice:
    """The 2**checks sets of `checks` checks."""
    states = sorted(range(1 << checks), key=lambda state: (state.bit_count(), state))
    row = {state: index for index, state in enumerate(states)}
    layers, first = [], 0
    for size in range(checks):
        last = first + comb(checks, size)
        sets = states[first:last]
        moves = [[move for move in range(checks) if not state >> move & 1] for state in sets]
        successors = [
            [row[state | 1 << move] for move in left] for state, left in zip(sets, moves, strict=True)
        ]
        layers.append(Layer(first, last, np.array(moves).T.copy(), np.array(successors).T.copy()))
        first = last
    widest = max((layer.moves.size for layer in layers), default=0)
    return Lattice(tuple(row[state] for state in range(1 << checks)), tuple(reversed(layers)), widest)
