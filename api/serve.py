"""Serves the app with waitress, a production WSGI server, in one process or in several."""

from __future__ import annotations

import gc
import ipaddress
import logging
import socket
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path

from waitress.adjustments import Adjustments
from waitress.server import TcpWSGIServer, create_server

from api.app import create_app
from api.workers import READY, Workers, take
from triage.service.service import Service

log = logging.getLogger(__name__)
THREADS = 2
"""Enough to work while another waits for the disk; more only take turns at one interpreter."""
BACKLOG = 1024

Opened = Callable[[], AbstractContextManager[Service]]


def is_loopback(host: str) -> bool:
    """Whether an address to listen on can be reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def run(
    opened: Opened,
    host: str,
    port: int,
    folder: Path | None = None,
    workers: int = 1,
    listening: Callable[[], None] = lambda: None,
) -> None:
    """Serves until stopped, in this process or in `workers` others; each opens a program of its own.

    `folder` is where the rulebook's files lie. `listening` is called once connections are taken (with several
    workers they wait until those are ready). Raises OSError when it cannot listen there, WorkersFailed when
    workers cannot be kept alive.
    """
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # it warns of every request that waits
    if workers == 1:
        with opened() as service:
            logging.basicConfig()
            app = create_app(service, folder)
            server = create_server(app, host=host, port=port, threads=THREADS, ident="barrelwise")
            listening()
            server.run()
        return

    def work(channel: socket.socket) -> None:
        logging.basicConfig()
        with opened() as service:
            server = _HandedOver(create_app(service, folder), channel, host, port)
            gc.collect()
            gc.freeze()  # the rulebook and the code stay; to look through them again only costs time
            channel.send(READY)
            server.run()

    with ExitStack() as stack:
        listeners = [stack.enter_context(each) for each in _listening(host, port)]
        logging.basicConfig()
        listening()
        Workers(listeners, workers, work).run()


def _listening(host: str, port: int) -> list[socket.socket]:
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    with ExitStack() as stack:
        listeners = []
        for family, _, _, _, address in dict.fromkeys(found):
            listener = stack.enter_context(socket.create_server(address[:2], family=family, backlog=BACKLOG))
            listeners.append(listener)
        stack.pop_all()
    return listeners


class _HandedOver(TcpWSGIServer):
    """A waitress server whose connections were accepted by another process."""

    def __init__(self, app: object, channel: socket.socket, host: str, port: int) -> None:
        self._address = (host, port)
        settings = Adjustments(threads=THREADS, ident="barrelwise", host=host, port=port)
        place = (socket.AF_INET, socket.SOCK_STREAM, 0, self._address)
        super().__init__(app, _sock=channel, adj=settings, sockinfo=place, bind_socket=False)

    def set_reuse_addr(self) -> None:
        """The address is another process's."""

    def getsockname(self) -> tuple[str, str]:
        return self._address[0], str(self._address[1])

    def accept_connections(self) -> None:
        self.accepting = True

    def accept(self) -> tuple[socket.socket, object] | None:
        try:
            connection = take(self.socket)
        except EOFError:
            log.warning("the process that accepts connections is gone; this worker ends")
            raise SystemExit(0) from None
        if connection is None:
            return None
        try:
            return connection, connection.getpeername()
        except OSError:  # it was closed on the way
            connection.close()
            return None
