"""Strict JSON: what is refused, and where it says it is."""

from __future__ import annotations

from decimal import Decimal

import pytest

from triage.values.errors import InputError
from triage.values.json_text import no_repeats, read_strict


def test_numbers_are_exact() -> None:
    assert read_strict(b'{"a": 0.10, "b": 3, "c": 12345678901234567890}') == {
        "a": Decimal("0.10"),
        "b": 3,
        "c": 12345678901234567890,
    }


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'{"a": NaN}', "NaN is not a number"),
        (b'{"a": -Infinity}', "-Infinity is not a number"),
        (b'{"a": 1e999}', "between 1e-30 and 1e30"),
        (b'{"a": 1, "a": 2}', '"a" stands twice'),
        (b'{"a": {"b": 1, "b": 1}}', '"b" stands twice'),
        (b'"\xff"', "not UTF-8"),
        (b"[" * 100_000, "nested too deeply"),
        (b"", "not JSON"),
        (rb'{"note": "a \ud800"}', "half of an escaped character"),
        (rb'{"\udfff": 1}', "half of an escaped character"),
    ],
)
def test_what_is_not_strict_is_refused_and_named(content: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_strict(content)


def test_a_whole_character_may_be_escaped() -> None:
    assert read_strict(rb'["\ud83e\uddca", "\u00e9"]') == ["\N{ICE CUBE}", "\u00e9"]


def test_broken_json_is_located_in_its_file() -> None:
    with pytest.raises(InputError) as refused:
        read_strict(b'{\n  "a" 1\n}', "report.json")
    assert refused.value.problems[0].where == "report.json:2:7"


def test_a_key_that_stands_twice_is_found_in_one_walk() -> None:
    class Key(str):
        compared = 0

        def __eq__(self, other: object) -> bool:
            Key.compared += 1
            return str.__eq__(self, other)

        __hash__ = str.__hash__

    pairs = [(Key(f"k{index}"), index) for index in range(2000)] + [(Key("k1999"), 0)]
    with pytest.raises(ValueError, match='"k1999" stands twice'):
        no_repeats(pairs)
    assert Key.compared < 3 * len(pairs)
