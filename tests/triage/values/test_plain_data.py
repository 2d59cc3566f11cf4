from __future__ import annotations

import json
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.values.plain_data import NotPlain, canonical, exact_number, plain


@pytest.mark.parametrize("text", ["1.5", "1.50", "15e-1", "+1.5", "0.15E1"])
def test_all_spellings_of_a_number_are_canonically_one(text: str) -> None:
    assert canonical(exact_number(text)) == "1.5"


def test_zero_has_one_spelling_and_whole_numbers_keep_their_zeros() -> None:
    assert [canonical(Decimal(text)) for text in ("0", "-0", "0.00", "100", "1E+2")] == [
        "0",
        "0",
        "0",
        "100",
        "100",
    ]


def test_keys_are_sorted_and_lists_are_not() -> None:
    assert canonical({"b": [Decimal(2), Decimal(1)], "a": None}) == '{"a":null,"b":[2,1]}'


def test_a_number_its_text_and_a_flag_are_told_apart() -> None:
    assert len({canonical(value) for value in (Decimal(1), "1", True, "true")}) == 4


def test_a_date_counts_as_its_text() -> None:
    assert canonical(date(2026, 1, 31)) == canonical("2026-01-31")


@pytest.mark.parametrize("text", ["NaN", "Infinity", "1e31", "1e-31", "x", "", "9" * 29])
def test_a_number_beyond_bounds_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        exact_number(text)


def test_what_is_no_data_is_refused_with_its_path() -> None:
    with pytest.raises(NotPlain) as caught:
        plain({"a": [1, object()]})
    assert caught.value.path == ("a", 1)


DATA = st.recursive(
    st.none() | st.booleans() | st.text() | st.decimals(-(10**6), 10**6, places=3),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
)


@given(DATA)
@settings(deadline=None, derandomize=True)
def test_the_canonical_text_is_json_that_reads_back_the_same(data: object) -> None:
    text = canonical(plain(data))
    assert canonical(plain(json.loads(text, parse_float=Decimal))) == text


@pytest.mark.parametrize(
    "text", ["0E-300000000", "0e400", "-0E+31", "1E-99999999999999999999", "1_0", "１２"]
)
def test_a_number_that_would_fill_the_memory_or_is_written_oddly_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        exact_number(text)


@pytest.mark.parametrize("text", ["0", "-0", "0E-30", "0.000", "12.50", ".5", "+3.", "1e3"])
def test_ordinary_ways_of_writing_a_number_are_read(text: str) -> None:
    assert exact_number(text) == Decimal(text)
