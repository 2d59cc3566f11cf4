"""A newer version takes over from one whose database is a migration back, while requests go on coming."""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from sqlalchemy import create_engine

from tests import ROOT
from tests.api.test_serve import CLIENTS, PATIENCE, ended
from tests.triage.cli.test_main import write_rulebook
from tests.triage.services import MACHINES, NOON, REPORT, rulebook_files
from triage.cli.shown.opened import opened_service
from triage.config import read_settings
from triage.service.what_if import explain as explain_ticket
from triage.store import open_store
from triage.store.migrate import alembic_config
from triage.store.tables.machines import Contractor

HANDED = """
import os, sys
os.dup2(int(sys.argv[1]), 3)
os.environ.update(LISTEN_PID=str(os.getpid()), LISTEN_FDS="1")
os.execv(sys.executable, sys.argv[2:])
"""
"""Starts a program as systemd does one whose socket it holds (sd_listen_fds(3)): with it as descriptor 3."""


@contextmanager
def serving(listening: socket.socket, settings: dict[str, str]) -> Iterator[subprocess.Popen[str]]:
    """`barrelwise serve` on a socket that outlives it."""
    serve = [sys.executable, "-W", "error", "-m", "triage", "serve", "--workers", "2"]
    quiet = os.environ | {"BARRELWISE_LOG": "faults"}  # nobody reads the log; a full pipe would stop it
    process = subprocess.Popen(
        [sys.executable, "-c", HANDED, str(listening.fileno()), *serve],
        cwd=ROOT, env=quiet | settings, stderr=subprocess.PIPE, text=True, pass_fds=[listening.fileno()],
    )  # fmt: skip
    with ended(process):
        assert process.stderr is not None
        assert any(line.startswith("serving on") for line in process.stderr)
        yield process


def one_migration_back(url: str) -> None:
    engine, config = create_engine(url), alembic_config()
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "-1")
    engine.dispose()


def filled(url: str) -> str:
    """Records to report about; gives a token."""
    store = open_store(url)
    with closing(store), store.write() as work:
        work.machines.put_sites([machine.site for machine in MACHINES if machine.site is not None])
        work.machines.put_contractors([Contractor("fogline", "Fogline"), Contractor("tern", "Tern")])
        work.machines.put_machines(MACHINES)
        return work.tokens.add("lead", "ops", None, NOON)


def explained(settings: dict[str, str], tickets: Iterable[str]) -> dict[str, object]:
    """What each ticket's last decision says, as it was stored and as it comes out again."""
    with opened_service(read_settings(settings)) as service:
        found = {ticket: explain_ticket(service, ticket) for ticket in tickets}
    assert all(each.identical for each in found.values())
    return {ticket: each.recorded for ticket, each in found.items()}


def test_what_comes_while_a_newer_version_starts_is_answered_by_it(tmp_path: Path, store_url: str) -> None:
    rules = write_rulebook(tmp_path / "rules", rulebook_files())
    settings = {
        "BARRELWISE_DATABASE": store_url,
        "BARRELWISE_RULEBOOK": str(rules),
        "BARRELWISE_ENGINE": "plain",
    }
    token = filled(store_url)
    stored: list[str] = []
    wrong: list[str] = []
    enough, answered = threading.Event(), [0] * CLIENTS
    listening = socket.create_server(("127.0.0.1", 0), backlog=128)

    def ask(method: str, path: str, body: Any = None) -> tuple[int, Any]:
        connection = http.client.HTTPConnection(*listening.getsockname(), timeout=PATIENCE)
        with closing(connection):
            headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
            connection.request(method, path, json.dumps(body), headers)
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())

    def client(number: int) -> None:
        """Tries nothing again: whatever fails is an interruption that somebody saw."""
        while not enough.is_set():
            try:
                status, ticket = ask("POST", "/v1/reports", REPORT)
                assert status == 201, ticket
                stored.append(ticket["ticket"])
            except Exception as error:
                wrong.append(repr(error))
                return
            answered[number] += 1

    def until_each_was_answered() -> None:
        before = list(answered)
        while not wrong and any(now <= then for now, then in zip(answered, before, strict=True)):
            enough.wait(0.01)

    clients = [threading.Thread(target=client, args=(number,)) for number in range(CLIENTS)]
    try:
        with listening, serving(listening, settings) as older:
            for each in clients:
                each.start()
            until_each_was_answered()
            older.terminate()
            assert older.wait(PATIENCE) == 0
            said = explained(settings, stored)
            one_migration_back(store_url)
            with serving(listening, settings):
                until_each_was_answered()
                enough.set()
                for each in clients:
                    each.join(PATIENCE)
    finally:
        enough.set()
    assert wrong == []
    assert CLIENTS <= len(said) < len(stored)
    assert explained(settings, said) == said
    assert len(explained(settings, stored)) == len(stored)
