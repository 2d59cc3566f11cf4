"""Cutting a fact's values into pieces."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.logic.conditions import Compare, Interval
from triage.logic.unary_tests import FactType, parse
from triage.rulebook.model import Fact
from triage.rulebook_care.reasoning.intervals import ANY_OTHER_TEXT, pieces_of, simplest_between


def fact(kind: FactType, name: str = "one", **more: object) -> Fact:
    return Fact(name, "One", kind, "clerk", **more)  # type: ignore[arg-type]


def test_numbers_are_cut_at_every_bound_within_the_range():
    days = fact("number", range=Interval(Decimal(0), Decimal(100), True, True))
    pieces = pieces_of(days, [parse("(15..30]", "number"), parse("> 99", "number")])
    numbers = [0, 1, 15, 16, 30, 31, 99, Decimal("99.1"), 100]
    assert pieces.values == tuple(map(Decimal, numbers))
    inside = pieces.passing(parse("(15..30]", "number"))
    assert [value for index, value in enumerate(pieces.values) if inside >> index & 1] == [16, 30]


def test_a_number_without_any_bound_is_one_piece():
    assert pieces_of(fact("number"), []).values == (Decimal(0),)


def test_nothing_lies_between_two_counts():
    visits = fact("number", "repeat_visits_90_days")
    tests = [parse("[2..3]", "number"), parse(">= 4", "number")]
    assert pieces_of(visits, tests).values == (1, 2, 3, 4, 5)


def test_days_have_no_gap_between_neighbors():
    tests = [parse('<= @"2026-01-31"', "date"), parse('>= @"2026-02-01"', "date")]
    assert pieces_of(fact("date"), tests).values == (
        date(2026, 1, 30),
        date(2026, 1, 31),
        date(2026, 2, 1),
        date(2026, 2, 2),
    )


def test_times_begin_at_midnight_and_end_before_the_next():
    values = pieces_of(fact("time"), [parse('>= @"23:59:59.999999"', "time")]).values
    assert values == (time(0), time(0, 0, 0, 1), time(23, 59, 59, 999999))


@pytest.mark.parametrize("edge", [date.min, date.max])
def test_the_ends_of_the_calendar_are_kept_to(edge):
    assert edge in pieces_of(fact("date"), [Compare("=", edge)]).values


def test_texts_are_those_named_and_any_other():
    assert pieces_of(fact("text"), [parse('"b","a"', "text")]).values == ("a", "b", ANY_OTHER_TEXT)


def test_flags_and_choices_are_their_own_pieces():
    assert pieces_of(fact("flag"), []).values == (True, False)
    assert pieces_of(fact("choice", choices={"red": "Red", "blue": "Blue"}), []).values == ("red", "blue")


def test_what_is_not_known_has_a_bit_of_its_own_unless_it_is_always_known():
    flag = pieces_of(fact("flag"), [])
    assert (flag.known, flag.unknown) == (0b011, 0b100)
    assert flag.example(0b100) is None
    assert flag.example(0b110) is False
    assert pieces_of(fact("flag"), [], always_known=True).unknown == 0


@settings(deadline=None)
@given(st.decimals(-100, 100, places=4), st.decimals(-100, 100, places=4))
def test_the_number_between_lies_between(one, other):
    low, high = sorted((one, other))
    if low < high:
        assert low < simplest_between(low, high) < high


@pytest.mark.parametrize(
    ("low", "high", "between"),
    [("0", "1", "0.1"), ("1", "5", "2"), ("-3", "-1", "-2"), ("9.99", "10", "9.991")],
)
def test_the_number_between_is_a_simple_one(low, high, between):
    assert simplest_between(Decimal(low), Decimal(high)) == Decimal(between)
