"""Checks of edited texts in a process of their own: a text that takes too long ends that, not the server.

The process reads the folder once and then answers one question after another. When it was ended, or ended by
itself, the next question starts it again.
"""

from __future__ import annotations

import math
import multiprocessing
import resource
import signal
import weakref
from dataclasses import dataclass, replace
from datetime import date
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Lock
from typing import Any, TypeAlias

from triage.rulebook_care.editing.check import CasesRun, Checked, FolderCheck
from triage.values.errors import InputError, Problem

START_SECONDS = 60.0
CHECK_SECONDS = 10.0
CASES_SECONDS = 60.0
IDLE_SECONDS = 900.0
MEMORY_MB = 2048  # of address space, the interpreter and its libraries included
MOST_LISTED = 200
"""Problems, findings and failures given of one text."""

_MEGABYTE = 1024 * 1024
_Answer: TypeAlias = "Checked | CasesRun | NewFile | tuple[Problem, ...]"


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
        self._child: tuple[BaseProcess, Connection] | None = None
        self._finish: weakref.finalize[..., CheckProcess] | None = None
        self._ready = False

    def start(self) -> None:
        """Lets the process read the folder now, so that the first question need not wait as long."""
        if self._lock.acquire(blocking=False):
            try:
                self._begun()
            finally:
                self._lock.release()

    def check(self, file: str, content: bytes | None) -> Checked:
        """See `FolderCheck.check`. What cannot be checked within the limits has a problem that says so."""
        answer = self._ask("check", self._check_seconds, file, content)
        if isinstance(answer, Checked):
            return answer
        assert isinstance(answer, tuple)
        return Checked(tuple(problem if problem.file else replace(problem, file=file) for problem in answer))

    def run_cases(self, file: str | None = None, content: bytes | None = None) -> CasesRun:
        """See `FolderCheck.run_cases`."""
        answer = self._ask("run_cases", self._cases_seconds, file, content)
        if isinstance(answer, CasesRun):
            return answer
        assert isinstance(answer, tuple)
        return CasesRun(problems=answer)

    def new_file(self, kind: str, name: str, today: date) -> NewFile:
        """See `FolderCheck.new_file`."""
        answer = self._ask("new_file", self._check_seconds, kind, name, today)
        if isinstance(answer, NewFile):
            return answer
        assert isinstance(answer, tuple)
        raise InputError(answer)

    def close(self) -> None:
        """Ends the process; a later question starts another."""
        with self._lock:
            self._end()

    def _ask(self, what: str, seconds: float, *arguments: object) -> _Answer:
        if not self._lock.acquire(timeout=self._cases_seconds):
            return (Problem("others are checking just now; try again"),)
        try:
            channel = self._running()
            if channel is None:
                seconds = self._start_seconds
                return (Problem(f"the rulebook's folder could not be read within {seconds:g} seconds"),)
            channel.send((what, seconds, arguments))
            if channel.poll(seconds):
                answer: _Answer = channel.recv()
                return answer
            self._end()
            return (
                Problem(f"checking took more than {seconds:g} seconds; make the text smaller or simpler"),
            )
        except (EOFError, OSError):
            self._end()
            return (Problem("the process that checks ended by itself; try again"),)
        finally:
            self._lock.release()

    def _running(self) -> Connection | None:
        """The way to a process that has read the folder; None where it could not in time."""
        channel = self._begun()
        if not self._ready:
            if not channel.poll(self._start_seconds):
                self._end()
                return None
            channel.recv()
            self._ready = True
        return channel

    def _begun(self) -> Connection:
        if self._child is not None and self._child[0].is_alive():
            return self._child[1]
        self._end()
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        about = (theirs, str(self._folder), self._memory_mb, self._start_seconds)
        child = context.Process(target=_serve, args=about, daemon=True)
        child.start()
        theirs.close()
        self._child = (child, ours)
        self._finish = weakref.finalize(self, _end, child, ours)
        return ours

    def _end(self) -> None:
        if self._finish is not None:
            self._finish()
        self._child = self._finish = None
        self._ready = False


def _end(child: BaseProcess, channel: Connection) -> None:
    child.kill()
    child.join()
    channel.close()


def _serve(channel: Connection, folder: str, memory_mb: int, start_seconds: float) -> None:
    """The process's life: until it is told nothing for a while, or the server is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends this process
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_AS, (memory_mb * _MEGABYTE, memory_mb * _MEGABYTE))
    signal.alarm(math.ceil(start_seconds) + 5)
    checks = FolderCheck(Path(folder))
    _answer(checks, "check", ("rulebook.yml", None), memory_mb)
    channel.send("ready")
    while True:
        signal.alarm(0)
        if not channel.poll(IDLE_SECONDS):
            return
        try:
            what, seconds, arguments = channel.recv()
        except EOFError:
            return
        # The server stops this process in time; this is for a server that is gone.
        signal.alarm(math.ceil(seconds) + 5)
        channel.send(_answer(checks, what, arguments, memory_mb))


def _answer(checks: FolderCheck, what: str, arguments: tuple[Any, ...], memory_mb: int) -> _Answer:
    try:
        if what == "new_file":
            return NewFile(*checks.new_file(*arguments))
        if what == "run_cases":
            done = checks.run_cases(*arguments)
            return replace(done, problems=done.problems[:MOST_LISTED], failures=done.failures[:MOST_LISTED])
        found = checks.check(*arguments)
        return Checked(
            found.problems[:MOST_LISTED],
            found.elsewhere[:MOST_LISTED],
            found.findings[:MOST_LISTED],
            found.standing[:MOST_LISTED],
        )
    except InputError as error:
        return error.problems[:MOST_LISTED]
    except MemoryError:
        return (Problem(f"this took more than {memory_mb} MB of memory"),)
    except RecursionError:
        return (Problem("the text is nested too deep"),)
