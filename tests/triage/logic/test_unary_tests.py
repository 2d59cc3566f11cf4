"""S-FEEL unary tests.

The conformance cases are written after OMG, Decision Model and Notation 1.5 (2024), section 9 (S-FEEL): unary
tests, intervals, date and time literals. Status: from memory.
"""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.logic.conditions import Anything, Compare, Interval, Not, OneOf, Scalar, UnaryTest, holds
from triage.logic.unary_tests import MOST_VALUES, FactType, UnaryTestError, parse
from triage.logic.unary_text import text_of_test

CONFORMANCE: list[tuple[FactType, str, list[Scalar], list[Scalar]]] = [
    # type, test, values that pass, values that do not
    ("number", "15", [Decimal(15), Decimal("15.0")], [Decimal("15.1"), Decimal(-15)]),
    ("number", "-15", [Decimal(-15)], [Decimal(15)]),
    ("number", ".5", [Decimal("0.5")], [Decimal(5)]),
    ("number", "< 15", [Decimal("14.9")], [Decimal(15), Decimal(16)]),
    ("number", "<= 15", [Decimal(14), Decimal(15)], [Decimal("15.1")]),
    ("number", "> 15", [Decimal("15.1")], [Decimal(15)]),
    ("number", ">=15", [Decimal(15)], [Decimal("14.9")]),
    ("number", "[2..6]", [Decimal(2), Decimal(6)], [Decimal("1.9"), Decimal("6.1")]),
    ("number", "(2..6)", [Decimal(3)], [Decimal(2), Decimal(6)]),
    ("number", "]2..6[", [Decimal("2.1")], [Decimal(2), Decimal(6)]),
    ("number", "[2..6)", [Decimal(2)], [Decimal(6)]),
    ("number", "[2..6[", [Decimal(2)], [Decimal(6)]),
    ("number", "(2..6]", [Decimal(6)], [Decimal(2)]),
    ("number", "]2..6]", [Decimal(6)], [Decimal(2)]),
    ("number", "[-6..-2]", [Decimal(-4)], [Decimal(4)]),
    ("number", "1, 2, [5..7]", [Decimal(2), Decimal(6)], [Decimal(3)]),
    ("number", "< 2, > 6", [Decimal(1), Decimal(7)], [Decimal(4)]),
    ("number", "not(1, 2)", [Decimal(3)], [Decimal(1), Decimal(2)]),
    ("number", "not([2..6], > 10)", [Decimal(7)], [Decimal(3), Decimal(11)]),
    ("number", "-", [Decimal(0)], []),
    ("choice", '"grooved"', ["grooved"], ["flat"]),
    ("choice", '"grooved", "flat"', ["grooved", "flat"], ["none"]),
    ("choice", 'not("grooved")', ["flat"], ["grooved"]),
    ("text", '"a \\"b\\" \\u0041"', ['a "b" A'], ["a"]),
    ("flag", "true", [True], [False]),
    ("flag", "false", [False], [True]),
    ("flag", "not(true)", [False], [True]),
    ("date", 'date("2026-01-01")', [date(2026, 1, 1)], [date(2026, 1, 2)]),
    ("date", '< @"2026-01-01"', [date(2025, 12, 31)], [date(2026, 1, 1)]),
    (
        "date",
        '[@"2026-01-01"..date("2026-02-01"))',
        [date(2026, 1, 1), date(2026, 1, 31)],
        [date(2026, 2, 1)],
    ),
    ("time", 'time("10:30:00")', [time(10, 30)], [time(10, 31)]),
    ("time", '[@"08:00:00"..@"17:00:00")', [time(8), time(16, 59)], [time(17)]),
]


@pytest.mark.parametrize(("fact_type", "text", "passing", "failing"), CONFORMANCE)
def test_a_test_in_the_notation_of_the_standard_holds_for_the_values_it_should(
    fact_type: FactType, text: str, passing: list[Scalar], failing: list[Scalar]
) -> None:
    test = parse(text, fact_type)
    assert all(holds(test, value) for value in passing)
    assert not any(holds(test, value) for value in failing)


@pytest.mark.parametrize(
    ("fact_type", "text", "column", "part"),
    [
        ("number", "", 1, "empty"),
        ("number", "> ", 2, "ends too early"),
        ("number", "[2..", 5, "ends too early"),
        ("number", "not(1", 6, "ends too early"),
        ("number", "1 2", 3, "comma"),
        ("number", "= 5", 1, "equality is the value alone"),
        ("number", "5 and 6", 3, "any_of"),
        ("number", "> many", 3, "bare word"),
        ("number", '3, "many"', 4, "text does not fit a fact of type number"),
        ("number", "3, true", 4, "true or false does not fit"),
        ("number", "not(-)", 5, "stands alone"),
        ("number", "[6..2]", 1, "nothing lies in this interval"),
        ("number", "[2..2)", 1, "nothing lies in this interval"),
        ("number", "1, " + "9" * 40, 4, "28 digits"),
        ("choice", "'a'", 1, "double quotes"),
        ("choice", '"a" "b"', 5, "comma"),
        ("choice", '> "a"', 1, "no order"),
        ("choice", '["a".."b"]', 1, "no order"),
        ("flag", "1", 1, "a number does not fit a fact of type flag"),
        ("flag", '"true"', 1, "text does not fit a fact of type flag"),
        ("date", '< date("2026-02-30")', 3, "not a day of the calendar"),
        ("date", 'time("10:00:00")', 1, "a time does not fit"),
        ("date", '@"2026-01-01T10:00:00"', 2, "is not read as a date or time"),
        ("date", 'duration("P1D")', 1, "no fact is a duration"),
        ("date", 'date and time("2026-01-01T10:00:00")', 1, "no fact is a date and time"),
        ("time", 'time("25:00:00")', 1, "not a time of day"),
    ],
)
def test_an_error_names_the_column_and_the_fix(
    fact_type: FactType, text: str, column: int, part: str
) -> None:
    with pytest.raises(UnaryTestError) as caught:
        parse(text, fact_type)
    assert caught.value.column == column
    assert part in caught.value.message


def test_an_unknown_choice_is_an_error_at_its_own_column_with_a_suggestion() -> None:
    with pytest.raises(UnaryTestError) as caught:
        parse('"flat","groved"', "choice", {"flat", "grooved"})
    assert caught.value.column == 8
    assert 'did you mean "grooved"?' in caught.value.message


def test_a_bare_word_counts_as_text_where_yaml_took_the_quotes_away() -> None:
    assert parse("flat", "choice", {"flat"}) == Compare("=", "flat")
    assert parse("BW-2", "text") == Compare("=", "BW-2")


def test_values_that_yaml_already_read_count_as_themselves() -> None:
    assert parse(Decimal(15), "number") == Compare("=", Decimal(15))
    assert parse(15, "number") == Compare("=", Decimal(15))
    assert parse(True, "flag") == Compare("=", True)
    assert parse(date(2026, 1, 1), "date") == Compare("=", date(2026, 1, 1))
    assert parse("2026-01-01", "date") == Compare("=", date(2026, 1, 1))


@pytest.mark.parametrize(
    ("raw", "fact_type"), [(True, "number"), (1, "flag"), (None, "number"), ([1], "number"), ({}, "text")]
)
def test_a_value_of_another_kind_is_refused(raw: object, fact_type: FactType) -> None:
    with pytest.raises(UnaryTestError):
        parse(raw, fact_type)


def test_more_values_than_the_engine_can_compile_are_refused() -> None:
    most = ",".join(str(number) for number in range(MOST_VALUES))
    assert isinstance(parse(most, "number"), OneOf)
    with pytest.raises(UnaryTestError, match="at most 500"):
        parse(most + ",9999", "number")


NUMBERS = st.decimals(-1000, 1000, places=2, allow_nan=False).map(Decimal)
ONE: st.SearchStrategy[UnaryTest] = st.one_of(
    st.builds(Compare, st.sampled_from(["=", "<", "<=", ">", ">="]), NUMBERS),
    st.tuples(NUMBERS, NUMBERS, st.booleans(), st.booleans())
    .filter(lambda ends: ends[0] != ends[1])
    .map(lambda ends: Interval(min(ends[:2]), max(ends[:2]), ends[2], ends[3])),
)
MANY = st.lists(ONE, min_size=2, max_size=5).map(tuple)
TESTS = st.one_of(ONE, st.builds(OneOf, MANY), st.builds(Not, MANY), st.just(Anything()))


@given(TESTS)
@settings(deadline=None, derandomize=True)
def test_a_test_written_as_text_reads_back_to_the_same_test(test: UnaryTest) -> None:
    assert parse(text_of_test(test), "number") == test


@given(st.text(), st.sampled_from(["number", "choice", "flag", "date", "time", "text"]))
@settings(deadline=None, derandomize=True, max_examples=300)
def test_any_text_is_read_or_refused_with_a_column_inside_it(text: str, fact_type: FactType) -> None:
    try:
        parse(text, fact_type)
    except UnaryTestError as error:
        assert 1 <= error.column <= len(text) + 1


SIGNS = st.lists(
    st.sampled_from([*'<>=[]()-,.@"', "not", "date", "true", "15", "..", '"2026-01-01"', " ", "\\", "a"])
)


@given(SIGNS.map("".join), st.sampled_from(["number", "choice", "date"]))
@settings(deadline=None, derandomize=True, max_examples=500)
def test_any_run_of_the_notations_own_signs_is_read_or_refused(text: str, fact_type: FactType) -> None:
    try:
        parse(text, fact_type)
    except UnaryTestError as error:
        assert 1 <= error.column <= len(text) + 1


@pytest.mark.parametrize(
    "value",
    ["\b", "\f", "\x00", "\x1f\x7f\x85", 'a"b\\', "\\b", "\\u0041", "\n\r\t", "\ufeffa", "\U0001f600"],
)
def test_every_text_survives_the_way_into_a_test_and_back(value: str) -> None:
    for test in (Compare("=", value), Not((Compare("=", value), Compare("=", "x")))):
        assert parse(text_of_test(test), "text") == test


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_survives_the_way_into_a_test_and_back(value: str) -> None:
    assert parse(text_of_test(Compare("=", value)), "text") == Compare("=", value)


def test_half_of_an_escaped_character_is_refused() -> None:
    assert parse(r'"\ud83d\ude00"', "text") == Compare("=", "\U0001f600")
    with pytest.raises(UnaryTestError, match="half a character"):
        parse(r'"\ud83d"', "text")
