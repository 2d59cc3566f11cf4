"""Dataclasses come back from JSON as they were, and tolerate what they do not know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from moneyed import Money

from triage.values.dataclass_json import FLAT, LEFT_OUT, as_data, from_data, key
from triage.values.json_text import JSONText


@dataclass(frozen=True)
class Inner:
    part: str
    price: Money | None = None


@dataclass(frozen=True)
class Outer:
    at: datetime
    day: date
    hours: Decimal
    said: Mapping[str, object]
    parts: tuple[Inner, ...] = ()
    source: str = field(default="", metadata=key("from"))
    note: str | None = field(default=None, metadata=LEFT_OUT)
    inner: Inner | None = field(default=None, metadata=FLAT)


WHOLE = {
    "at": "2026-03-02T12:00:00-05:00",
    "day": "2026-03-02",
    "hours": Decimal("1.50"),
    "said": {"parts": ["any", {"thing": None}]},
    "parts": [{"part": "SEAL-1", "price": "22.20 USD"}, {"part": "COMP-1", "price": None}],
    "from": "caller",
    "note": "dusty",
    "part": "TRAY-1",
    "price": "9.00 USD",
}


def test_every_type_is_read_and_written() -> None:
    outer = from_data(Outer, WHOLE)
    assert (outer.at.utcoffset(), outer.day, outer.hours) == (
        datetime.fromisoformat("2026-03-02T12:00:00-05:00").utcoffset(),
        date(2026, 3, 2),
        Decimal("1.5"),
    )
    assert outer.parts == (Inner("SEAL-1", Money("22.20", "USD")), Inner("COMP-1"))
    assert (outer.source, outer.inner) == ("caller", Inner("TRAY-1", Money("9.00", "USD")))
    assert JSONText.of(as_data(outer)).text == JSONText.of(WHOLE).text


def test_what_is_none_is_written_unless_it_is_left_out() -> None:
    written = as_data(from_data(Outer, {name: WHOLE[name] for name in ("at", "day", "hours", "said")}))
    assert written["from"] == ""
    assert {"note", "part", "price"}.isdisjoint(written)
    assert as_data(Inner("SEAL-1")) == {"part": "SEAL-1", "price": None}


def test_unknown_keys_are_skipped_and_a_missing_one_needs_a_default() -> None:
    assert from_data(Inner, {"part": "SEAL-1", "weight_g": 20}) == Inner("SEAL-1")
    with pytest.raises(TypeError, match="part"):
        from_data(Inner, {"price": None})


@given(
    st.lists(
        st.builds(
            Inner,
            st.text(),
            st.none() | st.decimals(0, 10**9, places=2).map(lambda amount: Money(amount, "USD")),
        )
    ),
    st.datetimes(timezones=st.sampled_from([UTC, timezone(timedelta(hours=-5))])),
)
def test_written_and_read_it_is_the_same(parts: list[Inner], at: datetime) -> None:
    outer = Outer(at, at.date(), Decimal("0.5"), {}, tuple(parts))
    again = from_data(Outer, as_data(outer))
    assert again == outer
    assert again.at.isoformat() == at.isoformat()
