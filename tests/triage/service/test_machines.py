"""A machine is shown with its care and its limits, and care is written down."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from tests.triage.services import (
    AGENT,
    FOGLINE,
    NOON,
    OPS,
    REPORT,
)
from triage.service import machines, tickets
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError


def test_a_technician_sees_the_own_contractors_machines_only(service: Service) -> None:
    assert machines.machine(service, "LH20-1", FOGLINE).machine.serial == "LH20-1"
    for look in (
        lambda: machines.machine(service, "LH30-2", FOGLINE),
        lambda: machines.limits(service, "LH30-2", None, None, FOGLINE),
        lambda: machines.record_care(service, "LH30-2", {"kind": "filter_cleaned"}, FOGLINE),
        lambda: tickets.decide_once(service, {**REPORT, "machine": "LH30-2"}, viewer=FOGLINE),
    ):
        with pytest.raises(InputError):
            look()
    with pytest.raises(InputError, match="no contractor"):
        machines.limits(service, "LH20-1", "tern", None, FOGLINE)


def test_a_machine_is_shown_with_care_due_history_and_tickets(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)
    view = machines.machine(service, "LH20-1", AGENT)
    assert [found.id for found in view.tickets] == [ticket.id]
    assert [repair.ticket for repair in view.history.repairs] == ["OLD-1"]
    assert view.care.filter is not None
    assert (view.care.filter.due.due_on, view.care.filter.due.days_overdue) == (date(2026, 2, 4), 26)
    kept = view.care.filter.kept
    assert (kept.days, kept.days_kept, kept.times) == (42, 16, 1)


def test_care_is_recorded_and_heard_by_the_next_report(service: Service) -> None:
    view = machines.record_care(service, "LH20-1", {"kind": "filter_cleaned"}, FOGLINE)
    assert (view.history.care[-1].by, view.history.care[-1].at) == ("van-3", NOON)
    assert tickets.decide_once(service, REPORT).facts["filter_days"].value == Decimal(0)


def test_the_first_commissioning_dates_the_machine(service: Service) -> None:
    data = {"kind": "commissioned", "at": "2022-02-01T23:30:00-06:00", "details": {"slope_back_pct": 0}}
    view = machines.record_care(service, "LH30-2", data, OPS)
    assert view.machine.commissioned_on == date(2022, 2, 1)
    later = {"kind": "commissioned", "at": "2023-02-01T23:30:00-06:00"}
    assert machines.record_care(service, "LH30-2", later, OPS).machine.commissioned_on == date(2022, 2, 1)


def test_details_nested_without_end_are_refused(service: Service) -> None:
    details: dict[str, Any] = {}
    for _ in range(500):
        details = {"in": details}
    with pytest.raises(InputError, match="nested"):
        machines.record_care(service, "LH20-1", {"kind": "filter_cleaned", "details": details}, OPS)


@pytest.mark.parametrize(
    ("data", "pointer"),
    [
        ({"kind": "polished"}, "/kind"),
        ({}, "/kind"),
        ({"kind": "filter_cleaned", "at": "yesterday"}, "/at"),
        ({"kind": "filter_cleaned", "at": "2026-03-01T10:00:00"}, "/at"),
        ({"kind": "filter_cleaned", "at": "2026-03-09T10:00:00Z"}, "/at"),
        ({"kind": "filter_cleaned", "at": "2024-03-09T10:00:00Z"}, "/at"),
        ({"kind": "filter_cleaned", "details": [1]}, "/details"),
        ({"kind": "filter_cleaned", "details": {"x": float("nan")}}, "/details"),
    ],
)
def test_wrong_care_is_refused_with_its_place(service: Service, data: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InputError) as caught:
        machines.record_care(service, "LH20-1", data, OPS)
    assert [problem.pointer for problem in caught.value.problems] == [pointer]
    assert len(machines.machine(service, "LH20-1", OPS).history.care) == 1


def test_the_same_care_twice_is_a_conflict(service: Service) -> None:
    machines.record_care(service, "LH20-1", {"kind": "filter_cleaned"}, OPS)
    with pytest.raises(ConflictError, match="already"):
        machines.record_care(service, "LH20-1", {"kind": "filter_cleaned"}, OPS)


def test_limits_say_warranty_of_each_component_and_what_may_be_spent(service: Service) -> None:
    found = machines.limits(service, "LH20-1", None, None, AGENT)
    warranty = {line["component"]: line for line in found["warranty"]}
    assert set(warranty) == {"air_side", "compressor", "cooling", "hopper"}
    assert warranty["compressor"]["parts"] == {"covered": True, "until": "2028-02-01"}
    assert warranty["hopper"]["labor"] == {"covered": False, "until": "2026-02-01"}
    limit = found["limit"]
    assert (limit["nte"], limit["spent_12_months"], limit["headroom"]) == ("350.00", "120.00", "350.00")
    assert limit["beyond"]["authority"] == "ops_lead"
    assert (found["contractor"], limit["after_hours"]) == ("fogline", False)


def test_limits_are_answered_as_of_any_time(service: Service) -> None:
    then = datetime(2025, 10, 1, 3, tzinfo=UTC)
    found = machines.limits(service, "LH20-1", "tern", then, AGENT)
    warranty = {line["component"]: line for line in found["warranty"]}
    assert warranty["hopper"]["labor"]["covered"] is True
    assert (found["limit"]["spent_12_months"], found["limit"]["after_hours"]) == ("0.00", True)
    assert found["contractor"] == "tern"
