"""Writers of one SQLite file wait in line, threads and processes alike.

SQLite lets one writer in at a time, and whoever finds it busy sleeps, longer each time, and tries again; with
several processes some come much later than they could. So a writer first takes its turn: a lock among the
threads of this process, then a lock on a file beside the database, which the system releases when its holder
dies. It is a courtesy and guards nothing: who waits in vain goes to SQLite, whose own lock decides.
"""

import fcntl
import os
import threading
import time
from pathlib import Path

from triage.store.owner_only import MODE
from triage.values.errors import UnavailableError

POLL_SECONDS = 0.001
IN_VAIN_SECONDS = 0.25


class WriteLock:
    """A context for one write. `path` is the file to lock; None: no other process writes, or has no file.

    While `in_vain` a writer waits only a moment: those before it did not get through. Raises
    UnavailableError where another of this process has it all the time.
    """

    def __init__(self, path: Path | None, patience_seconds: float) -> None:
        self._path = path
        self._patience_seconds = patience_seconds
        self._threads = threading.Lock()
        self._file: int | None = None
        self.in_vain = False

    def __enter__(self) -> None:
        patience = min(IN_VAIN_SECONDS, self._patience_seconds) if self.in_vain else self._patience_seconds
        if not self._threads.acquire(timeout=patience):
            raise UnavailableError("other writes wait for the database", 5)
        try:
            self._wait_for_processes(patience)
        except BaseException:
            self._threads.release()
            raise

    def __exit__(self, *_: object) -> None:
        try:
            if self._file is not None:
                fcntl.flock(self._file, fcntl.LOCK_UN)
        finally:
            self._threads.release()

    def close(self) -> None:
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _wait_for_processes(self, patience: float) -> None:
        if self._file is None:
            if self._path is None:
                return
            try:
                self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, MODE)
            except OSError:  # then the database cannot be written there either, and says so
                return
        give_up = time.monotonic() + patience
        while True:
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return
            except BlockingIOError:
                if time.monotonic() > give_up:
                    return
                time.sleep(POLL_SECONDS)
