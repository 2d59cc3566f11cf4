"""What the database keeps beside the log and the records, held against what it is worked out from."""

from __future__ import annotations

from sqlalchemy import select

from triage.machine.commissioning.recorded import checklist_of, judge_of, judged
from triage.rulebook.model import CareIntervals, Rulebook
from triage.store import Store, Work
from triage.store.tables.derived.care_months import CareMonthRow, Kept
from triage.store.tables.derived.machine_months import MachineMonthRow


def assert_kept_is_worked_out(store: Store, rulebook: Rulebook) -> None:
    with store.read() as work:
        assert _calls(work) == _calls_worked_out(work)
        for first, intervals, found in _care_months(work):
            assert found == work.care_months.month(first, intervals), first
        for serial, points in work.judged.known(judge_of(rulebook)).items():
            assert points == points_of(work, rulebook, serial), serial


def _calls(work: Work) -> dict[tuple[str, object], tuple[int, int]]:
    row = MachineMonthRow
    query = select(row.machine, row.first, row.calls, row.seconds).where(row.calls != 0)
    return {(machine, first): tuple(found) for machine, first, *found in work.tickets._session.execute(query)}


def _calls_worked_out(work: Work) -> dict[tuple[str, object], tuple[int, int]]:
    rows = work.tickets._session.execute(work.machine_months.worked_out())
    return {(machine, first): tuple(found) for machine, first, *found in rows}


def _care_months(work: Work) -> list[tuple[object, CareIntervals, Kept]]:
    rows = work.tickets._session.scalars(select(CareMonthRow).where(CareMonthRow.kept.is_not(None)))
    return [
        (row.first, CareIntervals(row.filter_days, row.full_clean_days), row.as_record(Kept)) for row in rows
    ]


def points_of(work: Work, rulebook: Rulebook, serial: str) -> tuple[int, int]:
    """Points missing and failed of a machine's last commissioning, from its record and its care log."""
    machine, done = work.machines.get(serial), work.care.history(serial).care
    last = max((event for event in done if event.kind == "commissioned"), key=lambda event: event.at)
    results = [one.result for one in judged(rulebook, machine, checklist_of(last.details))]
    return results.count("missing"), results.count("failed")
