"""The server: its workers are replaced when they die or hang, and stop without losing what runs."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests import ROOT
from tests.triage.services import MACHINES, NOON, REPORT, rulebook_files
from triage.store import open_store
from triage.store.tables.machines import Contractor

PATIENCE = 60.0
CLIENTS = 4
REPORTS_EACH = 6

SCRIPT = """
import os, select, signal, sys
from contextlib import nullcontext
from api.serve import Program
from triage.config import ServerSettings

class Tried(Program):
    def load(self):
        if sys.argv[2] == "broken together":
            self.second()
        if sys.argv[2].startswith("broken"):
            self.fails()
        return app

    def second(self):
        try:
            os.mkdir(sys.argv[3] + ".first")
        except FileExistsError:  # the second fails once it is told to stop because of the first
            signal.signal(signal.SIGTERM, self.fails)
            open(sys.argv[3], "w").close()
            while True:
                signal.pause()
        open(sys.argv[3]).close()

    def fails(self, *_):
        raise OSError("there is no database")

def app(environ, start_response):
    path = environ["PATH_INFO"]
    if path == "/wait":
        gate = select.poll()
        gate.register(os.open(sys.argv[3], os.O_RDONLY | os.O_NONBLOCK), select.POLLIN)
        os.write(1, b"waits\\n")
        gate.poll()
    if path == "/swell":
        held.append(b"x" * MEGABYTES * 2**20)
    start_response("200 OK", [("Content-Type", "text/plain")])
    return [str(os.getpid()).encode()]

held = []
MEGABYTES = 512
limits = ServerSettings(request_seconds=int(sys.argv[4]), worker_mb=MEGABYTES)
Tried(nullcontext, None, "127.0.0.1", int(sys.argv[1]), 2, limits, lambda: print("listens", flush=True)).run()
"""


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


@contextmanager
def ended(process: subprocess.Popen[str]) -> Iterator[subprocess.Popen[str]]:
    try:
        yield process
    finally:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=PATIENCE)


@dataclass
class Tried:
    """Two workers of a small app: `/wait` answers once `gate` was opened and closed by a writer."""

    process: subprocess.Popen[str]
    port: int
    gate: Path

    def ask(self, path: str = "/") -> int:
        """The process that answers; a connection that went to one about to die is made again."""
        while True:
            connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
            with closing(connection), suppress(ConnectionError, http.client.HTTPException):
                connection.request("GET", path)
                return int(connection.getresponse().read())

    def start_waiting(self, count: int) -> list[http.client.HTTPConnection]:
        connections = []
        for _ in range(count):
            connections.append(http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE))
            connections[-1].request("GET", "/wait")
        for _ in range(count):
            self.hears("waits")
        return connections

    def hears(self, wanted: str) -> None:
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == f"{wanted}\n"

    def until_others(self, before: set[int]) -> set[int]:
        """Both workers, once neither is one of `before`."""
        now: set[int] = set()
        while len(now) < 2 or now & before:
            now = {pid for pid in now if pid not in before} | {self.ask()}
        return now


@contextmanager
def tried(folder: Path, kind: str = "whole", request_seconds: int = 3600) -> Iterator[Tried]:
    gate, port = folder / "gate", free_port()
    os.mkfifo(gate)
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", SCRIPT, str(port), kind, str(gate), str(request_seconds)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    with ended(process):
        running = Tried(process, port, gate)
        running.hears("listens")
        yield running


def both(running: Tried) -> set[int]:
    return running.until_others(set())


def test_workers_that_are_killed_again_and_again_are_replaced(tmp_path: Path) -> None:
    with tried(tmp_path) as running:
        seen = both(running)
        for _ in range(4):
            before = set(seen)
            for pid in both(running):
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
            seen |= running.until_others(before)
        assert len(seen) >= 10


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_what_runs_is_finished_when_it_is_told_to_stop(tmp_path: Path, number: signal.Signals) -> None:
    with tried(tmp_path) as running:
        pids = both(running)
        waiting = running.start_waiting(6)
        running.process.send_signal(number)
        while can_connect(running.port):
            pass
        running.gate.write_text("go")
        answers = [(each.getresponse().status, each.close()) for each in waiting]
        assert answers == [(200, None)] * 6
        assert running.process.wait(PATIENCE) == 0
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def can_connect(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=PATIENCE).close()
    except ConnectionError:
        return False
    return True


def test_a_reload_finishes_what_runs_and_refuses_nobody(tmp_path: Path) -> None:
    with tried(tmp_path) as running:
        before = both(running)
        waiting = running.start_waiting(3)
        running.process.send_signal(signal.SIGHUP)
        running.until_others(before)  # each of its connections was answered
        running.gate.write_text("go")
        for each in waiting:
            assert int(each.getresponse().read()) in before
            each.close()


def test_a_worker_in_which_a_request_hangs_is_replaced(tmp_path: Path) -> None:
    with tried(tmp_path, request_seconds=1) as running:
        before = both(running)
        (hung,) = running.start_waiting(1)
        replaced = set()
        while not replaced:
            replaced = {running.ask() for _ in range(20)} - before
        hung.close()


def test_a_worker_that_has_swollen_is_replaced_and_the_other_stays(tmp_path: Path) -> None:
    with tried(tmp_path) as running:
        before = both(running)
        swollen = running.ask("/swell")
        now: set[int] = set()
        while len(now) < 2 or swollen in now:
            now = now - {swollen} | {running.ask()}
        assert before - {swollen} < now


def test_idle_and_slow_connections_leave_room_for_others(tmp_path: Path) -> None:
    with tried(tmp_path) as running:
        half = b"POST / HTTP/1.1\r\nHost: kiosk\r\nContent-Length: 9\r\n\r\nhalf"
        with ExitStack() as kept:
            for number in range(400):
                connection = socket.create_connection(("127.0.0.1", running.port), timeout=PATIENCE)
                kept.enter_context(connection)
                if number % 4 == 0:
                    connection.sendall(half)
            assert running.ask() > 0


def test_a_body_above_every_limit_is_refused_before_it_is_read(tmp_path: Path) -> None:
    with tried(tmp_path) as running, socket.create_connection(("127.0.0.1", running.port)) as connection:
        connection.settimeout(PATIENCE)
        connection.sendall(b"POST / HTTP/1.1\r\nHost: kiosk\r\nContent-Length: 200000000\r\n\r\n")
        assert connection.recv(64).startswith(b"HTTP/1.1 413 ")


@pytest.mark.parametrize("kind", ["broken", "broken together"])
def test_workers_that_cannot_start_end_the_server_with_the_reason(tmp_path: Path, kind: str) -> None:
    with tried(tmp_path, kind) as running:
        assert running.process.stderr is not None
        said = running.process.stderr.read()
        assert running.process.wait(PATIENCE) == 3
    assert "there is no database" in said


def test_workers_end_when_the_first_process_is_killed(tmp_path: Path) -> None:
    with tried(tmp_path) as running:
        both(running)
        running.process.kill()
        assert running.process.stderr is not None
        running.process.stderr.read()  # it ends only when the workers, too, have let go of it
        assert not can_connect(running.port)


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

    def metrics(self) -> str:
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)) as connection:
            connection.request("GET", "/metrics", headers={"Authorization": f"Bearer {self.token}"})
            return connection.getresponse().read().decode()

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
    """Nobody reads its log: with every request in it, the pipe fills up and the server waits."""
    with serving(tmp_path, BARRELWISE_LOG="faults") as running:
        yield running


@contextmanager
def serving(tmp_path: Path, **settings: str) -> Iterator[Server]:
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
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "triage", "serve", "--port", str(port), "--workers", "2"],
        cwd=ROOT,
        env=os.environ
        | {
            "BARRELWISE_DATABASE": f"sqlite:///{database}",
            "BARRELWISE_RULEBOOK": str(tmp_path / "rules"),
            "BARRELWISE_ENGINE": "plain",
        }
        | settings,
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


def counts(server: Server) -> dict[tuple[str, ...], float]:
    """What `/metrics` says, whichever process is asked; processes apart where it names them."""
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(server.metrics())
        for sample in family.samples
    }


def test_counts_are_those_of_all_processes_and_stay_when_one_dies(server: Server) -> None:
    before = server.workers()
    for number in range(6):
        server.report(str(number))
    kept = "barrelwise_requests_total", "POST", "/v1/reports", "201"
    found = [counts(server) for _ in range(4)]
    assert {each[kept] for each in found} == {6}
    assert found[-1]["barrelwise_worker_starts_total",] == 2
    assert found[-1]["barrelwise_disk_free_bytes", "database"] > 0
    assert found[-1]["barrelwise_database_bytes",] >= server.database.stat().st_size
    os.kill(before[0], signal.SIGKILL)
    found = [found[-1]]
    while found[-1]["barrelwise_worker_starts_total",] < 3:
        with suppress(ConnectionError, http.client.HTTPException):  # the connection was the killed one's
            found.append(counts(server))
    assert {each[kept] for each in found} == {6}
    named = {key[1] for key in found[-1] if key[0] == "barrelwise_worker_requests"}
    assert str(before[0]) not in named


def test_the_log_of_a_served_program_is_json_a_line(tmp_path: Path) -> None:
    with serving(tmp_path, BARRELWISE_LOG="requests") as server:
        server.report("one")
        os.kill(server.workers()[0], signal.SIGKILL)
        server.report("two")
        server.process.terminate()
        _, said = server.process.communicate(timeout=PATIENCE)
    lines = [json.loads(line) for line in said.splitlines()]
    assert all({"time", "level", "logger", "message"} <= line.keys() for line in lines)
    sent = [line for line in lines if line.get("route") == "/v1/reports"]
    assert {(line["who"], line["role"], line["status"]) for line in sent} == {("lead", "ops", 201)}
    assert any(line["logger"] == "gunicorn.error" and "SIGKILL" in line["message"] for line in lines)
    assert server.token not in said
