"""Closings are read strictly, and a machine that is back too soon is linked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from moneyed import Money

from tests.triage.builders import minimal_rulebook
from tests.triage.services import MACHINES
from triage.records.bill import Comeback
from triage.records.report import PastRepair
from triage.repairs.close_out import CloseOut, comeback_of, read_close_out
from triage.values.errors import InputError

RULEBOOK = minimal_rulebook()
OPENED = datetime(2026, 3, 1, 12, tzinfo=UTC)
NOW = datetime(2026, 3, 2, 17, tzinfo=UTC)
GOOD: dict[str, Any] = {"cause": "low_fill", "cured_by": "fill-hopper"}


def read(data: Any) -> CloseOut:
    return read_close_out(data, RULEBOOK, MACHINES[0], OPENED, NOW)


def test_a_cure_in_the_store_is_no_visit() -> None:
    closing = read(GOOD)
    assert (closing.cause, closing.cured_by, closing.visited, closing.at) == (
        "low_fill",
        "fill-hopper",
        False,
        NOW,
    )


def test_a_repair_is_read_with_parts_serials_hours_and_photos() -> None:
    closing = read(
        {
            "cause": "seal_wrong",
            "cured_by": "repair",
            "lines": [
                {"kind": "labor", "hours": Decimal("1.5")},
                {"kind": "part", "number": "SEAL-1", "serials": ["S-77"]},
            ],
            "photos": ["photo/17", "photo/18"],
            "authorization": "T-1-A1",
            "at": "2026-03-02T10:00:00-05:00",
        }
    )
    assert closing.visited
    assert closing.hours == Decimal("1.5")
    assert closing.lines[1].serials == ("S-77",)
    assert closing.photos == ("photo/17", "photo/18")
    assert (closing.authorization, closing.at) == ("T-1-A1", datetime(2026, 3, 2, 15, tzinfo=UTC))


def test_no_fault_found_is_a_finding_of_its_own() -> None:
    closing = read({"cause": "no_fault_found", "cured_by": "nothing", "hours": 1})
    assert (closing.cause, closing.visited, closing.hours) == (None, True, Decimal(1))


BAD: dict[str, tuple[Any, str]] = {
    "no cause": ({"cause": None}, "/cause"),
    "an unknown cause": ({"cause": "gremlins"}, "/cause"),
    "an unknown cure": ({"cured_by": "magic"}, "/cured_by"),
    "no cure": ({"cured_by": None}, "/cured_by"),
    "a repair of no fault": ({"cause": "no_fault_found", "cured_by": "repair"}, "/cured_by"),
    "negative hours": ({"hours": -1}, "/hours"),
    "negative hours in a line": ({"lines": [{"kind": "labor", "hours": -1}]}, "/lines/0/hours"),
    "an unknown part": ({"lines": [{"kind": "part", "number": "X"}]}, "/lines/0/number"),
    "another currency": ({"lines": [{"kind": "trip", "amount": "1.00 EUR"}]}, "/lines/0/amount"),
    "the future": ({"at": "2026-03-02T17:06:00Z"}, "/at"),
    "before the report": ({"at": "2026-03-01T11:54:00Z"}, "/at"),
    "no time": ({"at": "noon"}, "/at"),
    "photos that are no list": ({"photos": "photo/17"}, "/photos"),
    "an unknown key": ({"cost": "1.00 USD"}, "/cost"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_closing_is_a_problem_with_its_place(name: str) -> None:
    change, pointer = BAD[name]
    with pytest.raises(InputError) as caught:
        read({**GOOD, **change})
    assert [problem.pointer for problem in caught.value.problems] == [pointer]


SECOND = 1 / 86_400  # of a day


def visit(ticket: str, days_before: float, cause: str | None = "low_fill") -> PastRepair:
    return PastRepair(OPENED - timedelta(days=days_before), ticket, cause, Money("1.00", "USD"))


@pytest.mark.parametrize(("days", "linked"), [(0, True), (30, True), (30 + SECOND, False), (-SECOND, False)])
def test_a_report_within_30_days_of_a_visit_is_its_comeback(days: float, linked: bool) -> None:
    found = comeback_of([visit("T-0", days)], "T-1", OPENED, "low_fill")
    assert (found is not None) is linked


def test_the_last_visit_for_another_ticket_is_linked() -> None:
    repairs = [visit("T-0", 9, "seal_wrong"), visit("T-00", 20), visit("T-1", 2)]
    found = comeback_of(repairs, "T-1", OPENED, "low_fill")
    assert found == Comeback("T-0", OPENED - timedelta(days=9), 9, same_cause=False)
    again = comeback_of(repairs[1:], "T-1", OPENED, "low_fill")
    assert again is not None
    assert again.same_cause
