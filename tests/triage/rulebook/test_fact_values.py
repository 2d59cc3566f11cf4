from __future__ import annotations

from datetime import date, time
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.logic.conditions import Interval
from triage.rulebook.fact_values import MOST_TEXT, read_members, read_value, write_value
from triage.rulebook.model import Fact
from triage.values.errors import InputError

DAYS = Fact("filter_days", "Days", "number", "clerk", "d", Interval(Decimal(0), Decimal(3650), True, True))
VOLUME = Fact("volume", "Volume", "number", "clerk", "gallon")
WARMTH = Fact("warmth", "Warmth", "number", "clerk", "degF")
COUNT = Fact("count", "Count", "number", "clerk")
SEAL = Fact("seal", "Seal", "choice", "clerk", choices={"grooved": "Grooved", "flat": "Flat"})
CORD = Fact("cord", "Cord damaged", "flag", "clerk")
BUILT = Fact("built", "Built", "date", "record")
OPENS = Fact("opens", "Opens", "time", "record")
NOTE = Fact("note", "Note", "text", "clerk")


@pytest.mark.parametrize(
    ("fact", "raw", "value"),
    [
        (DAYS, 40, Decimal(40)),
        (DAYS, 0.1, Decimal("0.1")),
        (DAYS, Decimal("2.5"), Decimal("2.5")),
        (DAYS, "40", Decimal(40)),
        (DAYS, "2 weeks", Decimal(14)),
        (VOLUME, "12 gal", Decimal(12)),
        (VOLUME, "3.785411784 L", Decimal(1)),
        (WARMTH, "0 degC", Decimal(32)),
        (COUNT, "3", Decimal(3)),
        (SEAL, "flat", "flat"),
        (CORD, False, False),
        (BUILT, "2026-01-31", date(2026, 1, 31)),
        (BUILT, date(2026, 1, 31), date(2026, 1, 31)),
        (OPENS, "08:30", time(8, 30)),
        (NOTE, "hums", "hums"),
    ],
)
def test_a_value_of_the_facts_type_is_read(fact: Fact, raw: object, value: object) -> None:
    read = read_value(fact, raw, "/answers/x")
    assert read == value
    assert type(read) is type(value)


@pytest.mark.parametrize(
    ("fact", "raw", "part"),
    [
        (DAYS, True, "true is not a number"),
        (DAYS, float("nan"), "finite"),
        (DAYS, float("inf"), "finite"),
        (DAYS, Decimal("NaN"), "finite"),
        (DAYS, "NaN", "does not fit"),
        (DAYS, "soon", "does not fit"),
        (DAYS, 3651, "out of range; it lies in [0..3650] d"),
        (DAYS, -1, "out of range"),
        (DAYS, "600 weeks", "out of range"),
        (DAYS, "3 gal", "cannot be converted to d"),
        (DAYS, "3 blips", "not a unit that is known"),
        (DAYS, 10**40, "28 digits"),
        (DAYS, "1e999999", "between 1e-30 and 1e30"),
        (DAYS, None, "nothing (null) is not a number"),
        (DAYS, [1], "list is not a number"),
        (COUNT, "3 d", "has no unit"),
        (SEAL, "groved", 'did you mean "grooved"?'),
        (SEAL, "zzz", "they are grooved, flat"),
        (SEAL, 1, "not one of its choices"),
        (CORD, "true", "not true or false"),
        (CORD, 1, "not true or false"),
        (BUILT, "2026-02-30", "not a day of the calendar"),
        (BUILT, "31.01.2026", "not a date"),
        (BUILT, "2026-01-31T10:00:00Z", "not a date"),
        (BUILT, 20260131, "not a date"),
        (OPENS, "25:00", "not a time of day"),
        (OPENS, "8:30", "not a time of day"),
        (NOTE, 3, "not text"),
        (NOTE, " ", "empty"),
        (NOTE, "a\x00b", "control characters"),
        (NOTE, "x" * (MOST_TEXT + 1), "at most 500"),
    ],
)
def test_a_value_that_does_not_fit_is_refused_with_the_place_and_the_fix(
    fact: Fact, raw: object, part: str
) -> None:
    with pytest.raises(InputError) as caught:
        read_value(fact, raw, f"/answers/{fact.id}")
    (problem,) = caught.value.problems
    assert problem.pointer == f"/answers/{fact.id}"
    assert problem.message.startswith(f"{fact.id}: ")
    assert part in problem.message


def test_a_many_valued_choice_takes_one_or_a_list() -> None:
    assert read_members(SEAL, ["flat", "grooved"]) == {"flat", "grooved"}
    assert read_members(SEAL, "flat") == {"flat"}
    with pytest.raises(InputError):
        read_members(SEAL, ["flat", "round"])


def test_values_are_written_as_json_knows_them() -> None:
    assert write_value(Decimal("40.0")) == 40
    assert isinstance(write_value(Decimal("40.0")), int)
    assert write_value(Decimal("0.1")) == 0.1
    assert write_value(frozenset({"b", "a"})) == ["a", "b"]
    assert write_value(date(2026, 1, 31)) == "2026-01-31"
    assert write_value(time(8, 30)) == "08:30:00"
    assert write_value(True) is True


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)


@given(st.sampled_from([DAYS, VOLUME, COUNT, SEAL, CORD, BUILT, OPENS, NOTE]), JSON)
@settings(deadline=None, derandomize=True, max_examples=400)
def test_any_json_value_is_read_and_reads_back_the_same_or_is_refused(fact: Fact, raw: object) -> None:
    try:
        value = read_value(fact, raw)
    except InputError:
        return
    if not isinstance(value, Decimal):
        assert read_value(fact, write_value(value)) == value


@given(st.text(alphabet="0123456789.eE+-*/^() dgalinchftmWkp°", max_size=40))
@settings(deadline=None, derandomize=True, max_examples=400)
def test_any_text_with_a_unit_is_read_or_refused(text: str) -> None:
    try:
        value = read_value(VOLUME, text)
    except InputError as error:
        assert error.problems
    else:
        assert isinstance(value, Decimal)
        assert value.is_finite()
