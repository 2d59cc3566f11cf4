"""Starts the process that carries out a replay.

It outlives the server that started it, and is of lower priority than whatever answers requests.
"""

import os
import subprocess
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Protocol

from triage.rulebook_care.editing.child import Child
from triage.rulebook_care.release.runners import here, processes
from triage.rulebook_care.release.runs import carry_out, note_death
from triage.store import Store, open_store
from triage.store.tables.replay_runs import ReplayRun

NICE = 10


class Launcher(Protocol):
    """Sees to it that a waiting run is carried out."""

    def launch(self, run: ReplayRun) -> None: ...


class AtOnce:
    """Carries a run out here, before it returns: for a database that no other process can open."""

    def __init__(self, store: Store, clock: Callable[[], datetime]) -> None:
        self._store, self._clock = store, clock

    def launch(self, run: ReplayRun) -> None:
        carry_out(self._store, run.id, run.attempt, here(self._store), self._clock)


class InProcesses:
    """Starts a process for each run, and notes when one ends before its run is done."""

    def __init__(self, store: Store, clock: Callable[[], datetime], jobs: int = 1) -> None:
        self._store, self._clock, self._jobs = store, clock, jobs
        self._watchers: list[threading.Thread] = []
        self.started: list[subprocess.Popen[bytes]] = []

    def launch(self, run: ReplayRun) -> None:
        child = Child("replaying", nice=NICE)
        child.send(None, _carry_out, self._store.url, run.id, run.attempt, self._jobs)
        process = child.let_go()
        watcher = threading.Thread(target=self._watch, args=(process, run), daemon=True)
        self.started = [*(each for each in self.started if each.poll() is None), process]
        self._watchers = [*(each for each in self._watchers if each.is_alive()), watcher]
        watcher.start()

    def _watch(self, process: subprocess.Popen[bytes], run: ReplayRun) -> None:
        process.wait()
        note_death(self._store, run.id, run.attempt, self._clock())

    def join(self) -> None:
        """Waits until every process that was started has ended."""
        for watcher in self._watchers:
            watcher.join()


def launcher_for(store: Store, clock: Callable[[], datetime]) -> Launcher:
    """Processes where another can open the database; one core is left to whoever answers requests."""
    if not store.can_be_shared:
        return AtOnce(store, clock)
    return InProcesses(store, clock, max(1, (os.cpu_count() or 1) - 1))


def _carry_out(database: str, run: str, attempt: str, jobs: int) -> None:
    """What the process does."""
    store = open_store(database)
    try:
        runner = here(store) if jobs == 1 else processes(jobs)
        carry_out(store, run, attempt, runner, lambda: datetime.now(UTC))
    finally:
        store.close()
