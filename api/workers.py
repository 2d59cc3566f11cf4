"""Worker processes behind one address: started, dealt connections in turn, replaced when one dies.

The first process accepts connections and hands each to the next worker (its descriptor goes through a socket
pair), since a kept connection stays where it is: workers that accept for themselves share four of them three
to one as often as not. It has no thread and holds no database open, so that it can fork at any time; each
worker opens its own program after the fork. Nothing is accepted before all are ready for the first time;
later a worker that is not ready gets no connections.
"""

from __future__ import annotations

import logging
import os
import selectors
import signal
import socket
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import NoReturn

Work = Callable[[socket.socket], None]
"""A worker's life: says `READY` through the socket, then takes connections from it (`take`) until SIGTERM."""

READY = b"r"
YOUNG_SECONDS = 30.0
MOST_EARLY_DEATHS = 5
GRACE_SECONDS = 20.0
ENDS_SERVE = (signal.SIGTERM, signal.SIGINT)

log = logging.getLogger(__name__)


class WorkersFailed(Exception):
    """Workers die as soon as they are started."""


def take(channel: socket.socket) -> socket.socket | None:
    """The next connection; None where there is none yet. Raises EOFError when the first process is gone."""
    try:
        sent, descriptors, _, _ = socket.recv_fds(channel, 1, 1)
    except BlockingIOError:
        return None
    if not sent:
        raise EOFError
    return socket.socket(fileno=descriptors[0])


@dataclass(eq=False, slots=True)
class _Worker:
    pid: int
    channel: socket.socket
    since: float
    ready: bool = False


@dataclass
class Workers:
    """`count` processes that do `work`, and the sockets that listen for them."""

    listeners: Sequence[socket.socket]
    count: int
    work: Work
    timer: Callable[[], float] = time.monotonic
    _alive: list[_Worker] = field(default_factory=list)
    _early_deaths: int = 0
    _next_start: float = 0.0

    def run(self) -> None:
        """Until SIGTERM or SIGINT. Raises WorkersFailed where workers cannot be kept alive."""
        with ExitStack() as stack:
            self._events = stack.enter_context(selectors.DefaultSelector())
            self._signals = stack.enter_context(_signals())
            stack.callback(self._stop)
            self._events.register(self._signals, selectors.EVENT_READ)
            for listener in self.listeners:
                listener.setblocking(False)
            self._listening = False
            complete = False
            while not self._told_to_stop():
                self._bury()
                self._start_missing()
                ready = sum(worker.ready for worker in self._alive)
                complete = complete or ready == self.count
                self._listen(complete and ready > 0)
                for key, _ in self._events.select(self._until_next_start()):
                    if isinstance(key.data, _Worker):
                        self._hear(key.data)
                    elif key.data == "listener":
                        self._accept(key.fileobj)  # type: ignore[arg-type]

    def _told_to_stop(self) -> bool:
        told = False
        while True:
            try:
                numbers = self._signals.recv(256)
            except BlockingIOError:
                return told
            told = told or any(number in ENDS_SERVE for number in numbers)

    def _until_next_start(self) -> float | None:
        if len(self._alive) == self.count:
            return None
        return max(0.0, self._next_start - self.timer())

    def _start_missing(self) -> None:
        while len(self._alive) < self.count and self.timer() >= self._next_start:
            here, there = socket.socketpair()
            sys.stdout.flush()
            sys.stderr.flush()
            pid = os.fork()
            if pid == 0:
                here.close()
                self._live(there)
            there.close()
            here.setblocking(False)
            worker = _Worker(pid, here, self.timer())
            self._alive.append(worker)
            self._events.register(here, selectors.EVENT_READ, worker)

    def _live(self, channel: socket.socket) -> NoReturn:
        """What a new process does: lets go of what is the first one's, works, and ends here."""
        status = os.EX_SOFTWARE
        try:
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            signal.signal(signal.SIGTERM, _leave)
            signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches all; the first process tells us
            self._events.close()
            self._signals.close()
            for one in (*self.listeners, *(worker.channel for worker in self._alive)):
                one.close()
            self.work(channel)
            status = os.EX_OK
        except SystemExit as leaving:
            status = leaving.code if isinstance(leaving.code, int) else os.EX_OK
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status)

    def _hear(self, worker: _Worker) -> None:
        try:
            said = worker.channel.recv(1)
        except (BlockingIOError, ConnectionError):
            said = b""
        if said == READY:
            worker.ready = True
        else:  # it is gone, or about to be; SIGCHLD says when
            worker.ready = False
            self._events.unregister(worker.channel)

    def _bury(self) -> None:
        for worker in list(self._alive):
            pid, status = os.waitpid(worker.pid, os.WNOHANG)
            if pid == 0:
                continue
            self._alive.remove(worker)
            if worker.channel in self._events.get_map():
                self._events.unregister(worker.channel)
            worker.channel.close()
            log.error("worker %d ended (%s); another takes its place", pid, _said(status))
            early = self.timer() - worker.since < YOUNG_SECONDS
            self._early_deaths = self._early_deaths + 1 if early else 0
            if self._early_deaths >= MOST_EARLY_DEATHS:
                raise WorkersFailed(f"{self._early_deaths} workers in a row ended right after their start")
            waits = 0.5 * (2 ** (self._early_deaths - 1) - 1)  # seconds: 0, 0, 0.5, 1.5, 3.5
            self._next_start = self.timer() + max(0.0, waits)

    def _listen(self, wanted: bool) -> None:
        if wanted == self._listening:
            return
        self._listening = wanted
        for listener in self.listeners:
            if wanted:
                self._events.register(listener, selectors.EVENT_READ, "listener")
            else:
                self._events.unregister(listener)

    def _accept(self, listener: socket.socket) -> None:
        try:
            connection, _ = listener.accept()
        except OSError as error:  # it was given up again, or we are out of descriptors
            log.warning("a connection could not be accepted: %s", error)
            return
        with connection:
            for worker in list(self._alive):
                if worker.ready and self._hand(connection, worker):
                    self._alive.remove(worker)
                    self._alive.append(worker)  # the next one is another's
                    return
            log.error("no worker takes a connection; it is closed")

    def _hand(self, connection: socket.socket, worker: _Worker) -> bool:
        try:
            socket.send_fds(worker.channel, [b"c"], [connection.fileno()])
        except OSError:  # full, because it hangs, or broken, because it died
            return False
        return True

    def _stop(self) -> None:
        """Tells all to finish what runs and to go, and sees to it that they do."""
        for worker in self._alive:
            os.kill(worker.pid, signal.SIGTERM)
        give_up = self.timer() + GRACE_SECONDS
        while self._alive:
            for worker in list(self._alive):
                if self.timer() >= give_up:
                    log.error("worker %d does not stop; it is killed", worker.pid)
                    os.kill(worker.pid, signal.SIGKILL)
                    os.waitpid(worker.pid, 0)
                elif os.waitpid(worker.pid, os.WNOHANG)[0] == 0:
                    continue
                self._alive.remove(worker)
                worker.channel.close()
            if self._alive:
                with selectors.DefaultSelector() as ended:
                    ended.register(self._signals, selectors.EVENT_READ)
                    ended.select(max(0.0, give_up - self.timer()))
                self._told_to_stop()


@contextmanager
def _signals() -> Iterator[socket.socket]:
    """A socket on which the numbers of the signals arrive that mean something to the first process."""
    wanted = (*ENDS_SERVE, signal.SIGCHLD)
    told, tells = socket.socketpair()
    told.setblocking(False)
    tells.setblocking(False)
    wakeup = signal.set_wakeup_fd(tells.fileno())
    before = {number: signal.signal(number, lambda *_: None) for number in wanted}
    try:
        yield told
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(wakeup)
        told.close()
        tells.close()


def _leave(_signal: int, _frame: object) -> NoReturn:
    raise SystemExit(0)


def _said(status: int) -> str:
    code = os.waitstatus_to_exitcode(status)
    return f"signal {-code}" if code < 0 else f"status {code}"
