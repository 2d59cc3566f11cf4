"""The desk served on a free port of this machine, over the demo's machines and the default rulebook."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flask import Flask
from werkzeug.serving import make_server
from werkzeug.wrappers import Response

from api.app import create_app
from tests import ROOT
from tests.triage.services import Clock
from triage.decide.causes.inference import compile_rulebook
from triage.inputs.report import read_machine
from triage.loading.load import load
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.service.service import Service
from triage.store import open_store
from triage.store.tables.machines import Contractor

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

NOW = datetime(2026, 11, 16, 20, tzinfo=UTC)


@cache
def default_rulebook() -> tuple[Rulebook, Engine]:
    rulebook = read_rulebook(ROOT / "rules")
    return rulebook, compile_rulebook(rulebook, engine="plain")


def make_records(path: Path) -> None:
    """A database with the demo's machines and a token for two agents."""
    rulebook, _ = default_rulebook()
    store = open_store(f"sqlite:///{path}")
    try:
        load(ROOT / "demo" / "records", store, rulebook)
    finally:
        store.close()


def buffered(app: Flask) -> WSGIApplication:
    """Whole answers: the server of the tests leaves a file open when a browser goes while it is sent."""

    def answer(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        return Response.from_app(app, environ, buffered=True)(environ, start_response)

    return answer


@dataclass
class Served:
    """A running desk; `restart` ends the server and starts another over the same database."""

    path: Path
    clock: Clock
    port: int = 0
    service: Service | None = None
    app: Flask = field(init=False)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def running(self) -> Service:
        assert self.service is not None
        return self.service

    def start(self) -> None:
        rulebook, engine = default_rulebook()
        numbers = count(1)
        self.service = Service(
            open_store(f"sqlite:///{self.path}"),
            rulebook,
            engine,
            self.clock,
            new_id=lambda: f"T-{next(numbers):06}",
        )
        self.app = create_app(self.service)
        self.server = make_server("127.0.0.1", self.port, buffered(self.app), threaded=True)
        self.port = int(self.server.server_port)
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        self.server.shutdown()
        self.thread.join(10)
        self.server.server_close()
        self.running.store.close()

    def restart(self) -> None:
        self.stop()
        self.start()

    def token(self, name: str) -> str:
        with self.running.store.write() as work:
            return work.tokens.add(name, "agent", None, self.clock())

    def put_machine(self, data: Mapping[str, Any]) -> None:
        """A machine of a rulebook case, with its history."""
        machine, history = read_machine(data, default_rulebook()[0])
        with self.running.store.write() as work:
            if machine.site is not None:
                work.machines.put_sites([machine.site])
            if machine.contractor is not None:
                work.machines.put_contractors([Contractor(machine.contractor, machine.contractor.title())])
            work.machines.put_machines([machine])
            work.care.add_care(machine.serial, history.care)
            work.care.add_repairs(machine.serial, history.repairs)


@contextmanager
def serving(records: Path, folder: Path) -> Iterator[Served]:
    """A desk of its own over a copy of `records`."""
    path = folder / "desk.db"
    shutil.copyfile(records, path)
    served = Served(path, Clock(NOW))
    served.start()
    try:
        yield served
    finally:
        served.stop()
