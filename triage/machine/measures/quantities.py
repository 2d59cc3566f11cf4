"""Where numbers with units come in: texts such as "12 gal" through pint, known facts through their ranges.

Inside the calculations every number is a plain float whose name carries its unit. A bare number is taken to
be in the unit asked for. What cannot be read or lies outside its range is an InputError that lists every
problem.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cache

import pint

from triage.logic.conditions import Facts, FactValue
from triage.values.errors import InputError, Problem

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")


@dataclass(frozen=True, slots=True)
class Span:
    """What a number may be: `low` to `high`, both included, in `unit` (a pint unit name)."""

    title: str
    low: float
    high: float
    unit: str


def in_unit(value: object, unit: str, pointer: str = "") -> float:
    """`value` as a float in `unit`: a number, a text with or without a unit, or a pint quantity."""
    if isinstance(value, pint.Quantity):
        return _converted(value, unit, pointer)
    if isinstance(value, int | float | Decimal) and not isinstance(value, bool):
        magnitude, written_unit = float(value), ""
    else:
        match = _NUMBER_AND_UNIT.fullmatch(value) if isinstance(value, str) else None
        if match is None:
            raise InputError(
                [Problem(f'write a number, with or without a unit, such as "{f"4 {unit}".strip()}"', pointer)]
            )
        magnitude, written_unit = float(match[1]), match[2]
    if not math.isfinite(magnitude):
        raise InputError([Problem("the number is not finite", pointer)])
    if not written_unit:
        return magnitude
    try:
        quantity = _registry().Quantity(magnitude, written_unit)
    except Exception as error:  # pint's parser raises its own errors, AssertionError and tokenizer errors
        raise InputError(
            [Problem(f'"{written_unit}" is not a unit known here; use "{unit}"', pointer)]
        ) from error
    return _converted(quantity, unit, pointer)


def _converted(quantity: pint.Quantity[float], unit: str, pointer: str) -> float:
    try:
        return float(quantity.to(unit).magnitude)
    except pint.PintError as error:
        raise InputError([Problem(f'"{quantity}" is not a measure in "{unit}"', pointer)]) from error


@cache
def _registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


def check_ranges(spans: Mapping[str, Span], /, **numbers: float) -> None:
    """Raises InputError naming every number outside its span."""
    problems = [
        Problem(
            f"{span.title} is {f'{number:g} {span.unit}'.strip()}; "
            f"it must lie between {span.low:g} and {span.high:g}",
            f"/{name}",
        )
        for name, number in numbers.items()
        if not (span := spans[name]).low <= number <= span.high
    ]
    if problems:
        raise InputError(problems)


def known_quantities(known: Facts, spans: Mapping[str, Span]) -> dict[str, float]:
    """The facts of `known` that `spans` names, as floats in their units; every bad one is reported at
    once.
    """
    numbers: dict[str, float] = {}
    problems: list[Problem] = []
    for name, span in spans.items():
        if known.get(name) is None:
            continue
        try:
            number = in_unit(known[name], span.unit, f"/{name}")
            check_ranges({name: span}, **{name: number})
        except InputError as error:
            problems.extend(error.problems)
        else:
            numbers[name] = number
    if problems:
        raise InputError(problems)
    return numbers


def rounded(value: float, places: int) -> Decimal:
    """A float as a fact's Decimal, rounded half up from its shortest decimal form to `places`."""
    rounded = Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    return rounded if rounded else abs(rounded)  # no "-0.00"


def new_facts(known: Facts, computed: Mapping[str, FactValue | None]) -> dict[str, FactValue]:
    """What was computed, without the unknown (None) and without what is known already: a calculation adds
    facts, it never overrules what somebody saw.
    """
    return {name: value for name, value in computed.items() if value is not None and known.get(name) is None}
