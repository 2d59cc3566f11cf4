"""Claims and spend as rows and as CSV that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
import time
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
from triage.repairs.exports import CLAIM_COLUMNS, as_csv, claim_rows, read_days, safe_cell, spend_rows, within
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
    rows = claim_rows([closing("T-1")], None, None)
    assert [(row["ticket"], row["terms"], row["number"], row["amount"]) for row in rows] == [
        ("T-1", "standard", "COMP-1", "744.00")
    ]
    assert set(rows[0]) == set(CLAIM_COLUMNS)


def test_a_claim_has_all_that_the_maker_asks_for() -> None:
    part = line("standard", 744, number="COMP-1", quantity=2, serials=("C-1", "C-2"))
    (row,) = claim_rows([closing("T-1", cause=None, lines=(part,))], None, None)
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
    (row,) = claim_rows([closing("T-1")], None, None)
    assert (row["cause"], row["serials"]) == ("compressor_fault", [])


def test_a_claim_outside_the_period_hides_none_within_it() -> None:
    closings = [closing("T-0", at=datetime(2026, 1, 2, 15, tzinfo=UTC)), closing("T-1")]
    assert [row["ticket"] for row in claim_rows(closings, date(2026, 3, 2), None)] == ["T-1"]


def test_the_day_of_a_moment_is_that_of_utc_wherever_the_server_stands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with monkeypatch.context() as moved:
        moved.setenv("TZ", "Pacific/Auckland")
        time.tzset()
        assert within(AT, date(2026, 3, 2), date(2026, 3, 2))
    time.tzset()


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
    ("first", "last", "tickets"),
    [
        (None, date(2026, 3, 1), {"T-0", "OLD-0"}),
        (date(2026, 3, 2), None, {"T-1", "OLD-1"}),
        (date(2026, 1, 2), date(2026, 1, 2), {"T-0", "OLD-0"}),
    ],
)
def test_spend_counts_what_lies_in_the_period(
    first: date | None, last: date | None, tickets: set[str]
) -> None:
    earlier = datetime(2026, 1, 2, 15, tzinfo=UTC)
    closings = [closing("T-0", at=earlier, machine="T-0"), closing("T-1", machine="T-1")]
    loaded = [
        ("OLD-0", PastRepair(earlier, "OLD-0", None, Money("10.00", "USD"))),
        ("OLD-1", PastRepair(AT, "OLD-1", None, Money("10.00", "USD"))),
    ]
    rows = spend_rows(closings, loaded, "machine", "USD", first, last)
    assert {row["machine"] for row in rows} == tickets
    assert {row["currency"] for row in rows} == {"USD"}


@pytest.mark.parametrize(
    ("visited", "cost", "counted"),
    [(True, 0, 1), (False, 95, 1), (False, 0, 0)],
)
def test_spend_counts_a_visit_and_a_cost_without_one(visited: bool, cost: int, counted: int) -> None:
    rows = spend_rows([closing("T-1", visited=visited, cost=cost)], [], "machine", "USD", None, None)
    assert len(rows) == counted


def test_what_cost_the_same_is_listed_by_name() -> None:
    closings = [closing(f"T-{name}", contractor=name) for name in ("tern", "fogline", None)]
    rows = spend_rows(closings, [], "contractor", "USD", None, None)
    assert [row["contractor"] for row in rows] == ["fogline", "not_on_record", "tern"]


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
