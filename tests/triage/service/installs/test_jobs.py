"""An installation from plan to live: what is judged, what blocks, and who is called back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event

from tests.installs import ALL, DATE, PLAN, SURVEY, WORK, install_files
from tests.triage.services import AGENT, FOGLINE, OPS, TERN, Clock, running_service
from triage.records.installs.job import CalledBack
from triage.service import machines
from triage.service.installs import jobs, view
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError, NotFoundError


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock, install_files()) as made:
        yield made


def planned(service: Service) -> str:
    return jobs.plan(service, PLAN, AGENT).install.id


def played(service: Service, *steps: dict[str, Any]) -> view.InstallView:
    """A new installation after these steps of its installer."""
    name = planned(service)
    for step in steps:
        jobs.step(service, name, step, FOGLINE)
    return view.one(service, name, FOGLINE)


def change(steps: tuple[dict[str, Any], ...], number: int, **answers: Any) -> tuple[dict[str, Any], ...]:
    """The steps with other answers in one of them; `__` is the slash of a place."""
    told = {place.replace("__", "/"): value for place, value in answers.items()}
    step = {**steps[number], "answers": {**steps[number]["answers"], **told}}
    return (*steps[:number], step, *steps[number + 1 :])


def test_all_that_passes_goes_live_and_the_machine_stands_commissioned(service: Service) -> None:
    seen = played(service, *ALL)
    assert (seen.install.state, seen.items) == ("live", ())
    record = machines.machine(service, "LH20-1", AGENT)
    assert {one.result for one in record.findings} == {"passed"}
    assert record.history.care[-1].kind == "commissioned"


def test_what_blocks_keeps_it_back_and_calls_the_installer_back_at_no_charge(service: Service) -> None:
    seen = played(service, *change(ALL, 3, water_test__leaked=True, points__tray_in=False))
    assert seen.install.state == "call_back"
    assert [item.point for item in seen.blocking] == ["water_test"]
    assert {item.point: item.until for item in seen.items}["tray_in"] == date(2026, 3, 4)
    assert seen.install.called_back == CalledBack("fogline", date(2026, 3, 5), "open: Water test")
    assert machines.machine(service, "LH20-1", AGENT).history.care[-1].kind != "commissioned"
    again = {**DATE, "at": "2026-03-04T09:00:00-05:00"}
    with pytest.raises(InputError, match="fogline installed it and comes back"):
        jobs.step(service, seen.install.id, {**again, "contractor": "tern"}, AGENT)
    back = jobs.step(service, seen.install.id, again, FOGLINE)
    assert back.install.visit is not None
    assert back.install.visit.free
    assert b"No charge" in view.calendar(service, seen.install.id, FOGLINE)
    jobs.step(service, seen.install.id, {"step": "set_up", "answers": {"water_test/leaked": False}}, FOGLINE)
    done = jobs.step(service, seen.install.id, {"step": "finish"}, FOGLINE)
    assert (done.install.state, [item.point for item in done.items]) == ("live", ["tray_in"])


def test_an_item_with_a_date_is_late_once_that_is_past(service: Service, clock: Clock) -> None:
    seen = played(service, *change(ALL, 3, points__tray_in=False))
    assert (seen.install.state, seen.late) == ("live", ())
    clock.move(days=3)
    assert [item.point for item in view.one(service, seen.install.id, OPS).late] == ["tray_in"]
    promise = {"step": "promise", "point": "tray_in", "until": "2026-03-20", "why": "It is on order."}
    assert jobs.step(service, seen.install.id, promise, AGENT).late == ()
    fixed = {"step": "set_up", "answers": {"points/tray_in": True}}
    before = machines.machine(service, "LH20-1", AGENT)
    assert jobs.step(service, seen.install.id, fixed, FOGLINE).items == ()
    after = machines.machine(service, "LH20-1", AGENT)
    assert {one.id for one in before.findings if one.result == "failed"} == {"tray_in"}
    assert {one.result for one in after.findings} == {"passed"}
    assert before.care.full_clean is not None
    assert after.care.full_clean is not None
    assert after.care.full_clean.due == before.care.full_clean.due, "it was not cleaned for that"


def test_one_that_turns_out_bad_later_is_called_back(service: Service) -> None:
    seen = played(service, *ALL)
    back = {"step": "call_back", "why": "It knocks: the bolt is still in."}
    with pytest.raises(ConflictError, match="is for the desk"):
        jobs.step(service, seen.install.id, back, FOGLINE)
    assert jobs.step(service, seen.install.id, back, AGENT).install.state == "call_back"


def test_parts_that_are_missing_are_named_and_block(service: Service) -> None:
    short = ({"step": "kit", "counts": {**WORK[0]["counts"], "tap_ring": 1}}, *WORK[1:])
    seen = played(service, *ALL[:2], *short)
    assert [(item.point, item.found, item.wanted, item.fix) for item in seen.blocking] == [
        ("kit:tap_ring", "1", "2", "1 short")
    ]


def test_nobody_is_sent_before_the_site_passes(service: Service) -> None:
    name = planned(service)
    with pytest.raises(ConflictError, match=r"Circuit of its own, Breaker, Voltage at the outlet"):
        jobs.step(service, name, DATE, AGENT)
    jobs.step(service, name, {"step": "survey", "answers": {**SURVEY, "circuit/volts": 109}}, AGENT)
    with pytest.raises(ConflictError, match="does not pass: Voltage at the outlet"):
        jobs.step(service, name, DATE, AGENT)


def test_the_date_is_an_entry_for_a_calendar(service: Service) -> None:
    seen = played(service, *ALL[:2])
    lines = view.calendar(service, seen.install.id, FOGLINE).decode().replace("\r\n ", "")
    assert "DTSTART:20260303T140000Z" in lines
    assert "SUMMARY:Installation: LH-20 at Lanternway Alder Quay" in lines


@pytest.mark.parametrize(
    ("number", "wrong", "place", "words"),
    [
        (0, {"answers": {"circuit/volts": "120"}}, "/answers/circuit~1volts", "without quotes"),
        (0, {"answers": {"circuit/volt": 120}}, "/answers/circuit~1volt", "did you mean"),
        (0, {"answers": {}}, "/answers", "nothing to store"),
        (1, {"at": "2031-03-02T09:00:00-05:00"}, "/at", "180 days ahead"),
        (1, {"at": "2026-03-01T09:00:00-05:00"}, "/at", "from now"),
        (2, {"counts": {"auger": -1}}, "/counts/auger", "from 0"),
        (2, {"machine": "LH30-2"}, "/machine", "is a LH-30"),
        (3, {"answers": {"points/tray_in": "yes"}}, "/answers/points~1tray_in", "true or false"),
        (3, {"answers": {"legs/front_left_in": 4}}, "/answers/legs~1back_left_in", "is missing"),
        (3, {"answers": {"opening/sat": "7-22"}}, "/answers/opening~1sat", "05:30"),
        (3, {"answers": {"clock/timezone": "Eastern"}}, "/answers/clock~1timezone", "Eastern"),
        (4, {"people": ["nobody"]}, "/people", "who were trained"),
        (4, {"watched": False}, "/watched", "before you sign"),
        (4, {"topics": ["cleaning"]}, "/topics/0", "no topic"),
        (4, {"signed": ""}, "/signed", "write a sentence"),
    ],
)
def test_what_cannot_be_is_refused_at_its_place(
    service: Service, number: int, wrong: dict[str, Any], place: str, words: str
) -> None:
    name = planned(service)
    for each in ALL[:number]:
        jobs.step(service, name, each, FOGLINE)
    before = view.one(service, name, FOGLINE).install
    with pytest.raises(InputError) as raised:
        jobs.step(service, name, {**ALL[number], **wrong}, FOGLINE)
    assert any(one.pointer == place and words in one.message for one in raised.value.problems)
    assert view.one(service, name, FOGLINE).install == before


def test_a_step_out_of_turn_is_refused_and_says_what_can_come(service: Service) -> None:
    name = planned(service)
    with pytest.raises(ConflictError, match="kit cannot come now; what can is survey, date"):
        jobs.step(service, name, WORK[0], FOGLINE)


def test_a_serial_that_reads_otherwise_keeps_it_back(service: Service) -> None:
    wrong = change(ALL, 5, points__serial_read_back="LH20-7")
    assert [item.point for item in played(service, *wrong).blocking] == ["serial_read_back"]


def test_another_contractor_sees_nothing_of_it(service: Service) -> None:
    seen = played(service, ALL[0])
    with pytest.raises(NotFoundError):
        view.one(service, seen.install.id, TERN)
    assert view.listed(service, TERN) == []
    assert [one.install.id for one in view.listed(service, FOGLINE)] == [seen.install.id]


def test_a_machine_is_installed_once_and_where_it_stands(service: Service) -> None:
    planned(service)
    with pytest.raises(ConflictError, match="being installed already"):
        planned(service)
    with pytest.raises(ConflictError, match="stands at halt-023"):
        jobs.plan(service, {"site": "halt-001", "machine": "LH30-2"}, OPS)


@pytest.mark.parametrize(
    ("wrong", "place"),
    [
        ({"site": "halt-9"}, "/site"),
        ({"machine": "LH99-1"}, "/machine"),
        ({"machine": None}, "/model"),
        ({"model": "LH-30"}, "/model"),
        ({"contractor": "nobody"}, "/contractor"),
        ({"sight": "halt-001"}, "/sight"),
    ],
)
def test_a_plan_that_cannot_be_is_refused(service: Service, wrong: dict[str, Any], place: str) -> None:
    with pytest.raises(InputError) as raised:
        jobs.plan(service, {**PLAN, **wrong}, AGENT)
    assert place in [one.pointer or "" for one in raised.value.problems]
    assert view.listed(service, AGENT) == []


def test_a_version_that_has_moved_on_is_refused(service: Service) -> None:
    name = planned(service)
    jobs.step(service, name, ALL[0], FOGLINE, 1)
    with pytest.raises(ConflictError, match="at version 2, not 1"):
        jobs.step(service, name, ALL[0], FOGLINE, 1)


def test_a_list_asks_the_database_no_more_often_for_many_than_for_one(service: Service) -> None:
    """Two stores, machines that are known and not, and photos; counted as statements."""
    said: list[str] = []

    def asked() -> int:
        said.clear()
        view.listed(service, OPS)
        return len(said)

    def note(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        said.append(statement)

    planned(service)
    event.listen(Engine, "before_cursor_execute", note)
    try:
        one = asked()
        for _ in range(5):
            jobs.plan(service, {"site": "halt-023", "model": "LH-30", "contractor": "tern"}, AGENT)
        many = asked()
    finally:
        event.remove(Engine, "before_cursor_execute", note)
    assert len(view.listed(service, OPS)) == 6
    assert one == many > 0
