"""One worker process: waitress answers, and gunicorn's first process starts, replaces and stops it.

waitress takes whole requests off slow and idle connections without giving a thread to any of them; gunicorn
keeps as many workers as are wanted, and reloads them on SIGHUP. What is here joins the two: a worker that is
told to stop, or is no longer fit, takes no more connections, finishes what runs, and ends.
"""

import gc
import os
import resource
import socket
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from gunicorn.workers.base import Worker as Supervised
from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from api.http import watching
from triage.config import ServerSettings

LOOK_SECONDS = 1.0
"""How often a worker looks whether it should go on."""
LINGER_SECONDS = 1.0
"""How long a worker that stops keeps quiet connections: a request may be on its way."""
HALF_SENT_SECONDS = 5.0
"""How long it waits for the rest of a request of which nothing more comes."""
HANGING_SECONDS = 5.0
"""What it leaves the other requests to finish when one hangs: its place is needed."""
RETRY_SECONDS = 1.0
"""What a worker that could not start waits before the next one tries."""
FILES_APART = 256
"""Descriptors besides those of connections."""

ACCEPTED_A_TURN = 64

WSGI = Callable[[dict[str, Any], Any], Iterable[bytes]]
Settings = Mapping[str, Any]
Sockets = dict[int, Any]


class Running:
    """The app, and since when each request that runs has been running."""

    def __init__(self, app: WSGI) -> None:
        self._app = app
        self._since: dict[int, float] = {}

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        thread = threading.get_ident()
        self._since[thread] = time.monotonic()
        try:
            return self._app(environ, start_response)
        finally:
            del self._since[thread]

    def longest_seconds(self) -> float:
        since = list(self._since.values())
        return time.monotonic() - min(since) if since else 0.0


class Listener(TcpWSGIServer):
    """A waitress server that takes what waits to be accepted at once, not one connection a turn."""

    def handle_accept(self) -> None:
        for _ in range(ACCEPTED_A_TURN):
            held = len(self._map)
            super().handle_accept()
            if len(self._map) == held:
                return


def listen(app: WSGI, listening: Sequence[socket.socket], sockets: Sockets, settings: Settings) -> None:
    """Adds to `sockets`, the map of waitress's loop, a listener on each socket; they share their threads."""
    told = Adjustments(sockets=list(listening), **settings)
    threads = ThreadedTaskDispatcher()
    threads.set_thread_count(told.threads)
    for each in listening:
        each.setblocking(False)
        place = (each.family, each.type, each.proto, each.getsockname())
        Listener(app, sockets, _sock=each, dispatcher=threads, adj=told, bind_socket=False, sockinfo=place)


class Worker(Supervised):
    """A worker of `serve.Program`, whose limits it keeps."""

    def init_process(self) -> None:
        try:
            super().init_process()
        except Exception as error:
            # The first workers end the service, with the reason. Later the database may only be away.
            if self.booted or self.age <= self.cfg.workers:
                raise
            self.log.error("a worker could not start: %s", error)
            time.sleep(RETRY_SECONDS)
            raise SystemExit(1) from error

    def handle_exit(self, sig: int, frame: object) -> None:
        super().handle_exit(sig, frame)
        os.write(self.PIPE[1], b"s")

    handle_quit = handle_exit  # Ctrl-C reaches every process; what runs is finished all the same

    def run(self) -> None:
        limits: ServerSettings = self.app.server
        _allow_files(limits.connections + FILES_APART)
        watching.STARTS.inc()
        running = Running(self.wsgi)
        sockets: Sockets = {}
        listen(running, [each.sock for each in self.sockets], sockets, self.app.waitress)
        _Woken(self.PIPE[0], sockets)
        gc.collect()
        gc.freeze()  # the rulebook and the code stay; to look through them again only costs time
        while self.alive and self.ppid == os.getppid():
            self.notify()
            wasyncore.loop(LOOK_SECONDS, True, sockets, 1)
            self._look(running, limits)
        hangs = running.longest_seconds() > limits.request_seconds
        self._finish(sockets, HANGING_SECONDS if hangs else limits.grace_seconds)

    def _look(self, running: Running, limits: ServerSettings) -> None:
        """Stops where a request hangs or memory has swollen; another worker takes this one's place."""
        seconds, used = running.longest_seconds(), _memory_mb()
        watching.MEMORY.set(used * 2**20)
        if seconds > limits.request_seconds:
            self.log.error("a request has been running for %.0f s; this worker is replaced", seconds)
            self.alive = False
        elif limits.worker_mb and used > limits.worker_mb:
            self.log.warning("this worker uses %d MB; it is replaced", used)
            self.alive = False

    def _finish(self, sockets: Sockets, grace_seconds: float) -> None:
        began = time.monotonic()
        for listener in [each for each in sockets.values() if isinstance(each, Listener)]:
            listener.handle_accept()  # those that wait came in time
            wasyncore.dispatcher.close(listener)  # its own close would take the threads' way to wake us along
        while (passed := time.monotonic() - began) < grace_seconds:
            self.notify()
            channels = [each for each in sockets.values() if isinstance(each, HTTPChannel)]
            for channel in channels:
                if not _busy(channel) and passed > LINGER_SECONDS:
                    channel.will_close = True
            if not channels:
                return
            wasyncore.loop(min(LOOK_SECONDS, LINGER_SECONDS / 4), True, sockets, 1)


def _busy(channel: HTTPChannel) -> bool:
    if channel.requests or channel.total_outbufs_len:
        return True
    half_sent = channel.request is not None
    return half_sent and time.time() - channel.last_activity < HALF_SENT_SECONDS


class _Woken(wasyncore.file_dispatcher):
    """Ends the wait for connections when a signal came."""

    def __init__(self, descriptor: int, sockets: Sockets) -> None:
        super().__init__(descriptor, map=sockets)

    def writable(self) -> bool:
        return False

    def handle_read(self) -> None:
        self.recv(4096)


def _allow_files(wanted: int) -> None:
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
    if soft != resource.RLIM_INFINITY and soft < most:
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


def _memory_mb() -> int:
    """What this process holds now; 0 where the system does not tell."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except (OSError, ValueError, IndexError):
        return 0
    return pages * resource.getpagesize() // 2**20
