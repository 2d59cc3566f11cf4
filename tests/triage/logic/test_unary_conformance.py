"""Unary tests case by case after the text of OMG, Decision Model and Notation 1.5 (dtc/23-02-10), clause 9.

The numbers are those of the grammar's rules in 9.2. Status: read (clause 9, in a plain-text copy of the task
force), except the rules marked FEEL, which stand in clause 10.3.1.2 and are from memory.
"""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal

import pytest

from triage.logic.conditions import Scalar, holds
from triage.logic.unary_tests import FactType, UnaryTestError, parse

WHITE_SPACE = "\t\n\v\f\r \u0085\u00a0\u1680\u180e\u2000\u2005\u200b\u2028\u2029\u202f\u205f\u3000\ufeff"
NUMBERS = [Decimal(text) for text in ("-7", "-6", "-2", "0", ".5", "1.9", "2", "2.00", "4", "6", "7", "15")]


def passing(test: str) -> list[str]:
    return [str(number) for number in NUMBERS if holds(parse(test, "number"), number)]


ON_NUMBERS = [
    # rule of 9.2, test, which of NUMBERS pass
    ("5a", "<2", "-7 -6 -2 0 0.5 1.9"),
    ("5a", "< 2", "-7 -6 -2 0 0.5 1.9"),
    ("5a", "<= 2", "-7 -6 -2 0 0.5 1.9 2 2.00"),
    ("5a", "<=2", "-7 -6 -2 0 0.5 1.9 2 2.00"),
    ("5a", "> 6", "7 15"),
    ("5a", ">6", "7 15"),
    ("5a", ">= 6", "6 7 15"),
    ("5a", ">=6", "6 7 15"),
    ("5a", "< -2", "-7 -6"),
    ("5a", "<-2", "-7 -6"),
    ("5a", ">= -2", "-2 0 0.5 1.9 2 2.00 4 6 7 15"),
    ("5a", "> .5", "1.9 2 2.00 4 6 7 15"),
    ("5a", "15", "15"),
    ("5a", "0", "0"),
    ("6", "[2..6]", "2 2.00 4 6"),
    ("6", "[2 .. 6]", "2 2.00 4 6"),
    ("7", "(2..6]", "4 6"),
    ("7", "]2..6]", "4 6"),
    ("9", "[2..6)", "2 2.00 4"),
    ("9", "[2..6[", "2 2.00 4"),
    ("7, 9", "(2..6)", "4"),
    ("7, 9", "]2..6[", "4"),
    ("7, 9", "(2..6[", "4"),
    ("7, 9", "]2..6)", "4"),
    ("8, 10", "[-6..-2]", "-6 -2"),
    ("7, 9", "(-6..-2)", ""),
    ("8, 10", "[.5..1.9]", "0.5 1.9"),
    ("8, 10", "[2..2]", "2 2.00"),
    ("8, 10", "[-6 ..  .5]", "-6 -2 0 0.5"),
    ("11", "2,6", "2 2.00 6"),
    ("11", "2, 6 , 15", "2 2.00 6 15"),
    ("11", "< -2, > 6", "-7 -6 7 15"),
    ("11", "0,[4..6]", "0 4 6"),
    ("11", "[-7..-6],]2..6[,15", "-7 -6 4 15"),
    ("11", "2,2", "2 2.00"),
    ("12b", "not(2)", "-7 -6 -2 0 0.5 1.9 4 6 7 15"),
    ("12b", "not (2)", "-7 -6 -2 0 0.5 1.9 4 6 7 15"),
    ("12b", "not(2, 6)", "-7 -6 -2 0 0.5 1.9 4 7 15"),
    ("12b", "not( > 0 )", "-7 -6 -2 0"),
    ("12b", "not([-6..6])", "-7 7 15"),
    ("12b", "not(]-6..6[)", "-7 -6 6 7 15"),
    ("12b", "not(< 0, > 2)", "0 0.5 1.9 2 2.00"),
    ("12c", "-", "-7 -6 -2 0 0.5 1.9 2 2.00 4 6 7 15"),
    ("12c", " - ", "-7 -6 -2 0 0.5 1.9 2 2.00 4 6 7 15"),
    ("31", "-2", "-2"),
    ("31", "-0", "0"),
    ("31", ".5", "0.5"),
    ("31", "0.50", "0.5"),
    ("31", "-.5", ""),
    ("31", "02", "2 2.00"),
    ("31", "2.0", "2 2.00"),
]

OTHERS: list[tuple[str, FactType, str, list[Scalar], list[Scalar]]] = [
    ("29", "text", '"a"', ["a"], ["A", "b", ""]),
    ("29", "text", '""', [""], ["a"]),
    ("29", "text", '"a,b"', ["a,b"], ["a"]),
    ("29", "text", '"[2..6]"', ["[2..6]"], ["4"]),
    ("29", "text", '"not(1)"', ["not(1)"], ["1"]),
    ("29", "text", '"-"', ["-"], ["a"]),
    ("29", "text", '" a "', [" a "], ["a"]),
    ("29", "text", '"Süß 氷"', ["Süß 氷"], ["Suss"]),
    ("38", "text", r'"a\"b"', ['a"b'], ["ab"]),
    ("38", "text", r'"a\'b"', ["a'b"], ["ab"]),
    ("38", "text", r'"a\\b"', ["a\\b"], ["ab"]),
    ("38", "text", r'"a\nb"', ["a\nb"], ["anb"]),
    ("38", "text", r'"a\rb"', ["a\rb"], ["arb"]),
    ("38", "text", r'"a\tb"', ["a\tb"], ["atb"]),
    ("38", "text", r'"\u0041"', ["A"], ["u0041"]),
    ("38", "text", r'"\u00e9t\u00e9"', ["été"], ["ete"]),
    ("FEEL", "text", r'"\U01F40E"', ["\U0001f40e"], ["U01F40E"]),
    ("11", "text", '"a","b"', ["a", "b"], ["c", "a,b"]),
    ("12b", "text", 'not("a")', ["b"], ["a"]),
    ("12b", "text", 'not("a", "b")', ["c"], ["a", "b"]),
    ("12c", "text", "-", ["a"], []),
    ("30", "flag", "true", [True], [False]),
    ("30", "flag", "false", [False], [True]),
    ("11", "flag", "true,false", [True, False], []),
    ("12b", "flag", "not(true)", [False], [True]),
    ("12b", "flag", "not(true, false)", [], [True, False]),
    ("34", "date", 'date("2026-01-31")', [date(2026, 1, 31)], [date(2026, 2, 1)]),
    ("34", "date", 'date ( "2026-01-31" )', [date(2026, 1, 31)], [date(2026, 2, 1)]),
    ("34", "date", 'date("2024-02-29")', [date(2024, 2, 29)], [date(2024, 3, 1)]),
    ("5a", "date", '> date("2026-01-31")', [date(2026, 2, 1)], [date(2026, 1, 31)]),
    ("5a", "date", '<= date("2026-01-31")', [date(2026, 1, 31)], [date(2026, 2, 1)]),
    ("6", "date", '[date("2026-01-01")..date("2026-02-01")[', [date(2026, 1, 1)], [date(2026, 2, 1)]),
    ("12b", "date", 'not(date("2026-01-31"))', [date(2026, 2, 1)], [date(2026, 1, 31)]),
    ("FEEL", "date", '@"2026-01-31"', [date(2026, 1, 31)], [date(2026, 2, 1)]),
    ("34", "time", 'time("10:30:00")', [time(10, 30)], [time(10, 31)]),
    ("5a", "time", '< time("10:30:00")', [time(10, 29)], [time(10, 30)]),
    ("6", "time", ']time("08:00:00")..time("17:00:00")]', [time(17)], [time(8)]),
    ("FEEL", "time", '@"10:30:00"', [time(10, 30)], [time(10)]),
]

REFUSED: list[tuple[str, FactType, str, int]] = [
    # rule of 9.2 that it breaks, type, text, column of the complaint
    ("5a", "number", "= 2", 1),
    ("5a", "number", "!= 2", 1),
    ("5a", "number", "< > 2", 3),
    ("5a", "number", "<", 2),
    ("6", "number", "[2..6", 6),
    ("6", "number", "2..6]", 2),
    ("6", "number", "[2.6]", 5),
    ("6", "number", "[..6]", 2),
    ("6", "number", "[2..]", 5),
    ("6", "number", "{2..6}", 1),
    ("11", "number", "1,,2", 3),
    ("11", "number", "1,", 3),
    ("11", "number", ",1", 1),
    ("11", "number", "1 2", 3),
    ("11", "number", "1;2", 2),
    ("11", "number", "1 and 2", 3),
    ("11", "number", "1 or 2", 3),
    ("11", "number", "1, -", 4),
    ("12b", "number", "not()", 5),
    ("12b", "number", "not(1", 6),
    ("12b", "number", "not(not(1))", 8),
    ("12b", "number", "not(1), 2", 7),
    ("12b", "number", "not(-)", 5),
    ("12c", "number", "--", 2),
    ("13", "number", "1 + 1", 3),
    ("13", "number", "2 * 3", 3),
    ("31", "number", "1e3", 1),
    ("31", "number", "2.", 2),
    ("31", "number", "+2", 1),
    ("31", "number", "1,000.5.2", 8),
    ("29", "text", '"a', 1),
    ("29", "text", "'a'", 1),
    ("30", "flag", '"true"', 1),
    ("34", "date", 'date("2026-02-30")', 1),
    ("34", "date", 'date("31.01.2026")', 1),
    ("34", "time", 'time("25:00:00")', 1),
]


@pytest.mark.parametrize(("rule", "test", "wanted"), ON_NUMBERS, ids=[each[1] for each in ON_NUMBERS])
def test_a_test_of_numbers_lets_pass_what_the_standard_says(rule: str, test: str, wanted: str) -> None:
    assert passing(test) == wanted.split(), f"rule {rule}"


@pytest.mark.parametrize(("rule", "kind", "test", "yes", "no"), OTHERS, ids=[each[2] for each in OTHERS])
def test_a_test_of_another_type_lets_pass_what_the_standard_says(
    rule: str, kind: FactType, test: str, yes: list[Scalar], no: list[Scalar]
) -> None:
    read = parse(test, kind)
    assert [value for value in yes + no if holds(read, value)] == yes, f"rule {rule}"


@pytest.mark.parametrize("space", WHITE_SPACE, ids=[f"U+{ord(sign):04X}" for sign in WHITE_SPACE])
def test_all_white_space_of_rule_36_separates_and_means_nothing(space: str) -> None:
    assert parse(f"{space}[2{space}..{space}6],{space}15{space}", "number") == parse("[2..6],15", "number")


@pytest.mark.parametrize(("rule", "kind", "test", "column"), REFUSED, ids=[each[2] for each in REFUSED])
def test_what_is_not_in_the_grammar_is_refused_at_its_place(
    rule: str, kind: FactType, test: str, column: int
) -> None:
    with pytest.raises(UnaryTestError) as caught:
        parse(test, kind)
    assert caught.value.column == column, f"rule {rule}: {caught.value.message}"
