from __future__ import annotations

from decimal import Decimal

import pytest

from triage.values.units import COMMON_UNITS, UnitError, is_unit, read_quantity, registry


def test_a_quantity_is_converted_exactly_where_the_units_are() -> None:
    assert read_quantity("2 weeks", "d") == Decimal(14)
    assert read_quantity("1.5 ft", "inch") == Decimal(18)
    assert read_quantity("32 degF", "degC") == Decimal(0)
    assert read_quantity("25 %", "percent") == Decimal(25)


def test_a_bare_number_is_in_the_facts_own_unit() -> None:
    assert read_quantity("-2.5", "degF") == Decimal("-2.5")
    assert read_quantity("3", None) == Decimal(3)


@pytest.mark.parametrize(
    ("text", "unit", "part"),
    [
        ("3 gal", "d", "cannot be converted"),
        ("3 blips", "d", "not a unit that is known"),
        ("3 d", None, "has no unit"),
        ("about 3", "d", "a number is wanted"),
        ("3 d**(9**9**9)", "d", "a number is wanted"),
    ],
)
def test_what_does_not_fit_is_refused(text: str, unit: str | None, part: str) -> None:
    with pytest.raises(UnitError, match=part):
        read_quantity(text, unit)


def test_known_units_are_told_from_words() -> None:
    assert all(is_unit(name) for name in ("d", "h", "inch", "degF", "percent", "month", "V", "A"))
    assert not any(is_unit(name) for name in ("blip", "d +", "", "1/0", "import"))


def test_pint_knows_the_common_units() -> None:
    assert COMMON_UNITS
    for name in COMMON_UNITS:
        registry().Unit(name)
