"""What is kept of a fleet stays what it is worked out from, whatever is written down afterwards."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event

from tests.triage.kept import assert_kept_is_worked_out, points_of
from tests.triage.services import AGENT, ALDER, NOON, OPS, REPORT, Clock, rulebook_files, running_service
from triage.machine.commissioning.recorded import judge_of
from triage.records.report import CareEvent
from triage.repairs.acting import Calls
from triage.repairs.period import Period
from triage.rulebook.reading.reader import rulebook_from_data
from triage.service import calls, machines, tickets
from triage.service.fleet import care, commissioning
from triage.service.fleet.acting import to_act
from triage.service.service import Service

CHECKLIST = {
    "circuit": {"dedicated": True, "volts": 115, "amps": 20},
    "clearance": {"behind_in": 4, "left_in": 4, "right_in": 4},
    "clock": {"right": True, "timezone": "America/New_York"},
    "night_mode": {"start": "23:00", "end": "05:00"},
    "points": {"plate": "LH20-1", "tag": "LW-0001"},
}
READ = {"stage": "hand_over", "type": "text", "fix": "Read it again."}
POINTS = {
    "points": [
        {"id": "plate", "title": "Serial", "ask": "Which serial?", "same_as": "serial", **READ},
        {"id": "tag", "title": "Asset tag", "ask": "Which tag?", "same_as": "asset_tag", **READ},
    ]
}
DONE = NOON - timedelta(days=20)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, store_url: str, clock: Clock) -> Iterator[Service]:
    """LH20-1 was commissioned; the rulebook reads its serial and asset tag back."""
    files = rulebook_files(**{"installation.yml": POINTS})
    with running_service(tmp_path, clock, files, store_url) as running:
        with running.store.write() as work:
            work.care.add_care("LH20-1", [CareEvent("commissioned", DONE, "Robin Vale", CHECKLIST)])
        yield running


@contextmanager
def once_read(service: Service, table: str, meanwhile: Callable[[], object]) -> Iterator[list[str]]:
    """Right after the first query of a table inside the block, another thread does something."""
    engine, done = service.store._engine, []

    def told(_: Any, __: Any, statement: str, *___: Any) -> None:
        if not done and statement.startswith("SELECT") and f"FROM {table}" in statement:
            done.append(statement)
            other = threading.Thread(target=meanwhile)
            other.start()
            other.join()

    event.listen(engine, "after_cursor_execute", told)
    try:
        yield done
    finally:
        event.remove(engine, "after_cursor_execute", told)
    assert done


def _known(service: Service) -> dict[str, tuple[int, int]]:
    with service.store.read() as work:
        return work.judged.known(judge_of(service.rulebook))


def test_serial_and_tag_are_read_back_against_the_record(service: Service) -> None:
    assert commissioning.judge(service) == 0
    with service.store.read() as work:
        assert _known(service) == {"LH20-1": points_of(work, service.rulebook, "LH20-1")}
    (before,) = to_act(service, None, None).incomplete
    with service.store.write() as work:
        machine = work.machines.get("LH20-1")
        work.machines.put_machines([replace(machine, asset_tag="LW-0099")])
    (after,) = to_act(service, None, None).incomplete
    assert (after.failed, after.missing) == (before.failed + 1, before.missing)


def _another_zone(service: Service) -> None:
    with service.store.write() as work:
        work.machines.put_sites([replace(ALDER, timezone="America/Chicago")])


def _another_checklist(service: Service) -> None:
    done = {"at": NOON.isoformat(), "kind": "commissioned", "details": {"circuit": {"dedicated": False}}}
    machines.record_care(service, "LH20-1", done, OPS)


def _an_older_checklist(service: Service) -> None:
    with service.store.write() as work:
        work.care.add_care("LH20-1", [CareEvent("commissioned", DONE - timedelta(days=9), "van", {})])


def _elsewhere(service: Service) -> None:
    with service.store.write() as work:
        work.machines.put_machines([replace(work.machines.get("LH20-1"), site=None)])


def _a_name_erased(service: Service) -> None:
    with service.store.write() as work:
        assert work.care.forget("Robin Vale") == 1


@pytest.mark.parametrize(
    "change", [_another_zone, _another_checklist, _an_older_checklist, _elsewhere, _a_name_erased]
)
def test_whatever_a_machine_is_judged_by_has_it_judged_anew(
    service: Service, change: Callable[[Service], None]
) -> None:
    commissioning.judge(service)
    change(service)
    assert _known(service) == {}
    commissioning.judge(service)
    with service.store.read() as work:
        assert _known(service) == {"LH20-1": points_of(work, service.rulebook, "LH20-1")}


def test_what_changes_while_it_is_judged_is_not_kept(service: Service) -> None:
    with once_read(service, "machines JOIN care_events", lambda: _another_checklist(service)):
        commissioning.judge(service)
    assert _known(service) == {}


def test_another_rulebook_judges_anew_where_it_says_something_else_of_it(service: Service) -> None:
    files = rulebook_files(**{"installation.yml": POINTS})
    fewer = rulebook_from_data({**files, "installation.yml": {"points": POINTS["points"][:1]}})
    assert judge_of(fewer) != judge_of(service.rulebook)
    elsewhere = {name: told for name, told in files.items() if name != "policy/fix-first.yml"}
    assert rulebook_from_data(elsewhere).version != service.rulebook.version
    assert judge_of(rulebook_from_data(elsewhere)) == judge_of(service.rulebook)


def test_many_are_judged_beside_and_said(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    service.store.to_sum = threading.Event()
    monkeypatch.setattr(commissioning, "MOST", 0)
    found = to_act(service, None, None)
    assert (found.to_judge, found.incomplete) == (1, ())
    assert service.store.to_sum.is_set()
    assert [*commissioning.judging(service)] == ["LH20-1"]
    found = to_act(service, None, None)
    assert (found.to_judge, len(found.incomplete)) == (0, 1)


def test_a_month_of_care_that_changes_while_it_is_worked_out_is_not_kept(
    service: Service, clock: Clock
) -> None:
    care.kept_by_month(service)  # all that are over but March
    clock.time = datetime(2026, 4, 2, 12, tzinfo=UTC)
    cleaned = CareEvent("fully_cleaned", datetime(2026, 2, 27, tzinfo=UTC), "store")

    def clean() -> None:
        with service.store.write() as work:
            work.care.add_care("LH20-1", [cleaned])

    with once_read(service, "(SELECT", clean):
        before = care.kept_by_month(service)
    assert_kept_is_worked_out(service.store, service.rulebook)
    after = care.kept_by_month(service)
    assert (before[-1].found.kept, after[-1].found.kept) == (0, 1)


def test_calls_are_counted_where_a_machine_is_named_later(service: Service, clock: Clock) -> None:
    unknown = {name: told for name, told in REPORT.items() if name != "machine"}
    opened = tickets.open_ticket(service, unknown, AGENT)
    clock.move(days=40)
    calls.add_details(service, opened.id, {"machine": "LH20-1"}, AGENT, None)
    tickets.open_ticket(service, REPORT, AGENT)
    assert_kept_is_worked_out(service.store, service.rulebook)
    with service.store.read() as work:
        whole = work.machine_months.calls(Period(NOON.date().replace(day=1), clock.time.date()))
        march = work.machine_months.calls(Period(NOON.date(), NOON.date()))
    assert (whole["LH20-1"][1].count, march["LH20-1"][1].count) == (2, 1)


@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("2026-03-01", "2026-05-31"),
        ("2026-03-02", "2026-04-11"),
        ("2026-02-10", "2026-05-03"),
        ("2026-03-25", "2026-04-20"),
        ("2026-03-08", "2026-04-28"),
        ("2026-03-03", "2026-03-04"),
    ],
)
def test_months_and_days_beside_them_add_up(service: Service, clock: Clock, first: str, last: str) -> None:
    moments = []
    for _ in range(30):
        clock.move(days=2, hours=7, seconds=0.75)
        tickets.open_ticket(service, {**REPORT, "reported_at": clock.time.isoformat()}, AGENT)
        moments.append(clock.time)
    period = Period(date.fromisoformat(first), date.fromisoformat(last))
    inside = [at for at in moments if period.since <= at < period.until]
    within = [(at - period.since).total_seconds() // 1 / 86_400 for at in inside]
    with service.store.read() as work:
        since, found, site = work.machine_months.calls(period)["LH20-1"]
    assert (since, site) == (date(2025, 2, 1), ALDER.id)
    assert found == Calls(len(within), pytest.approx(sum(within)))
    assert found.count or first == "2026-03-03"
