"""Worker processes: dealt connections in turn, replaced when one dies, stopped together; nothing is lost."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests import ROOT
from tests.triage.services import MACHINES, NOON, REPORT, rulebook_files
from triage.store import open_store
from triage.store.tables.machines import Contractor

PATIENCE = 60.0
CLIENTS = 4
REPORTS_EACH = 6

SCRIPT = """
import os, socket, sys
from api.workers import READY, Workers, WorkersFailed, take

def answer(channel):
    channel.send(READY)
    while True:
        with take(channel) as connection:
            connection.sendall(str(os.getpid()).encode())

def die(channel):
    os._exit(3)

listener = socket.create_server(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
try:
    Workers([listener], int(sys.argv[2]), {"answer": answer, "die": die}[sys.argv[1]]).run()
except WorkersFailed as error:
    print(error, file=sys.stderr)
    sys.exit(70)
"""


@contextmanager
def ended(process: subprocess.Popen[str]) -> Iterator[subprocess.Popen[str]]:
    try:
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=PATIENCE)


@contextmanager
def workers(work: str, count: int) -> Iterator[tuple[subprocess.Popen[str], int]]:
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", SCRIPT, work, str(count)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    with ended(process):
        assert process.stdout is not None
        yield process, int(process.stdout.readline())


def who_answers(port: int) -> int:
    """The process that answers; a connection that went to one about to die is made again."""
    said = b""
    while not said:
        with (
            suppress(ConnectionError),
            socket.create_connection(("127.0.0.1", port), timeout=PATIENCE) as connection,
        ):
            while got := connection.recv(64):
                said += got
    return int(said)


def test_connections_are_dealt_to_the_workers_in_turn() -> None:
    with workers("answer", 3) as (_, port):
        answered = Counter(who_answers(port) for _ in range(12))
    assert sorted(answered.values()) == [4, 4, 4]


def test_workers_that_are_killed_are_replaced_and_connections_wait_for_them() -> None:
    with workers("answer", 2) as (_, port):
        before = {who_answers(port), who_answers(port)}
        for pid in before:
            os.kill(pid, signal.SIGKILL)
        after = {who_answers(port) for _ in range(6)}
    assert len(before) == 2
    assert not before & after


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_stops_all_workers_and_ends_well(number: signal.Signals) -> None:
    with workers("answer", 2) as (process, port):
        pids = {who_answers(port), who_answers(port)}
        process.send_signal(number)
        assert process.wait(PATIENCE) == 0
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_workers_that_die_at_once_end_the_server_with_an_error() -> None:
    with workers("die", 2) as (process, _):
        assert process.stderr is not None
        said = process.stderr.read()
        assert process.wait(PATIENCE) == 70
    assert "5 workers in a row ended right after their start" in said
    assert "(status 3)" in said


def test_workers_end_when_the_first_process_is_killed() -> None:
    with workers("answer", 1) as (process, port):
        who_answers(port)
        process.kill()
        assert process.stderr is not None
        assert "EOFError" in process.stderr.read()  # it ends only when the worker, too, has let go of it


@dataclass
class Server:
    process: subprocess.Popen[str]
    port: int
    token: str
    database: Path

    def call(
        self, method: str, path: str, body: Any = None, headers: Mapping[str, str] | None = None
    ) -> tuple[int, Any]:
        """One request on a connection of its own."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        sent = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        try:
            connection.request(method, path, json.dumps(body), sent | dict(headers or {}))
            response = connection.getresponse()
            return response.status, json.loads(response.read())
        finally:
            connection.close()

    def report(self, key: str) -> str:
        """A report's ticket; sent again under its key until it is answered, as a careful client does."""
        while True:
            try:
                status, ticket = self.call("POST", "/v1/reports", REPORT, {"Idempotency-Key": key})
            except (ConnectionError, http.client.HTTPException):
                continue
            assert status == 201
            return str(ticket["ticket"])

    def tickets(self) -> list[str]:
        _, page = self.call("GET", "/v1/tickets?limit=200")
        return [str(item["ticket"]) for item in page["items"]]

    def workers(self) -> list[int]:
        """Its forks: children with the same command line."""
        pid = self.process.pid
        command = Path(f"/proc/{pid}/cmdline").read_bytes()
        children = map(int, Path(f"/proc/{pid}/task/{pid}/children").read_text().split())
        return [child for child in children if Path(f"/proc/{child}/cmdline").read_bytes() == command]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """`barrelwise serve` with two workers, over two machines and the minimal rulebook."""
    for name, data in rulebook_files().items():
        path = tmp_path / "rules" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(data))
    database = tmp_path / "served.db"
    store = open_store(f"sqlite:///{database}")
    with store.write() as work:
        work.machines.put_sites([machine.site for machine in MACHINES if machine.site is not None])
        work.machines.put_contractors([Contractor("fogline", "Fogline"), Contractor("tern", "Tern")])
        work.machines.put_machines(MACHINES)
        token = work.tokens.add("lead", "ops", None, NOON)
    store.close()
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "triage", "serve", "--port", str(port), "--workers", "2"],
        cwd=ROOT,
        env=os.environ
        | {
            "BARRELWISE_DATABASE": f"sqlite:///{database}",
            "BARRELWISE_RULEBOOK": str(tmp_path / "rules"),
            "BARRELWISE_ENGINE": "plain",
        },
        stderr=subprocess.PIPE,
        text=True,
    )
    with ended(process):
        assert process.stderr is not None
        for line in process.stderr:
            if line.startswith("serving on"):
                break
        running = Server(process, port, token, database)
        assert running.call("GET", "/healthz")[0] == 200
        yield running


def test_nothing_is_lost_when_workers_are_killed_and_serve_stops_well(server: Server) -> None:
    first = server.workers()
    assert len(first) == 2
    opened: list[str] = []

    def client(number: int) -> None:
        for report in range(REPORTS_EACH):
            opened.append(server.report(f"{number}-{report}"))
            if number == 0 and report == 1:
                for pid in first:
                    os.kill(pid, signal.SIGKILL)

    threads = [threading.Thread(target=client, args=(number,)) for number in range(CLIENTS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(PATIENCE)
    assert len(set(opened)) == CLIENTS * REPORTS_EACH
    assert sorted(server.tickets()) == sorted(opened)
    assert not set(first) & set(server.workers())
    server.process.terminate()
    assert server.process.wait(PATIENCE) == 0
    store = open_store(f"sqlite:///{server.database}", read_only=True)
    with store.read() as work:
        assert [work.tickets.get(ticket).version for ticket in opened] == [2] * len(opened)
    store.close()
