"""A program on a fresh database with two machines of two contractors, and a clock that tests move."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache, partial
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from moneyed import Money
from sqlalchemy import create_engine, make_url, text

from tests.triage.builders import minimal_files, policy
from tests.triage.kept import assert_kept_is_worked_out
from triage.decide.causes.inference import compile_rulebook
from triage.logic.conditions import Facts, Truth
from triage.records.caller import Caller
from triage.records.payloads import payload_from_data
from triage.records.report import CareEvent, Machine, PastRepair, Site
from triage.rulebook.reading.reader import rulebook_from_data
from triage.service import tickets
from triage.service.service import Service
from triage.store import open_store
from triage.store.tables.column_types import unpack
from triage.store.tables.derived.chain import whole
from triage.store.tables.machines import Contractor
from triage.values.dataclass_json import as_data
from triage.values.json_text import from_json, to_json

AGENT = Caller("desk", "agent")
OPS = Caller("lead", "ops")
FOGLINE = Caller("van-3", "technician", "fogline")
TERN = Caller("van-9", "technician", "tern")

NOON = datetime(2026, 3, 2, 17, tzinfo=UTC)  # noon in New York
REPORT = {
    "machine": "LH20-1",
    "symptoms": ["not_freezing"],
    "reported_at": "2026-03-02T11:55:00-05:00",
    "answers": {"fill_level": 70},
}
ALDER = Site("halt-001", "Lanternway Alder Quay", "Alder", "America/New_York", "555-0101", 42)
WILLOW = Site("halt-023", "Lanternway Willow Halt", "Willow", "America/Chicago", "555-0123", 12)
MACHINES = (
    Machine(
        "LH20-1",
        "LH-20",
        date(2025, 1, 5),
        date(2025, 2, 1),
        ALDER,
        "fogline",
        "LW-0001",
        Money("3150.00", "USD"),
    ),
    Machine("LH30-2", "LH-30", date(2022, 1, 5), None, WILLOW, "tern", "LW-0002"),
)


def rulebook_files(**overrides: object) -> dict[str, object]:
    """The minimal rulebook, with a rule that prefers the store's own checks; `overrides` by kind/id."""
    fix_first = policy(
        "fix-first",
        {"plan_starts_in_store": True},
        {"plan_starts_in_store": True},
        {"plan_starts_in_store": False},
        "fix_in_store",
        100,
        "A check in the store costs least.",
    )
    return minimal_files({"policy/fix-first.yml": fix_first, **overrides})


@dataclass
class Clock:
    """Stands still until it is moved."""

    time: datetime = NOON

    def __call__(self) -> datetime:
        return self.time

    def move(self, **delta: float) -> None:
        self.time += timedelta(**delta)


@cache
def empty_database() -> bytes:
    """A SQLite file with every migration and nothing in it: made once, since it takes most of a second."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "empty.db"
        open_store(f"sqlite:///{path}").close()
        return path.read_bytes()


def prepared(url: str) -> str:
    """The URL as it is; where it names a SQLite file that is not there yet, with `empty_database` in it."""
    path = Path(url.removeprefix("sqlite:///"))
    if url.startswith("sqlite:///") and not path.exists():
        path.touch(0o600)
        path.write_bytes(empty_database())
    return url


@contextmanager
def running_service(
    folder: Path,
    clock: Clock | None = None,
    files: dict[str, object] | None = None,
    url: str | None = None,
) -> Iterator[Service]:
    """A program of `rulebook_files`; ticket ids count from T-000001. At the end its log is read and verified,
    and what it keeps beside is worked out again.

    Without `url` its database is a SQLite file in `folder`.
    """
    files = files or rulebook_files()
    rulebook = rulebook_from_data(files)
    compiled = partial(compile_rulebook, engine="plain")
    numbers = count(1)
    store = open_store(prepared(url or f"sqlite:///{folder / 'program.db'}"))
    try:
        with store.write() as work:
            work.machines.put_sites([ALDER, WILLOW])
            work.machines.put_contractors([Contractor("fogline", "Fogline"), Contractor("tern", "Tern")])
            work.machines.put_machines(MACHINES)
            care = CareEvent("filter_cleaned", datetime(2026, 1, 20, 15, tzinfo=UTC), "store")
            work.care.add_care("LH20-1", [care])
            repair = PastRepair(
                datetime(2025, 11, 3, 15, tzinfo=UTC), "OLD-1", "low_fill", Money("120.00", "USD")
            )
            work.care.add_repairs("LH20-1", [repair])
        yield Service(
            store,
            rulebook,
            compiled(rulebook),
            clock or Clock(),
            files,
            compiled,
            lambda: f"T-{next(numbers):06}",
        )
        assert_events_read_back(store.url)
        assert_kept_is_worked_out(store, rulebook)
        with store.read() as work:
            assert list(work.verification.findings()) == []
    finally:
        store.close()


class WatchedEngine:
    """An engine that notes, each time it is asked, whether a writer holds the database's lock just then.

    `meanwhile` is carried out once, by another thread, before the engine answers for the first time.
    """

    def __init__(self, service: Service, meanwhile: Callable[[], object] | None = None) -> None:
        self._engine = service.engine
        self._path = make_url(service.store.url).database
        self._meanwhile = meanwhile
        self.locked: list[bool] = []

    @property
    def name(self) -> str:
        return self._engine.name

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        self.locked.append(self._is_locked())
        if self._meanwhile is not None:
            other, self._meanwhile = threading.Thread(target=self._meanwhile), None
            other.start()
            other.join()
        return self._engine.truths(stage, facts)

    def _is_locked(self) -> bool:
        with closing(sqlite3.connect(str(self._path), timeout=0, isolation_level=None)) as connection:
            try:
                connection.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError:
                return True
            connection.execute("ROLLBACK")
            return False


def watched(service: Service, meanwhile: Callable[[], object] | None = None) -> tuple[Service, WatchedEngine]:
    """The same program with an engine that watches."""
    engine = WatchedEngine(service, meanwhile)
    new = Service(service.store, service.rulebook, engine, service.now, None, service.compile, service.new_id)
    return new, engine


def assert_events_read_back(url: str) -> None:
    """What was written of every event is what its payload is written as again, to the byte."""
    engine = create_engine(url)
    with engine.connect() as connection:
        for kind, stored, words in connection.execute(text("SELECT kind, payload, words FROM events")):
            payload = whole(from_json(unpack(stored)), words)
            assert to_json(as_data(payload_from_data(kind, payload))) == to_json(payload)
    engine.dispose()


def stored(service: Service) -> int:
    """Events of all tickets."""
    found = tickets.tickets(service, OPS, limit=200).tickets
    return sum(len(tickets.events(service, ticket.id, OPS)) for ticket in found)
