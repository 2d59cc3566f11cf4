"""Claims as rows, and CSV that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.payloads import billed, close_out, usd
from triage.records.bill import BilledLine
from triage.records.payloads import Closed
from triage.repairs.exports import CLAIM_COLUMNS, as_csv, claim_rows, read_days, safe_cell
from triage.values.errors import InputError

AT = datetime(2026, 3, 2, 15, tzinfo=UTC)


def line(paid_by: str, amount: int, **more: Any) -> BilledLine:
    return BilledLine("part", "COMP-1 × 1", usd(amount), usd(amount), "compressor", paid_by, **more)


USUAL = (line("program", 95), line("standard", 744, number="COMP-1", quantity=1))


def closing(
    ticket: str,
    cost: int = 95,
    total: int = 839,
    deductible: int = 0,
    lines: tuple[BilledLine, ...] = USUAL,
    cause: str | None = "compressor_fault",
    **more: Any,
) -> tuple[str, Closed]:
    bill = billed(cost, lines=lines, total=usd(total), deductible=usd(deductible))
    return ticket, close_out(
        cause, cost, **{"bill": bill, "photos": ("photo/1", "photo/2"), "at": AT, **more}
    )


def test_only_lines_that_warranty_pays_are_claimed() -> None:
    rows = claim_rows([closing("T-1")])
    assert [(row["ticket"], row["terms"], row["number"], row["amount"]) for row in rows] == [
        ("T-1", "standard", "COMP-1", "744.00")
    ]
    assert set(rows[0]) == set(CLAIM_COLUMNS)


def test_a_claim_has_all_that_the_maker_asks_for() -> None:
    part = line("standard", 744, number="COMP-1", quantity=2, serials=("C-1", "C-2"))
    (row,) = claim_rows([closing("T-1", cause=None, lines=(part,))])
    assert row == {
        "closed_at": AT.isoformat(),
        "ticket": "T-1",
        "machine": "LH20-1",
        "model": "LH-20",
        "site": "halt-001",
        "contractor": "fogline",
        "terms": "standard",
        "cause": "no_fault_found",
        "component": "compressor",
        "kind": "part",
        "detail": "COMP-1 × 1",
        "number": "COMP-1",
        "quantity": 2,
        "serials": ["C-1", "C-2"],
        "amount": "744.00",
        "outside_agreement": None,
        "currency": "USD",
        "photos": ["photo/1", "photo/2"],
    }
    (row,) = claim_rows([closing("T-1")])
    assert (row["cause"], row["serials"]) == ("compressor_fault", [])


def test_a_deductible_is_taken_off() -> None:
    rows = claim_rows([closing("T-1", deductible=75)])
    assert [(row["kind"], row["amount"]) for row in rows] == [("part", "744.00"), ("deductible", "-75.00")]


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
