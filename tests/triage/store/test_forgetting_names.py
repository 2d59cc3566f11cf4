"""Names of people in trainings, care and installations are erased wherever they lie; what was done stays."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError

from tests.installs import ALL, DATE, PLAN, SET_UP, install_files
from tests.triage.service.installs.test_training import tables_that_say as tables_in_any_order
from tests.triage.services import AGENT, FOGLINE, NOON, OPS, REPORT, Clock, running_service
from triage.cli.main import run
from triage.records.callers_words import ERASED
from triage.service import machines, tickets
from triage.service.fleet import care
from triage.service.installs import jobs, view
from triage.service.service import Service
from triage.service.what_if import explain
from triage.store.forgetting import ForgottenNames
from triage.store.migrate import alembic_config

KEEPER, INSTALLER, CLERK = "Dana Poole", "Otto Quist", "Ivo Lark"
SAID = {
    "date": {**DATE, "technician": INSTALLER},
    "set_up": {"step": "set_up", "answers": {**SET_UP, "points/bolt_kept_by": f"{KEEPER}, store lead"}},
    "training": {**ALL[4], "people": [KEEPER, CLERK], "signed": KEEPER, "by": INSTALLER},
}


@pytest.fixture
def service(store_url: str, tmp_path: Path) -> Iterator[Service]:
    """LH20-1 went live, was cleaned and rinsed by people who signed, and was reported."""
    with running_service(tmp_path, Clock(), install_files(), store_url) as made:
        name = jobs.plan(made, {**PLAN, "note": f"ask for {KEEPER}"}, AGENT).install.id
        for step in ALL:
            jobs.step(made, name, SAID.get(step["step"], step), FOGLINE)
        jobs.step(made, name, {"step": "call_back", "why": f"{INSTALLER} left the lid off"}, AGENT)
        with made.store.write() as work:
            held = work.care_list.make_link("halt-001", "ops", NOON, NOON.replace(month=4))
        care.done_by_link(made, held, "LH20-1", "full_clean", "left", CLERK, b"")
        rinsed = {"kind": "filter_cleaned", "details": {"note": f"{CLERK} rinsed it", "side": "left"}}
        machines.record_care(made, "LH20-1", rinsed, AGENT)
        tickets.open_ticket(made, REPORT, AGENT)
        yield made


def tables_that_say(service: Service, name: str) -> list[str]:
    return sorted(tables_in_any_order(service, name))


def results(seen: machines.MachineView) -> dict[str, str]:
    return {one.id: one.result for one in seen.findings}


def install(service: Service) -> str:
    return view.listed(service, OPS)[0].install.id


def test_names_stand_apart_from_the_logs_and_in_no_decision(service: Service) -> None:
    assert tables_that_say(service, INSTALLER) == ["install_events", "trainings"]
    assert tables_that_say(service, CLERK) == ["care_events", "trainings"]
    assert tables_that_say(service, KEEPER) == ["care_events", "install_events", "trainings"]
    seen = view.one(service, install(service), OPS).install
    assert (seen.note, seen.answers["points/bolt_kept_by"]) == (f"ask for {KEEPER}", f"{KEEPER}, store lead")
    assert (seen.visits[0].technician, seen.trained[0].by) == (INSTALLER, INSTALLER)
    log = machines.machine(service, "LH20-1", OPS).history.care
    assert [(one.by, one.details.get("signed")) for one in log[-2:]] == [(CLERK, CLERK), ("desk", None)]
    decided = str(tickets.events(service, "T-000001", OPS)[1].payload)
    assert "fully_cleaned" in decided
    assert not any(name in decided for name in (KEEPER, INSTALLER, CLERK))


def test_each_name_goes_and_the_others_stay(service: Service) -> None:
    before = machines.machine(service, "LH20-1", OPS)
    with service.store.write() as work:
        forget = work.forgetting.forget_name
        assert forget("clerk", NOON.date()) == ForgottenNames()
        assert forget("ivo lark", NOON.date()) == ForgottenNames(1, 2, 0)
    assert tables_that_say(service, CLERK) == []
    assert tables_that_say(service, KEEPER) == ["care_events", "install_events", "trainings"]
    with service.store.write() as work:
        assert work.forgetting.forget_name(KEEPER, NOON.date()) == ForgottenNames(2, 1, 2)
        assert work.forgetting.forget_name(INSTALLER, NOON.date()) == ForgottenNames(2, 0, 2)
    assert tables_that_say(service, KEEPER) == tables_that_say(service, INSTALLER) == []
    seen, after = view.one(service, install(service), OPS).install, machines.machine(service, "LH20-1", OPS)
    assert (seen.note, seen.answers["points/bolt_kept_by"]) == (ERASED, ERASED)
    assert (seen.trained[0].by, seen.trained[0].signed, seen.people) == (ERASED, ERASED, (ERASED,))
    assert (after.care, results(after)) == (before.care, results(before))
    assert [one.details.get("side") for one in after.history.care[-2:]] == ["left", "left"]
    assert explain(service, "T-000001").identical


def test_who_signed_long_ago_is_erased_by_age_and_who_keeps_the_bolt_is_not(service: Service) -> None:
    with service.store.write() as work:
        assert work.forgetting.forget_old_names(NOON).care == 0
        assert work.forgetting.forget_old_names(NOON.replace(year=2027)) == ForgottenNames(0, 2, 0)
    assert tables_that_say(service, CLERK) == ["trainings"]
    assert "care_events" in tables_that_say(service, KEEPER)


@pytest.mark.parametrize("table", ["care_events", "install_events"])
@pytest.mark.parametrize("change", ["words = words || 'x'", "words = '[]' || words", "at = at", "kind = 'x'"])
def test_what_was_said_can_only_get_less(service: Service, table: str, change: str) -> None:
    engine = create_engine(service.store.url)
    with pytest.raises(DBAPIError, match="only added to"), engine.begin() as connection:
        connection.execute(text(f"UPDATE {table} SET {change}"))
    engine.dispose()


def test_older_logs_give_their_names_up_and_take_them_back(service: Service) -> None:
    with service.store.write() as work:
        work.forgetting.forget_name(CLERK, NOON.date())
    logs = view.one(service, install(service), OPS).install, machines.machine(service, "LH20-1", OPS).history
    engine, config = create_engine(service.store.url), alembic_config()
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0044")
        logs_then = 'SELECT payload FROM install_events UNION ALL SELECT "by" || details FROM care_events'
        said = "".join(connection.scalars(text(logs_then)))
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    engine.dispose()
    assert all(name in said for name in (f"{KEEPER}, store lead", f'"technician":"{INSTALLER}"'))
    assert said.count(f'"by":"{INSTALLER}"') == 1
    assert CLERK not in said
    after = view.one(service, install(service), OPS).install, machines.machine(service, "LH20-1", OPS).history
    assert after == logs
    with service.store.write() as work:
        assert work.forgetting.forget_name(KEEPER, NOON.date()) == ForgottenNames(2, 1, 2)


def test_the_command(
    service: Service, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BARRELWISE_DATABASE", service.store.url)
    assert run(["forget", "--name", "x", "--yes"]) == 2
    assert run(["forget", "--name", "Nobody Known", "--yes"]) == 2
    assert "stands in no training, care log or installation" in capsys.readouterr().err
    assert run(["forget", "--name", f" {CLERK.upper()} ", "--yes"]) == 0
    assert capsys.readouterr().err == "erased in 1 trainings, 2 of care and 0 of installations\n"
    assert tables_that_say(service, CLERK) == []
