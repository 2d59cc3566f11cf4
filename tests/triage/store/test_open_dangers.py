"""A database of before dangers were kept, opened today: what its open tickets stopped for stands open.

`before_0010.sql` was written by the program as it was before migration 0010. T-000001 stops use for two
cautions, T-000005 for one and names no machine; T-000003 was closed with one. In T-000004 an answer took it
back, T-000002 never had any, and the caution of T-000006 stops nothing.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from alembic import command
from sqlalchemy import create_engine

from tests.triage.builders import fact, head
from tests.triage.services import AGENT, NOON, OPS, Clock, rulebook_files
from tests.triage.store.test_words_in_json import stored
from triage.decide.causes.inference import compile_rulebook
from triage.records.danger import Danger
from triage.rulebook.reading.reader import rulebook_from_data
from triage.service import machines, repairs, tickets
from triage.service.dangers import lift_danger
from triage.service.service import Service
from triage.store import open_store
from triage.store.migrate import alembic_config, upgrade

DUMP = Path(__file__).parent / "before_0010.sql"
STOPS = {"text": "Keep away.", "stop_use": True, "forbids": "all"}
CARRIED = [("T-000001", "shock", "LH20-1"), ("T-000001", "wet", "LH20-1"), ("T-000005", "wet", None)]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    database = sqlite3.connect(tmp_path / "old.db")
    database.executescript(DUMP.read_text(encoding="utf-8"))
    database.close()
    return tmp_path / "old.db"


@contextmanager
def opened(path: Path) -> Iterator[Service]:
    """Today's program, with the rulebook that the tickets were decided by."""
    rulebook = rulebook_from_data(
        rulebook_files(
            **{f"facts/{name}.yml": fact(name, "flag", danger=True) for name in ("shock_felt", "plug_wet")},
            **{
                f"cautions/{id_}.yml": head(id_, {name: True}, {name: True}, {name: False}, then=STOPS)
                for id_, name in (("shock", "shock_felt"), ("wet", "plug_wet"))
            },
        )
    )
    store = open_store(f"sqlite:///{path}")
    yield Service(
        store, rulebook, compile_rulebook(rulebook, "plain"), Clock(), None, compile_rulebook, new_id
    )
    store.close()


def new_id() -> str:
    return "T-000100"


def moved(path: Path, to: str) -> None:
    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        config = alembic_config()
        config.attributes["connection"] = connection
        step = command.downgrade if to < "0010" else command.upgrade
        step(config, to)
    engine.dispose()


def test_what_open_tickets_stop_for_comes_over_and_nothing_else(path: Path) -> None:
    moved(path, "0010")
    rows = stored(path)["open_dangers"]
    assert sorted((row[0], row[1], row[2]) for row in rows) == CARRIED
    engine = create_engine(f"sqlite:///{path}")
    upgrade(engine)
    engine.dispose()
    with opened(path) as service:
        found = {each.id: each for each in tickets.tickets(service, OPS).tickets}
        assert {id_: [one.caution for one in each.dangers.open] for id_, each in found.items()} == {
            "T-000001": ["shock", "wet"],
            "T-000002": [],
            "T-000003": [],
            "T-000004": [],
            "T-000005": ["wet"],
            "T-000006": [],
        }
        assert found["T-000001"].dangers.open[0] == Danger("shock", "caller", NOON)
        assert (found["T-000001"].priority, found["T-000001"].skill) == (1, "electrical")


def test_a_danger_that_came_over_is_one_like_any_other(path: Path) -> None:
    with opened(path) as service:
        report = {"machine": "LH20-1", "symptoms": ["not_freezing"], "answers": {"fill_level": 70}}
        other = tickets.open_ticket(service, report, AGENT)
        assert [danger.ticket for danger in other.dangers.elsewhere] == ["T-000001", "T-000001"]
        assert other.outcome == "dispatch"
        denied = tickets.answer(service, "T-000001", {"shock_felt": False}, AGENT)
        assert [danger.caution for danger in denied.dangers.open] == ["shock", "wet"]
        for caution in ("shock", "wet"):
            lift_danger(service, other.id, caution, "Rewired and tested.", OPS)
        assert machines.open_dangers(service, ["LH20-1"]) == {}
        reopened = repairs.reopen(service, "T-000003", "It did it again.", OPS)
        assert [danger.caution for danger in reopened.dangers.open] == ["shock"]


def test_down_and_up_again_gives_the_same(path: Path) -> None:
    before = stored(path)
    moved(path, "0010")
    carried = stored(path)
    moved(path, "0009")
    assert stored(path) == before
    moved(path, "0010")
    assert stored(path) == carried
