"""Claims and spend as rows and as CSV that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moneyed import Money

from tests.triage.payloads import billed, close_out, usd
from triage.records.bill import BilledLine
from triage.records.payloads import Closed
from triage.records.report import PastRepair
from triage.repairs.exports import CLAIM_COLUMNS, as_csv, claim_rows, read_days, safe_cell, spend_rows
from triage.values.errors import InputError

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)


def line(paid_by: str, amount: int, **more: Any) -> BilledLine:
    return BilledLine("part", "COMP-1 × 1", usd(amount), usd(amount), "compressor", paid_by, **more)


def closing(
    ticket: str, cost: int = 95, total: int = 839, deductible: int = 0, **more: Any
) -> tuple[str, Closed]:
    lines = (line("program", 95), line("standard", 744, number="COMP-1", quantity=1))
    bill = billed(cost, lines=lines, total=usd(total), deductible=usd(deductible))
    photos = ("photo/1", "photo/2")
    return ticket, close_out("compressor_fault", cost, bill=bill, photos=photos, at=AT, **more)


def test_only_lines_that_warranty_pays_are_claimed() -> None:
    rows = claim_rows([closing("T-1")], None, None)
    assert [(row["ticket"], row["terms"], row["number"], row["amount"]) for row in rows] == [
        ("T-1", "standard", "COMP-1", "744.00")
    ]
    assert set(rows[0]) == set(CLAIM_COLUMNS)


def test_a_deductible_is_taken_off() -> None:
    rows = claim_rows([closing("T-1", deductible=75)], None, None)
    assert [(row["kind"], row["amount"]) for row in rows] == [("part", "744.00"), ("deductible", "-75.00")]


@pytest.mark.parametrize(
    ("first", "last", "found"),
    [
        (date(2026, 3, 2), date(2026, 3, 2), 1),
        (date(2026, 3, 3), None, 0),
        (None, date(2026, 3, 1), 0),
    ],
)
def test_a_period_has_both_its_days(first: date | None, last: date | None, found: int) -> None:
    assert len(claim_rows([closing("T-1")], first, last)) == found


def test_spend_is_summed_dearest_first_and_counted_once() -> None:
    closings = [
        closing("T-1"),
        closing("T-2", contractor="tern", cost=300, total=300),
        closing("T-3"),
        closing("T-4", visited=False, cost=0, total=0),
    ]
    loaded = [
        ("LH20-1", PastRepair(AT, "T-1", "compressor_fault", Money("95.00", "USD"))),
        ("LH20-1", PastRepair(AT, "OLD-1", None, Money("120.00", "USD"))),
    ]

    def spend(by: Any) -> list[tuple[Any, ...]]:
        rows = spend_rows(closings, loaded, by, "USD", None, None)
        return [(row[by], row["visits"], row["total"], row["claimed"], row["spent"]) for row in rows]

    assert spend("contractor") == [
        ("tern", 1, "300.00", "0.00", "300.00"),
        ("fogline", 2, "1678.00", "1488.00", "190.00"),
        ("not_on_record", 1, "120.00", "0.00", "120.00"),
    ]
    assert spend("machine") == [("LH20-1", 4, "2098.00", "1488.00", "610.00")]
    assert spend("cause") == [
        ("compressor_fault", 3, "1978.00", "1488.00", "490.00"),
        ("no_fault_found", 1, "120.00", "0.00", "120.00"),
    ]


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ('=HYPERLINK("//x")', '\'=HYPERLINK("//x")'),
        ("+1+1", "'+1+1"),
        ("-2+3", "'-2+3"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t=1"),
        (" =1", "' =1"),
        ("＝1", "'＝1"),
        ("-75.00", "-75.00"),
        ("744.00", "744.00"),
        (3, "3"),
        (None, ""),
        (["a", "=b"], "a =b"),
        ("plain - text", "plain - text"),
    ],
)
def test_a_formula_is_told_from_text_and_numbers(value: object, cell: str) -> None:
    assert safe_cell(value) == cell


@settings(deadline=None)
@given(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0")), min_size=1, max_size=4))
def test_whatever_stands_in_a_cell_is_read_back_and_starts_no_formula(cells: list[str]) -> None:
    columns = [f"c{index}" for index in range(len(cells))]
    text = as_csv(columns, [dict(zip(columns, cells, strict=True))])
    header, row = csv.reader(io.StringIO(text, newline=""))
    assert header == columns
    for given_text, cell in zip(cells, row, strict=True):
        assert cell in (given_text, f"'{given_text}")
        if (
            not cell.lstrip("-").replace(".", "", 1).isascii()
            or not cell.lstrip("-").replace(".", "", 1).isdigit()
        ):
            assert not cell.lstrip().startswith(("=", "+", "-", "@"))


@pytest.mark.parametrize(
    ("since", "until", "pointer"),
    [
        ("2026-02-30", None, "query:since"),
        ("yesterday", None, "query:since"),
        (None, "20260301", "query:until"),
        ("2026-03-02", "2026-03-01", "query:until"),
    ],
)
def test_a_period_that_cannot_be_meant_is_refused(since: str | None, until: str | None, pointer: str) -> None:
    with pytest.raises(InputError) as caught:
        read_days(since, until)
    assert [problem.pointer for problem in caught.value.problems] == [pointer]
