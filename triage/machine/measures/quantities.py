"""Where known facts come in as numbers: in their units, within their ranges.

Inside the calculations every number is a plain float whose name carries its unit. A bare number is taken to
be in the unit asked for. What cannot be read or lies outside its range is an InputError that lists every
problem.

Sucrose in water: density and freezing-point depression by sugar share (Brix, mass percent), at 20 C.

CRC Handbook of Chemistry and Physics, 102nd ed., "Concentrative properties of aqueous solutions: density,
refractive index, freezing point depression, and viscosity"; read in a machine-readable copy. Linear between
rows. Other sugars lower the freezing point more at the same Brix (glucose and fructose about twice as
much), so for mixes sweetened with them, or with alcohol in them, a freezing point from this table is too
high.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

import numpy as np

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


DEPRESSION_K: Mapping[float, float] = {
    0: 0.0, 0.5: 0.03, 1: 0.06, 2: 0.11, 3: 0.17, 4: 0.23, 5: 0.29, 6: 0.35, 7: 0.42, 8: 0.49, 9: 0.55,
    10: 0.63, 11: 0.70, 12: 0.77, 13: 0.85, 14: 0.93, 15: 1.01, 16: 1.10, 17: 1.19, 18: 1.27, 19: 1.37,
    20: 1.47, 22: 1.67, 24: 1.89, 26: 2.12, 28: 2.37, 30: 2.64, 32: 2.94, 34: 3.27, 36: 3.63, 38: 4.02,
    40: 4.45, 42: 4.93,
}  # fmt: skip

DENSITY_KG_PER_L: Mapping[float, float] = {
    0: 0.9982, 1: 1.0021, 2: 1.0060, 5: 1.0178, 8: 1.0299, 10: 1.0381, 12: 1.0465, 13: 1.0507, 14: 1.0549,
    15: 1.0592, 16: 1.0635, 18: 1.0722, 20: 1.0810, 22: 1.0899, 24: 1.0990, 26: 1.1082, 28: 1.1175,
    30: 1.1270, 34: 1.1464, 36: 1.1562, 38: 1.1663, 40: 1.1765, 42: 1.1868, 46: 1.2079, 50: 1.2295,
    60: 1.2864, 70: 1.3472, 80: 1.4117, 84: 1.4383,
}  # fmt: skip


def freezing_point_c(brix: float) -> float:
    """Where ice begins to form, in degrees C (zero or below). Brix 0 to 42."""
    return 0.0 - _between(DEPRESSION_K, brix)


def density_kg_per_l(brix: float) -> float:
    """Density at 20 C. Brix 0 to 84."""
    return _between(DENSITY_KG_PER_L, brix)


def brix_freezing_at(temperature_c: float) -> float:
    """The sugar share of the liquid in balance with ice at a temperature of 0 to -4.93 C."""
    depressions = list(DEPRESSION_K.values())
    if not 0.0 <= -temperature_c <= depressions[-1]:
        raise InputError([Problem(f"{temperature_c:g} C is outside the table: 0 to -{depressions[-1]:g} C")])
    return float(np.interp(-temperature_c, depressions, list(DEPRESSION_K)))


def _between(table: Mapping[float, float], brix: float) -> float:
    shares = list(table)
    if not shares[0] <= brix <= shares[-1]:
        raise InputError([Problem(f"{brix:g} % sugar is outside the table: 0 to {shares[-1]:g} %")])
    return float(np.interp(brix, shares, list(table.values())))
