"""The days by which a database finds warranty that ends soon, against the answer for each machine."""

from __future__ import annotations

from datetime import date, timedelta

from tests import ROOT
from triage.decide.spending.ending import Ending, endings, ends_of
from triage.records.report import Machine
from triage.rulebook.reading.reader import read_rulebook

TODAY, LAST = date(2026, 11, 27), date(2027, 1, 26)


def _picked(ending: Ending, machine: Machine) -> bool:
    """As the database puts it."""
    if (ending.models and machine.model not in ending.models) or machine.model in ending.other_models:
        return False
    start = machine.shipped_on if ending.from_ship_date else machine.commissioned_on or machine.shipped_on
    by_the_end = start <= ending.last
    if ending.capped_first is not None and ending.capped_last is not None:
        if machine.shipped_on < ending.capped_first:
            return False
        by_the_end = by_the_end or machine.shipped_on <= ending.capped_last
    return start >= ending.first and by_the_end


def test_the_picked_are_those_whose_warranty_ends_on_one_of_the_days() -> None:
    rulebook = read_rulebook(ROOT / "rules")
    found = tuple(endings(rulebook, TODAY, LAST))
    picked = 0
    for age in range(1, 2200, 3):
        shipped = TODAY - timedelta(days=age)
        for later in (None, 0, 29, 200, 400):
            commissioned = None if later is None else shipped + timedelta(days=later)
            if commissioned is not None and commissioned > TODAY:
                continue
            machine = Machine("LH20-1", "LH-20", shipped, commissioned)
            ends = ends_of(rulebook, machine, TODAY, LAST)
            assert any(_picked(one, machine) for one in found) == bool(ends), (shipped, commissioned, ends)
            picked += bool(ends)
    assert picked > 100


def test_it_is_said_what_ends_and_when() -> None:
    rulebook = read_rulebook(ROOT / "rules")
    machine = Machine("LH20-1", "LH-20", date(2025, 12, 1), date(2026, 1, 10))
    ends = ends_of(rulebook, machine, TODAY, LAST)
    assert ends["default labor"] == date(2027, 1, 10)
    assert "default parts" not in ends
