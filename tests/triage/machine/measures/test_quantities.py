"""Numbers with units come in as floats in the unit asked for, or as an InputError that says how to fix
them."""

from datetime import date
from decimal import Decimal

import pytest

from triage.machine.measures.quantities import (
    Span,
    check_ranges,
    known_quantities,
    new_facts,
    rounded,
)
from triage.values.errors import InputError

SPANS = {"a_ft": Span("the length", 0, 100, "foot"), "b_c": Span("the temperature", -5, 50, "degC")}


@pytest.mark.parametrize(
    ("text", "name", "value"),
    [("68 degF", "b_c", 20.0), ("-4", "b_c", -4.0), ("10 yard", "a_ft", 30.0), (3, "a_ft", 3.0)],
)
def test_a_known_number_is_taken_in_the_unit_asked_for(text, name, value):
    assert known_quantities({name: text}, SPANS) == {name: pytest.approx(value)}


@pytest.mark.parametrize(
    "value", ["a lot", True, date(2026, 1, 1), "3 zorks", "3 V", float("nan"), Decimal("Infinity"), "1e999"]
)
def test_what_is_no_measure_is_refused_at_its_place(value):
    with pytest.raises(InputError) as caught:
        known_quantities({"a_ft": value}, SPANS)
    assert [problem.pointer for problem in caught.value.problems] == ["/a_ft"]


def test_every_number_out_of_range_is_named():
    with pytest.raises(InputError) as caught:
        check_ranges(SPANS, a_ft=101, b_c=-6)
    assert [str(problem) for problem in caught.value.problems] == [
        "/a_ft: the length is 101 foot; it must lie between 0 and 100",
        "/b_c: the temperature is -6 degC; it must lie between -5 and 50",
    ]


def test_both_ends_of_a_range_belong_to_it():
    check_ranges(SPANS, a_ft=0, b_c=50)
    with pytest.raises(InputError):
        check_ranges(SPANS, a_ft=0, b_c=50.001)


def test_known_quantities_are_read_in_their_units_and_others_left_alone():
    assert known_quantities({"a_ft": "10 yard", "other": True}, SPANS) == {"a_ft": pytest.approx(30)}


def test_known_quantities_report_unreadable_and_out_of_range_ones_together():
    with pytest.raises(InputError) as caught:
        known_quantities({"a_ft": "long", "b_c": Decimal(99)}, SPANS)
    assert [problem.pointer for problem in caught.value.problems] == ["/a_ft", "/b_c"]


@pytest.mark.parametrize(
    ("value", "places", "text"), [(2.675, 2, "2.68"), (-0.001, 2, "0.00"), (44.5, 0, "45"), (-2.5, 0, "-3")]
)
def test_numbers_are_rounded_half_up_in_decimal_and_never_minus_zero(value, places, text):
    assert str(rounded(value, places)) == text


def test_a_calculation_never_overrules_what_is_known_and_drops_what_it_cannot_say():
    assert new_facts({"a": False}, {"a": True, "b": None, "c": Decimal(1)}) == {"c": Decimal(1)}
