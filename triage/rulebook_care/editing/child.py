"""The one way to have work done in another process, within limits of time and memory.

    with Child("trying the rulebook", memory_mb=2048) as child:
        answer = child.call(60.0, function, argument)

What would crash the process, keep it busy for ever or take all memory comes back as an error that says how it
ended, and leaves the process that asked as it was. Nothing outlives that one either, unless it is let go.
"""

from __future__ import annotations

import math
import os
import pickle
import resource
import signal
import subprocess
import sys
import traceback
import weakref
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from typing import Any

from triage.logic.engine import EngineFailure
from triage.values.errors import InputError

IDLE_SECONDS = 900.0
"""A process that is asked nothing for so long ends; the next call starts another."""

_START = f"""
import sys
sys.path[:] = sys.argv[4:]
from {__name__} import _serve
_serve(*map(int, sys.argv[1:4]))
"""
_MEGABYTE = 1024 * 1024


class Child:
    """A process that makes calls one after another; the first starts it, and the next after it ended again.

    It works from any thread, but for one at a time. Functions are known by their names, and arguments and
    answers are pickled; the address space of `memory_mb` holds the interpreter and its libraries as well.
    Errors are InputError: what the call raises, or that `doing` took too long, too much memory, or ended the
    process; `advice` says there what to do.
    """

    def __init__(self, doing: str, memory_mb: int = 0, advice: str = "", nice: int = 0) -> None:
        self._doing, self._advice = doing, advice and f"; {advice}"
        self._memory_mb, self._nice = memory_mb, nice
        self._alive: tuple[subprocess.Popen[bytes], Connection] | None = None
        self._waiting: deque[float | None] = deque()

    @property
    def running(self) -> bool:
        return self._alive is not None and self._alive[0].poll() is None

    @property
    def waiting(self) -> int:
        """How many answers are still to be received."""
        return len(self._waiting)

    def call(self, seconds: float | None, function: Callable[..., Any], *arguments: object) -> Any:
        """What the function gives there. Raises InputError, always after `seconds` (None: any time)."""
        self.send(seconds, function, *arguments)
        return self.receive()

    def send(self, seconds: float | None, function: Callable[..., Any], *arguments: object) -> None:
        """Begins a call whose answer is received later. Raises InputError."""
        if not self.running:
            self._start()
        assert self._alive is not None
        try:
            self._alive[1].send((seconds, function, arguments))
        except OSError:
            raise self._died() from None
        self._waiting.append(seconds)

    def receive(self) -> Any:
        """The answer to the earliest call that has none yet. Raises InputError."""
        assert self._alive is not None
        seconds = self._waiting.popleft()
        try:
            if not self._alive[1].poll(seconds):
                self.close()
                raise InputError(f"{self._doing} took more than {seconds:g} seconds{self._advice}")
            answer, error = self._alive[1].recv()
        except (EOFError, OSError):
            raise self._died() from None
        if isinstance(error, MemoryError):
            raise InputError(f"{self._doing} took more than {self._memory_mb} MB of memory{self._advice}")
        if error is not None:
            raise error
        return answer

    def let_go(self) -> subprocess.Popen[bytes]:
        """The process, which makes the call it was sent to its end and then ends, whoever lives on."""
        assert self._alive is not None
        process, channel = self._alive
        self._finish.detach()
        self._alive = None
        self._waiting.clear()
        channel.close()
        return process

    def close(self) -> None:
        """Ends the process."""
        if self._alive is not None:
            self._finish()
        self._alive = None
        self._waiting.clear()

    def __enter__(self) -> Child:
        return self

    def __exit__(self, *_raised: object) -> None:
        self.close()

    def _start(self) -> None:
        self.close()
        ours, theirs = Pipe()
        with theirs:
            about = theirs.fileno(), self._memory_mb, self._nice
            process = subprocess.Popen(
                [sys.executable, "-c", _START, *map(str, about), *map(os.path.abspath, sys.path)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                pass_fds=[theirs.fileno()],
                start_new_session=True,  # Ctrl-C is for this process, which ends that one
            )
        self._alive = process, ours
        self._finish = weakref.finalize(self, _end, process, ours)

    def _died(self) -> InputError:
        assert self._alive is not None
        code = self._alive[0].wait()
        self.close()
        how = f"exit {code}: {_why(code)}"
        return InputError(f"the process {self._doing} ended by itself ({how}){self._advice}")


def _why(code: int) -> str:
    """What an exit status of a process tells, in words."""
    if code >= 0:
        return "a library gave up"
    if -code == signal.SIGKILL:
        return "killed, as where memory runs out"
    if -code == signal.SIGALRM:
        return "it took too long"
    return f"{signal.strsignal(-code)}, as where a condition is too wide for the engine".lower()


def _end(process: subprocess.Popen[bytes], channel: Connection) -> None:
    process.kill()
    process.wait()
    channel.close()


def _serve(descriptor: int, memory_mb: int, nice: int) -> None:
    """The process's life: until it is asked nothing for a while, or who asked is gone."""
    os.nice(nice)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if memory_mb:
        resource.setrlimit(resource.RLIMIT_AS, (memory_mb * _MEGABYTE, memory_mb * _MEGABYTE))
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    with Connection(descriptor) as channel, suppress(EOFError, ConnectionError):
        while channel.poll(IDLE_SECONDS):
            answer = _answer(channel.recv_bytes())
            signal.alarm(0)
            channel.send(answer)


def _answer(asked: bytes) -> tuple[object, Exception | None]:
    try:
        seconds, function, arguments = pickle.loads(asked)
        if seconds is not None:  # who asked ends this process in time; this is for one that is gone
            signal.alarm(math.ceil(seconds) + 5)
        return function(*arguments), None
    except (InputError, MemoryError) as error:
        return None, error
    except EngineFailure as error:
        return None, InputError(str(error))
    except RecursionError:
        return None, InputError("what was given is nested too deep")
    except Exception as error:
        traceback.print_exc()
        return None, InputError(f"{type(error).__name__}: {error}")
