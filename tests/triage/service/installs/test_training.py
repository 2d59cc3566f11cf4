"""The register of training: fed by installations, kept later, due again, and names that can be erased."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from sqlalchemy import create_engine, inspect, text

from tests.installs import ALL, PLAN, install_files
from tests.triage.services import AGENT, FOGLINE, OPS, REPORT, TERN, Clock, running_service
from triage.records.callers_words import ERASED
from triage.service import machines, tickets
from triage.service.installs import guide, jobs, training, view
from triage.service.installs.training import Store
from triage.service.service import Service
from triage.service.what_if import explain
from triage.store.forgetting import ForgottenNames
from triage.store.migrate import alembic_config
from triage.store.tables.idempotency import StoredResponse
from triage.values.errors import ConflictError, InputError, NotFoundError

TOPICS = ("fill", "filter", "clean", "set_up", "dangers")
NOTED: dict[str, Any] = {
    "site": "halt-001",
    "people": ["Ana Ruiz"],
    "topics": [*TOPICS],
    "signed": "Dana Poole",
}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(store_url: str, tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock, install_files(), store_url) as made:
        yield made


def installed(service: Service) -> str:
    """An installation that is live; Dana Poole and Ray Oak were trained on filling and cleaning."""
    name = jobs.plan(service, PLAN, AGENT).install.id
    for step in ALL:
        said = {**step, "people": ["Dana Poole", "Ray Oak"], "signed": "Dana Poole"}
        jobs.step(service, name, said if step["step"] == "training" else step, FOGLINE)
    return name


def at(service: Service, site: str = "halt-001") -> Store:
    (found,) = training.stores(service, OPS, "all", {"site": site})
    return found


def tables_that_say(service: Service, name: str) -> list[str]:
    engine = create_engine(service.store.url)
    with engine.connect() as connection:
        found = [
            table
            for table in inspect(engine).get_table_names()
            if name in str(connection.execute(text(f"SELECT * FROM {table}")).all())
        ]
    engine.dispose()
    return found


def test_an_installation_writes_its_training_into_the_register(service: Service) -> None:
    name = installed(service)
    store = at(service)
    assert [(one.person, one.topics, one.install) for one in reversed(store.found.here)] == [
        ("Dana Poole", ("fill", "clean"), name),
        ("Ray Oak", ("fill", "clean"), name),
    ]
    assert (store.standing, store.found.missing) == ("due", ("filter", "set_up", "dangers"))
    assert view.one(service, name, OPS).install.people == ("Dana Poole", "Ray Oak")


def test_a_store_is_due_again_a_year_later_and_soon_before_that(service: Service, clock: Clock) -> None:
    training.note(service, NOTED, AGENT)
    assert (at(service).standing, at(service).found.due_on) == ("kept", date(2027, 3, 2))
    clock.move(days=365 - 30)
    assert at(service).standing == "soon"
    clock.move(days=30)
    assert at(service).standing == "soon"
    clock.move(days=1)
    assert (at(service).standing, at(service).found.missing) == ("due", TOPICS)
    assert [one.site.id for one in training.stores(service, OPS, "due", {})] == ["halt-001", "halt-023"]


def test_a_store_is_due_again_when_the_one_who_knew_leaves(service: Service) -> None:
    first = training.note(service, NOTED, AGENT).found.here[0].id
    training.note(service, {**NOTED, "people": ["Ben Low"], "topics": ["fill"]}, AGENT)
    training.note(service, {**NOTED, "people": ["ana ruiz"], "topics": ["fill"]}, AGENT)
    after = training.left(service, first, {"on": "2026-03-01"}, AGENT)
    assert [one.person for one in after.found.here] == ["Ben Low"]
    assert {one.left_on for one in after.found.left} == {date(2026, 3, 1)}
    assert (after.standing, after.found.missing) == ("due", TOPICS[1:])
    with pytest.raises(ConflictError, match="Ana Ruiz left on 2026-03-01"):
        training.left(service, first, {}, AGENT)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"site": "halt-01"}, "/site"),
        ({"people": []}, "/people"),
        ({"people": ["nobody"]}, "/people"),
        ({"topics": ["filling"]}, "/topics/0"),
        ({"topics": []}, "/topics"),
        ({"signed": ""}, "/signed"),
        ({"at": "2026-03-03T09:00:00-05:00"}, "/at"),
        ({"person": "Ana"}, "/person"),
    ],
)
def test_what_cannot_be_noted_is_said_at_its_place(
    service: Service, change: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InputError) as refused:
        training.note(service, {**NOTED, **change}, AGENT)
    assert pointer in [one.pointer for one in refused.value.problems]
    assert at(service).found.here == ()


def test_a_technician_keeps_the_stores_of_the_own_contractor(service: Service) -> None:
    training.note(service, NOTED, FOGLINE)
    assert [one.site.id for one in training.stores(service, TERN, "all", {})] == ["halt-023"]
    with pytest.raises(NotFoundError):
        training.note(service, NOTED, TERN)
    with pytest.raises(NotFoundError):
        training.left(service, at(service).found.here[0].id, {}, TERN)


@pytest.mark.parametrize(
    ("view_", "filters"), [("later", {}), ("all", {"site": "x"}), ("all", {"contractor": "x"})]
)
def test_a_filter_that_there_is_not_is_named(service: Service, view_: str, filters: dict[str, str]) -> None:
    with pytest.raises(InputError, match="no "):
        training.stores(service, OPS, view_, filters)


FACTS = {
    f"facts/{name}.yml": {"id": name, "title": name, "type": "number", "asked_of": "computed"}
    for name in ("training_missing", "training_due_days")
}


def known_of(service: Service) -> dict[str, object]:
    """The facts about training that a report is decided on, as the decision says them."""
    facts = tickets.open_ticket(service, REPORT, AGENT).decision["facts"]
    assert {facts[name]["from"] for name in facts if name.startswith("training_")} <= {"record"}
    return {name: facts[name]["value"] for name in facts if name.startswith("training_")}


def test_a_report_is_decided_on_how_the_store_is_trained_now(
    store_url: str, tmp_path: Path, clock: Clock
) -> None:
    files = install_files() | FACTS
    with running_service(tmp_path, clock, files, store_url) as service:
        assert known_of(service) == {}  # nothing is on record: it is not known, and not taken for untrained
        first = training.note(service, {**NOTED, "topics": ["fill", "clean"]}, AGENT).found.here[0].id
        assert known_of(service) == {"training_missing": 3, "training_due_days": 365}
        training.note(service, NOTED, AGENT)
        clock.move(days=360)
        assert known_of(service) == {"training_missing": 0, "training_due_days": 5}
        clock.move(days=6)
        assert known_of(service) == {"training_missing": 5}
        training.left(service, first, {}, AGENT)
        assert known_of(service) == {"training_missing": 5}
        assert all(explain(service, one.id).identical for one in tickets.listed(service, "all"))


def test_an_erased_name_stands_nowhere_and_counts_as_somebody_who_left(service: Service) -> None:
    name = installed(service)
    assert tables_that_say(service, "Ray Oak") == ["trainings"]
    with service.store.write() as work:
        kept = StoredResponse("x", 201, {}, {"people": ["ray oak"]})
        work.responses.keep("desk", "a key", kept, service.now())
        assert work.forgetting.forget_name("ray oak", date(2026, 3, 2)).trainings == 1
        assert work.forgetting.forget_name("Dana Poole", date(2026, 3, 2)).trainings == 2
        assert work.forgetting.forget_name("Nobody Known", date(2026, 3, 2)) == ForgottenNames()
        assert work.responses.find("desk", "a key") is None
    for person in ("Ray Oak", "Dana Poole"):
        assert tables_that_say(service, person) == []
    assert at(service).standing == "due"
    seen = view.one(service, name, OPS)
    assert (seen.install.state, seen.install.people, seen.items) == ("live", (ERASED,), ())
    assert {one.result for one in machines.machine(service, "LH20-1", AGENT).findings} == {"passed"}


def test_those_who_left_long_ago_are_erased_by_age(service: Service) -> None:
    number = training.note(service, NOTED, AGENT).found.here[0].id
    training.left(service, number, {"on": "2026-02-01"}, AGENT)
    with service.store.write() as work:
        forget = work.forgetting.forget_old_names
        days = (datetime(2026, 2, day, tzinfo=UTC) for day in (1, 2, 2))
        assert [forget(day).trainings for day in days] == [0, 1, 0]
    assert [one.person for one in at(service).found.left] == [ERASED]


def test_the_names_of_an_older_log_move_into_the_register(service: Service) -> None:
    name = installed(service)
    before, store = view.one(service, name, OPS).install, at(service).data()
    engine, config = create_engine(service.store.url), alembic_config()
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0041")
        (said,) = connection.execute(
            text("SELECT payload FROM install_events WHERE kind = 'trained'")
        ).scalars()
        assert "Ray Oak" in said
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    engine.dispose()
    assert view.one(service, name, OPS).install == before
    assert at(service).data() == store
    assert tables_that_say(service, "Ray Oak") == ["trainings"]


def test_the_guide_of_a_model_leaves_out_what_it_does_not_have(service: Service) -> None:
    with pytest.raises(NotFoundError, match="no model"):
        guide.guide(service, "LH-99")
