"""What a repair may come to for the program: typical costs after warranty, the deductible included."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

from tests.triage.builders import minimal_files
from tests.triage.services import MACHINES
from triage.decide.spending.repair_costs import job_for
from triage.records.report import Machine
from triage.rulebook.reading.reader import rulebook_from_data

COVERED, LATER = date(2025, 6, 1), date(2030, 1, 1)


def costs(deductible: int, on: date) -> Decimal:
    files = minimal_files()
    files["warranty/standard.yml"] = {**files["warranty/standard.yml"], "deductible": deductible}  # type: ignore[dict-item]
    return job_for(rulebook_from_data(files), {"compressor_fault": 1.0}, MACHINES[0], False, on, on).likely


def test_the_deductible_is_paid_on_what_warranty_pays() -> None:
    assert costs(0, COVERED) == 0
    assert costs(75, COVERED) == 75


def test_it_is_never_more_than_the_claim_and_nothing_without_one() -> None:
    assert costs(9000, COVERED) == costs(0, LATER)
    assert costs(75, LATER) == costs(0, LATER)


def notes(machine: Machine | None) -> tuple[str, ...]:
    rulebook = rulebook_from_data(minimal_files())
    return job_for(rulebook, {"compressor_fault": 1.0}, machine, False, LATER, LATER).notes


def test_whose_rates_apply_is_said_where_it_is_not_the_contractors_own() -> None:
    (without,) = notes(replace(MACHINES[0], contractor=None))
    (unknown,) = notes(replace(MACHINES[0], contractor="nobody"))
    assert without == "No contractor on record: the default rates apply."
    assert unknown == "The rulebook has no rate agreement with nobody: the default rates apply."
    assert notes(None) == ()
    assert notes(replace(MACHINES[0], site=None))[-1].startswith("No site on record: no distance fee")
