"""Where known facts come in as numbers: in their units, within their ranges.

Inside the calculations every number is a plain float whose name carries its unit. A bare number is taken to
be in the unit asked for. What cannot be read or lies outside its range is an InputError that lists every
problem.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from triage.logic.conditions import Facts, FactValue
from triage.values.errors import InputError, Problem
from triage.values.units import UnitError, read_quantity


@dataclass(frozen=True, slots=True)
class Span:
    """What a number may be: `low` to `high`, both included, in `unit` (a pint unit name)."""

    title: str
    low: float
    high: float
    unit: str


def _in_unit(value: object, unit: str) -> float:
    """A number as a float; a text is read with its unit. Raises UnitError for anything else."""
    if isinstance(value, str):
        return float(read_quantity(value, unit or None))
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal) or not math.isfinite(value):
        raise UnitError(f"a finite number is wanted, in {unit}" if unit else "a finite number is wanted")
    return float(value)


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
            number = _in_unit(known[name], span.unit)
            check_ranges({name: span}, **{name: number})
        except ValueError as error:
            problems.append(Problem(str(error), f"/{name}"))
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
