"""Checks of edited texts in a process of their own: a text that takes too long ends that, not the server.

The process reads the folder once and then answers one question after another. When it was ended, or ended by
itself, the next question starts it again.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any

from triage.rulebook_care.editing.check import CasesRun, Checked, FolderCheck
from triage.rulebook_care.editing.child import Child
from triage.rulebook_care.editing.retire import Retirement
from triage.values.errors import InputError, told

START_SECONDS = 60.0
CHECK_SECONDS = 10.0
CASES_SECONDS = 60.0
MEMORY_MB = 2048  # of address space, the interpreter and its libraries included
MOST_LISTED = 200
"""Problems, findings and failures given of one text."""


@dataclass(frozen=True, slots=True)
class NewFile:
    path: str
    text: str


class CheckProcess:
    """`FolderCheck` of one folder within limits. Safe between threads; one question is answered at a time."""

    def __init__(
        self,
        folder: Path,
        check_seconds: float = CHECK_SECONDS,
        cases_seconds: float = CASES_SECONDS,
        memory_mb: int = MEMORY_MB,
        start_seconds: float = START_SECONDS,
    ) -> None:
        self._folder = folder.resolve()
        self._check_seconds = check_seconds
        self._cases_seconds = cases_seconds
        self._memory_mb = memory_mb
        self._start_seconds = start_seconds
        self._lock = Lock()
        advice = "make the text smaller or simpler, or try again"
        self._child = Child("checking", memory_mb, advice)

    def start(self) -> None:
        """Lets the process read the folder now, so that the first question need not wait as long."""
        if self._lock.acquire(blocking=False):
            try:
                self._begin()
            finally:
                self._lock.release()

    def check(self, file: str, content: bytes | None) -> Checked:
        """See `FolderCheck.check`. What cannot be checked within the limits has a problem that says so."""
        try:
            found: Checked = self.ask(self._check_seconds, _check, file, content)
        except InputError as error:
            mine = (
                each if each.file else replace(each, file=file) for each in told(error.problems, MOST_LISTED)
            )
            return Checked(tuple(mine))
        return found

    def run_cases(self, file: str | None = None, content: bytes | None = None) -> CasesRun:
        """See `FolderCheck.run_cases`."""
        try:
            done: CasesRun = self.ask(self._cases_seconds, _run_cases, file, content)
        except InputError as error:
            return CasesRun(problems=told(error.problems, MOST_LISTED))
        return done

    def retirement(self, kind: str, name: str, tried: bool = True) -> Retirement:
        """See `FolderCheck.retirement`."""
        found: Retirement = self.ask(self._cases_seconds, _retirement, kind, name, tried)
        return found

    def new_file(self, kind: str, name: str, today: date) -> NewFile:
        """See `FolderCheck.new_file`."""
        made: NewFile = self.ask(self._check_seconds, _new_file, kind, name, today)
        return made

    def close(self) -> None:
        """Ends the process; a later question starts another."""
        with self._lock:
            self._child.close()

    def ask(self, seconds: float, function: Callable[..., Any], *arguments: object) -> Any:
        """What `function` gives in the process, of the folder and the arguments. Raises InputError."""
        if not self._lock.acquire(timeout=self._cases_seconds):
            raise InputError("others are checking just now; try again")
        try:
            self._begin()
            if self._child.waiting:
                self._child.receive()
            return self._child.call(seconds, function, self._folder, *arguments)
        finally:
            self._lock.release()

    def _begin(self) -> None:
        if not self._child.running:
            self._child.send(self._start_seconds, _read, self._folder)


@lru_cache(maxsize=1)
def folder_check(folder: Path) -> FolderCheck:
    """The process's own, which remembers what it has read."""
    return FolderCheck(folder)


def _read(folder: Path) -> None:
    with suppress(InputError):  # whoever asks next is told
        folder_check(folder).check("rulebook.yml", None)


def _check(folder: Path, file: str, content: bytes | None) -> Checked:
    found = folder_check(folder).check(file, content)
    return Checked(
        told(found.problems, MOST_LISTED),
        told(found.elsewhere, MOST_LISTED),
        found.findings[:MOST_LISTED],
        told(found.standing, MOST_LISTED),
    )


def _run_cases(folder: Path, file: str | None, content: bytes | None) -> CasesRun:
    done = folder_check(folder).run_cases(file, content)
    return replace(done, problems=told(done.problems, MOST_LISTED), failures=done.failures[:MOST_LISTED])


def _retirement(folder: Path, kind: str, name: str, tried: bool) -> Retirement:
    found = folder_check(folder).retirement(kind, name, tried)
    return replace(found, problems=told(found.problems, MOST_LISTED))


def _new_file(folder: Path, kind: str, name: str, today: date) -> NewFile:
    return NewFile(*folder_check(folder).new_file(kind, name, today))
