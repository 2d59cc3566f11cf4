"""A program that forgets what was done to it, so that every input meets the same one."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.triage.services import Clock, running_service
from triage.loading.depot import put_depot
from triage.records.custody import DepotUnit
from triage.service.service import Service

MEMORY = Path("/dev/shm")
UNIT = DepotUnit("LH20-D1", "LH-20", 115, 20, "grooved", date(2026, 1, 10), "Stores East", date(2025, 12, 1))


@dataclass(frozen=True, slots=True)
class Program:
    service: Service
    clock: Clock
    folder: Path
    _live: sqlite3.Connection
    _kept: sqlite3.Connection

    def keep(self) -> None:
        """What is in the database now is what `restore` brings back."""
        self._live.backup(self._kept)

    def restore(self) -> None:
        self._kept.backup(self._live)


@contextmanager
def program() -> Iterator[Program]:
    """The program of the service's tests, with one unit in the depot."""
    with TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as place:
        folder, clock = Path(place), Clock()
        with running_service(folder, clock) as service:
            with service.store.write() as work:
                put_depot(work, [UNIT])
            with (
                closing(sqlite3.connect(folder / "program.db")) as live,
                closing(sqlite3.connect(":memory:")) as kept,
            ):
                found = Program(service, clock, folder, live, kept)
                found.keep()
                yield found
                found.restore()
