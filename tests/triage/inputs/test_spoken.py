"""What clerks say is read as values in the fact's own unit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from triage.inputs.spoken import is_dont_know, read_spoken
from triage.inputs.spoken_numbers import in_digits
from triage.logic.conditions import Interval
from triage.logic.unary_tests import FactType
from triage.rulebook.model import Fact
from triage.values.errors import InputError

MONDAY = date(2026, 3, 2)


def number(unit: str | None) -> Fact:
    return Fact("number", "Free space", "number", "clerk", unit)


@pytest.mark.parametrize(
    ("unit", "said", "value"),
    [
        ("d", "two weeks ago", "14"),
        ("d", "yesterday", "1"),
        ("d", "today", "0"),
        ("d", "a month ago", "30"),
        ("d", "last Monday", "7"),
        ("d", "sunday", "1"),
        ("d", "2026-02-20", "10"),
        ("d", "about 40", "40"),
        ("d", "three and a half weeks", "24.5"),
        ("h", "two days ago", "48"),
        ("min", "half an hour ago", "30"),
        ("min", "an hour and a half", "90"),
        ("min", "1 hour 20 minutes", "80"),
        ("min", "just now", "0"),
        ("inch", '6"', "6"),
        ("inch", "1 ft 2 in", "14"),
        ("inch", "10 cm", "3.937"),
        ("inch", "1 1/2 inches", "1.5"),
        ("inch", "½ inch", "0.5"),
        ("degF", "72 °F", "72"),
        ("degF", "22 C", "71.6"),
        ("degF", "80 degrees", "80"),
        ("degF", "25 degrees celsius", "77"),
        ("liter", "two gallons", "7.571"),
        ("liter", "half a gallon", "1.893"),
        ("liter", "3 quarts", "2.839"),
        ("percent", "50 %", "50"),
        (None, "a dozen", "12"),
        (None, "twice", "2"),
        (None, "never", "0"),
        (None, "3 jugs", "3"),
        ("d", "since last Monday", "7"),
        ("d", "the 3rd of February", "27"),
        ("d", "Feb. 28", "2"),
        ("d", "March 3", "364"),
        ("degF", "ninety-nine", "99"),
        ("degF", "a hundred and five", "105"),
        (None, "twenty-five", "25"),
    ],
)
def test_words_and_units_become_the_unit_of_the_fact(unit: str | None, said: str, value: str) -> None:
    assert read_spoken(number(unit), said, MONDAY) == Decimal(value)


def test_a_bare_number_is_in_the_unit_asked_for() -> None:
    assert read_spoken(number("inch"), " 6.5 ", MONDAY) == Decimal("6.5")


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        ("inch", "2 gallons"),
        ("d", "purple"),
        ("d", "never"),
        ("d", "February 30"),
        ("inch", "never"),
        (None, "3 gallons"),
        ("inch", "1/0"),
        ("d", ""),
        ("h", "6 inches"),
        (None, "１５"),
        ("d", "１５ days"),
        (None, "1_000"),
    ],
)
def test_what_does_not_fit_is_refused_and_says_what_is_wanted(unit: str | None, said: str) -> None:
    with pytest.raises(InputError) as refused:
        read_spoken(number(unit), said, MONDAY)
    assert refused.value.problems[0].pointer == "/answers/number"


@pytest.mark.parametrize(
    ("said", "value"), [("yes", True), ("Y", True), ("1", True), ("sí", True), ("no", False), ("2", False)]
)
def test_yes_and_no_may_be_said_or_numbered(said: str, value: bool) -> None:
    assert read_spoken(Fact("f", "F", "flag", "clerk"), said, MONDAY) is value


@pytest.mark.parametrize("said", ["2", "half", "Half full"])
def test_a_choice_is_named_by_number_id_or_title(said: str) -> None:
    fact = Fact("f", "F", "choice", "clerk", choices={"empty": "Empty", "half": "Half full"})
    assert read_spoken(fact, said, MONDAY) == "half"


@pytest.mark.parametrize(
    ("kind", "said", "value"),
    [
        ("date", "two weeks ago", "2026-02-16"),
        ("date", "2026-01-31", "2026-01-31"),
        ("time", "6:30 pm", "18:30:00"),
        ("time", "12 am", "00:00:00"),
        ("time", "14.05", "14:05:00"),
    ],
)
def test_days_and_times_are_read(kind: Any, said: str, value: str) -> None:
    assert read_spoken(Fact("f", "F", kind, "clerk"), said, MONDAY) == value


@pytest.mark.parametrize(
    "said", ["?", "dk", "I don't know", "don’t know".replace("’", "'"), "not sure", "No idea"]
)
def test_not_knowing_is_an_answer(said: str) -> None:
    assert is_dont_know(said)


def test_numbers_in_words_stand_in_digits() -> None:
    assert in_digits("a couple of cups") == "2 cups"
    assert in_digits("three quarters of an inch") == "0.75 inch"
    assert in_digits("forty two") == "42"


IMPOSSIBLE = (
    "1 yottayear",
    "9" * 26,
    f"{'9' * 26} days",
    f"{'9' * 30} 1/2 days",
    "1" * 200,
    "\u0661\u0662 days",
    "9999999999 years ago",
    "0E-300000000",
    "1E+300000000 days",
    "-400 years",
)
WITHIN = Interval(Decimal(0), Decimal(10_000), True, True)


@pytest.mark.parametrize("said", IMPOSSIBLE)
@pytest.mark.parametrize("unit", ["d", "min", "inch", "degF", None])
def test_a_number_that_cannot_be_meant_is_refused(unit: str | None, said: str) -> None:
    with pytest.raises(InputError):
        read_spoken(replace(number(unit), range=WITHIN), said, MONDAY)


@pytest.mark.parametrize("said", IMPOSSIBLE)
@pytest.mark.parametrize("kind", ["date", "time"])
def test_a_day_or_time_that_cannot_be_meant_is_refused(kind: FactType, said: str) -> None:
    with pytest.raises(InputError):
        read_spoken(Fact("x", "Free space", kind, "clerk"), said, MONDAY)
