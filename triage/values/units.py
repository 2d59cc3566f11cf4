"""The one unit registry (pint), and numbers written with a unit of their own, such as "12 gal"."""

import re
from decimal import Decimal
from functools import cache, lru_cache
from typing import Any

from triage.values.plain_data import exact_number

_UNIT = r"[^\W\d_%°][\w/*^° ]{0,39}|[%°]\w{0,9}"
_QUANTITY = re.compile(rf"\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*({_UNIT})?\s*")


class UnitError(ValueError):
    """A unit that is unknown, or measures something else than the fact."""


@cache
def registry() -> Any:
    """The registry of pint, counting in Decimals; imported when first asked for, since it takes a second."""
    import pint

    return pint.UnitRegistry(non_int_type=Decimal, autoconvert_offset_to_baseunit=True)


COMMON_UNITS = frozenset(
    {"ampere", "d", "degC", "degF", "degree", "foot", "h", "hour", "inch", "kJ"}
) | frozenset({"kilogram", "liter", "min", "percent", "volt", "watt"})
"""Units that pint knows, so that it need not be asked."""


@lru_cache(maxsize=256)
def is_unit(name: str) -> bool:
    """Whether pint knows the unit."""
    if name in COMMON_UNITS:
        return True
    if not re.fullmatch(_UNIT, name):
        return False
    try:
        registry().Unit(name)
    except Exception:  # pint's parser raises many kinds, some from the tokenizer, on odd text
        return False
    return True


def read_quantity(text: str, unit: str | None) -> Decimal:
    """The number of a text such as "12 gal" in `unit`; a bare number counts as being in `unit` already."""
    match = _QUANTITY.fullmatch(text[:120])
    if match is None:
        raise UnitError("a number is wanted" + (f', such as 12 or "12 {unit}"' if unit else ", such as 12"))
    number, written = exact_number(match[1]), (match[2] or "").strip()
    if not written or written == unit:
        return number
    if unit is None:
        raise UnitError(f'this number has no unit; leave "{written}" out')
    if not is_unit(written):
        raise UnitError(f'"{written}" is not a unit that is known; give the number in {unit}')
    try:
        converted = registry().Quantity(number, written).to(unit).magnitude
    except Exception:  # pint: another dimension, a logarithm of a Decimal, a power beyond all numbers
        raise UnitError(f"{written} cannot be converted to {unit}; give the number in {unit}") from None
    return exact_number(str(_trimmed(Decimal(converted))))


def _trimmed(number: Decimal) -> Decimal:
    # Conversions by way of base units leave dust in the last of Decimal's 28 places.
    rounded = number.quantize(Decimal("1e-9")) if abs(number) < Decimal("1e15") else number
    return rounded.normalize() if rounded else Decimal(0)
