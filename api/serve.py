"""Serves the app on waitress: in this process, or in several that gunicorn keeps."""

from __future__ import annotations

import ipaddress
import socket
import sys
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path
from typing import Any

from flask import Flask
from gunicorn.app.base import BaseApplication
from gunicorn.errors import HaltServer
from gunicorn.systemd import listen_fds
from waitress.server import create_server

from api.app import create_app
from api.http.logs import SameLog, log_to
from api.http.watching import Queries, worker_ended
from api.ops import shelf
from api.pages import charts
from api.pages.search import FINDER
from api.v1.rulebook import MOST_BYTES
from api.worker import WSGI, Worker
from triage.config import DEFAULT_SERVER, ServerSettings
from triage.service.fleet.commissioning import summing
from triage.service.outgoing.deliver import delivering
from triage.service.service import Service

BACKLOG = 2048
FORWARDED = ("x-forwarded-for", "x-forwarded-proto", "x-forwarded-host")
THREADS = 8
"""More only take turns at one interpreter; fewer wait for one another's disk."""


def waitress_settings(settings: ServerSettings) -> dict[str, Any]:
    """What waitress is told. No body above the largest that a route takes is read.

    The trusted proxy alone is believed what it says of caller, scheme and host; of anybody else such headers
    are taken away.
    """
    proxy = {"trusted_proxy": settings.trusted_proxy, "trusted_proxy_headers": FORWARDED}
    return {
        "threads": THREADS,
        "connection_limit": settings.connections,
        "max_request_body_size": MOST_BYTES,
        "asyncore_use_poll": True,
        "ident": "barrelwise",
        "url_prefix": settings.path_prefix,
        **(proxy if settings.trusted_proxy else {}),
    }


Opened = Callable[[], AbstractContextManager[Service]]


def is_handed_sockets() -> bool:
    """Whether systemd listens for this process (sd_listen_fds(3)); a restart then refuses nobody."""
    return bool(listen_fds(unset_environment=False))


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
    server: ServerSettings = DEFAULT_SERVER,
    listening: Callable[[], None] = lambda: None,
) -> None:
    """Serves until stopped, in this process or in `workers` others; each opens a program of its own.

    Sockets that systemd hands over stand for `host` and `port`.
    `folder` is where the rulebook's files lie. `listening` is called once connections are taken (with several
    workers they wait until those are ready). Raises OSError when it cannot listen there, SystemExit when the
    first workers cannot start.
    """
    log_to(sys.stderr, requests=server.log_requests)
    handed = is_handed_sockets()
    if workers > 1 or handed:
        if not handed:
            _refuse_taken(host, port)
        Program(opened, folder, host, port, workers, server, listening).run()
        return
    settings = waitress_settings(server)
    with opened() as service, delivering(service), summing(service):
        answering = create_server(_app(service, folder, server), host=host, port=port, **settings)
        listening()
        answering.run()


def _app(service: Service, folder: Path | None, server: ServerSettings) -> Flask:
    """The app; what takes long to make (search, charts, the book) is made beside: nobody waits for it."""
    app = create_app(service, folder, server.openid)
    service.tell_of_queries(Queries(server.slow_ms))
    if service.is_shared:
        app.extensions[FINDER].make_aside()
        charts.make_ready_aside()
        shelf.make_ready_aside(app)
    return app


def _refuse_taken(host: str, port: int) -> None:
    """The first process would try again and again; the caller is better told at once."""
    for family, kind, _, _, address in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM):
        with socket.socket(family, kind) as tried:
            tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            tried.bind(address)


class Program(BaseApplication):
    """What gunicorn runs: its settings come from here alone, from no file and no variable of its own."""

    def __init__(
        self,
        opened: Opened,
        folder: Path | None,
        host: str,
        port: int,
        workers: int,
        server: ServerSettings,
        listening: Callable[[], None],
    ) -> None:
        self.server, self.waitress = server, waitress_settings(server)
        self._opened, self._folder = opened, folder
        self._settings = {
            "bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
            "workers": workers,
            "worker_class": Worker,
            "backlog": BACKLOG,
            "timeout": server.request_seconds + server.grace_seconds,  # of a process that does nothing at all
            "graceful_timeout": server.grace_seconds,
            "proc_name": "barrelwise",
            "loglevel": "warning",
            "logger_class": SameLog,
            "child_exit": lambda _, worker: worker_ended(worker.pid),
            "when_ready": lambda _: listening(),
            "control_socket_disable": True,
        }
        super().__init__()

    def load_config(self) -> None:
        for name, value in self._settings.items():
            self.cfg.set(name, value)

    def run(self) -> None:
        """Until told to stop. Raises SystemExit.

        gunicorn lets HaltServer through when a second worker cannot start while it stops the rest because of
        a first; workers that are left see that this process is gone.
        """
        try:
            super().run()
        except HaltServer as halted:
            raise SystemExit(halted.exit_status) from None

    def load(self) -> WSGI:
        """The app of one worker, whose program stays open as long as it lives."""
        self._kept = ExitStack()
        service = self._kept.enter_context(self._opened())
        self._kept.enter_context(delivering(service))
        self._kept.enter_context(summing(service))
        return _app(service, self._folder, self.server).wsgi_app
