"""The fleets fitted to the machines on record."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tests.triage.payloads import usd
from triage.machine.lifecycle.trend import fit_fleet
from triage.records.report import Machine, PastRepair
from triage.rulebook_care.learning.records import fleets

NOW = datetime(2026, 3, 1, tzinfo=UTC)


def machine(serial: str, model: str, year: int) -> Machine:
    return Machine(serial, model, date(year, 2, 1), date(year, 3, 1))


def past(year: int, cause: str | None = "low_fill") -> PastRepair:
    return PastRepair(datetime(year, 6, 1, tzinfo=UTC), f"{year}", cause, usd("120.00"))


def test_each_model_is_fitted_to_its_own_machines_and_failures() -> None:
    machines = [machine("A", "LH-20", 2024), machine("B", "LH-20", 2022), machine("C", "LH-30", 2025)]
    repairs = [("A", past(2025)), ("B", past(2023)), ("B", past(2024)), ("B", past(2025, None))]
    small, large = fleets(machines, [*repairs, ("A", past(2023))], NOW)  # the last is from before its service
    assert (small.model, small.machines, small.failures) == ("LH-20", 2, 3)
    assert small.years == pytest.approx(6.0, abs=0.01)
    assert small.fleet is not None and small.fleet.failures_a_year == pytest.approx(0.5, abs=0.01)
    assert small.fleet.failures_a_year == pytest.approx(
        fit_fleet([(1, 2.0), (2, 4.0)]).failures_a_year, rel=0.01
    )
    assert (large.failures, large.fleet) == (0, None)
