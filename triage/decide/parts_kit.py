"""Which parts to carry, so that the first visit fixes the fault as likely as can be.

A cause can be fixed on the first visit if and only if every part of its repair is carried, in its quantity.
Where all that could help fits into the van, all of it is carried. Otherwise the choice is a knapsack problem
in which causes share parts. Up to MOST_ENUMERATED different needs every choice is looked at; beyond that the
mixed-integer solver HiGHS (Huangfu & Hall 2018, by way of SciPy) finds the best. Both are exact: chances are
counted in millionths, weights and values in their own smallest units, so that nothing is lost to rounding.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

import numpy as np

MOST_ENUMERATED = 10
"""Different needs up to which all choices are looked at, which is faster than the solver's start."""

MOST_NODES = 200_000
"""The solver gives up proving that its choice is the best after so many nodes (never seen with 40 parts)."""

_PER_CHANCE = 1_000_000


@dataclass(frozen=True, slots=True)
class Need:
    """A cause's chance (0..1) and the parts of its repair: number -> quantity, at least 1 each."""

    chance: float
    parts: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Load:
    """What one piece of a part weighs (kg) and is worth."""

    kg: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Van:
    """The most a kit may weigh (kg) and be worth; None: no limit. A kit exactly at a limit is allowed."""

    kg: Decimal | None = None
    value: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Kit:
    """Quantities by part number, in the order given by the needs; the chance (0..1) that they suffice.

    `exact` is False where the solver could not prove that no other kit is better.
    """

    parts: Mapping[str, int]
    chance: float
    exact: bool = True


def best_kit(needs: Sequence[Need], loads: Mapping[str, Load], van: Van) -> Kit:
    """The kit with the greatest chance of a first-visit fix that the van can take.

    Causes without parts count as fixed whatever is carried. Of equally good kits the lightest is taken, then
    the one worth least, where the choice is made by looking at all. KeyError for a part without a load.
    """
    merged: dict[frozenset[tuple[str, int]], int] = {}
    for need in needs:
        key = frozenset(need.parts.items())
        merged[key] = merged.get(key, 0) + round(need.chance * _PER_CHANCE)
    order = tuple(dict.fromkeys(number for need in needs for number in need.parts))
    wanted = [(dict(key), chance) for key, chance in merged.items() if key and chance > 0]
    limits = [
        (limit, {number: getattr(loads[number], name) for number in order})
        for name, limit in (("kg", van.kg), ("value", van.value))
        if limit is not None
    ]
    fitting = [(parts, chance) for parts, chance in wanted if _fits(parts, limits)]
    everything = _together(parts for parts, _ in fitting)
    exact = True
    if _fits(everything, limits):
        carried = everything
    elif len(fitting) <= MOST_ENUMERATED:
        carried = _by_enumeration(fitting, order, loads, limits)
    else:
        carried, exact = _by_solver(fitting, order, limits)
    kit = {number: carried[number] for number in order if number in carried}
    return Kit(kit, chance_of(kit, needs), exact)


def chance_of(kit: Mapping[str, int], needs: Iterable[Need]) -> float:
    """The chance that the kit holds all that the fault's repair takes."""
    return min(1.0, math.fsum(need.chance for need in needs if _holds(kit, need.parts)))


_Limits = Sequence[tuple[Decimal, Mapping[str, Decimal]]]
_Wanted = Sequence[tuple[Mapping[str, int], int]]


def _holds(kit: Mapping[str, int], parts: Mapping[str, int]) -> bool:
    return all(kit.get(number, 0) >= quantity for number, quantity in parts.items())


def _fits(parts: Mapping[str, int], limits: _Limits) -> bool:
    return all(
        sum((each[number] * count for number, count in parts.items()), Decimal(0)) <= limit
        for limit, each in limits
    )


def _together(needs: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """One kit for all of the needs: one visit fixes one fault, so they share their parts."""
    kit: dict[str, int] = {}
    for parts in needs:
        for number, quantity in parts.items():
            kit[number] = max(kit.get(number, 0), quantity)
    return kit


def _by_enumeration(
    wanted: _Wanted, order: Sequence[str], loads: Mapping[str, Load], limits: _Limits
) -> dict[str, int]:
    choices = _choices(len(wanted))
    quantities = np.array([[parts.get(number, 0) for number in order] for parts, _ in wanted], dtype=np.int64)
    carried = (choices[:, :, None] * quantities).max(axis=1)
    possible = np.ones(len(choices), dtype=bool)
    for limit, each in limits:
        most, units = _whole_units(limit, [each[number] for number in order])
        possible &= carried @ units <= most
    _, kg = _whole_units(Decimal(0), [loads[number].kg for number in order])
    _, value = _whole_units(Decimal(0), [loads[number].value for number in order])
    chance = choices @ np.array([chance for _, chance in wanted], dtype=np.int64)
    ranked = np.lexsort((carried @ value, carried @ kg, -chance, ~possible))
    best = carried[ranked[0]]
    return {number: int(count) for number, count in zip(order, best, strict=True) if count}


@lru_cache(maxsize=MOST_ENUMERATED + 1)
def _choices(count: int) -> Any:
    """Every subset of `count` needs, a row of zeros and ones each."""
    return (np.arange(2**count)[:, None] >> np.arange(count)) & 1


def _by_solver(wanted: _Wanted, order: Sequence[str], limits: _Limits) -> tuple[dict[str, int], bool]:
    """Maximise Σ chance·fixed over fixed in {0, 1}, carried >= quantity·fixed, loads within the limits."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow to import, and seldom needed

    causes, parts = len(wanted), len(order)
    place = {number: causes + index for index, number in enumerate(order)}
    rows, most = [], []
    for index, (needed, _) in enumerate(wanted):
        for number, quantity in needed.items():
            row = np.zeros(causes + parts)
            row[index], row[place[number]] = quantity, -1
            rows.append(row)
            most.append(0)
    for limit, each in limits:
        limit_units, units = _whole_units(limit, [each[number] for number in order])
        rows.append(np.concatenate([np.zeros(causes), units]))
        most.append(limit_units)
    highest = [max(needed.get(number, 0) for needed, _ in wanted) for number in order]
    result = milp(
        np.concatenate([[-chance for _, chance in wanted], np.zeros(parts)]),
        integrality=np.ones(causes + parts),
        bounds=Bounds(0, np.concatenate([np.ones(causes), highest])),
        constraints=LinearConstraint(np.array(rows), -np.inf, np.array(most)),
        options={"mip_rel_gap": 0, "node_limit": MOST_NODES},
    )
    if result.x is None:
        return {}, False
    fixed = [needed for (needed, _), chosen in zip(wanted, result.x[:causes], strict=True) if chosen > 0.5]
    kit = _together(fixed)
    return (kit, bool(result.status == 0)) if _fits(kit, limits) else ({}, False)


def _whole_units(limit: Decimal, each: Sequence[Decimal]) -> tuple[int, Any]:
    """The limit, rounded down, and the amounts as whole numbers of their smallest unit in use."""
    places = max((-int(amount.normalize().as_tuple().exponent) for amount in each), default=0)
    scale = Decimal(10) ** max(0, places)
    return int(limit * scale), np.array([int(amount * scale) for amount in each], dtype=np.int64)
