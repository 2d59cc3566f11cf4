"""Stored decisions over HTTP: a served program on SQLite, clients on kept connections, none lost."""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests import ROOT
from triage.config import read_settings

CLIENTS = 4
REPORTS = 600
WARM_UP = 40


@dataclass(frozen=True, slots=True)
class Served:
    """What `REPORTS` stored decisions took; times in milliseconds."""

    per_second: float
    median_ms: float
    p99_ms: float
    sent: int
    found: int  # tickets in the list afterwards
    workers: int
    cpu_ms: float | None  # of the server's processes for one of them; None where the system does not tell


def served() -> Served:
    """Posts reports from several clients and counts the tickets afterwards."""
    with tempfile.TemporaryDirectory() as folder, _server(Path(folder)) as (pid, port, token):
        _post_all(port, token, WARM_UP)
        start, cpu = time.perf_counter(), _cpu_seconds(pid)
        times = sorted(_post_all(port, token, REPORTS))
        took, cpu_after = time.perf_counter() - start, _cpu_seconds(pid)
        return Served(
            per_second=REPORTS / took,
            median_ms=times[len(times) // 2] * 1000,
            p99_ms=times[int(len(times) * 0.99)] * 1000,
            sent=REPORTS + WARM_UP,
            found=_count(port, token),
            workers=read_settings().workers,
            cpu_ms=None if cpu is None or cpu_after is None else (cpu_after - cpu) / REPORTS * 1000,
        )


@contextmanager
def _server(folder: Path) -> Iterator[tuple[int, int, str]]:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port = found.getsockname()[1]
    environment = os.environ | {
        "BARRELWISE_DATABASE": f"sqlite:///{folder / 'bench.sqlite'}",
        "BARRELWISE_RULEBOOK": str(ROOT / "rules"),
    }
    command = [sys.executable, "-m", "triage"]
    subprocess.run([*command, "load", str(ROOT / "demo/records")], env=environment, cwd=ROOT, check=True)
    made = subprocess.run(
        [*command, "token", "add", "bench", "--role", "ops"],
        env=environment, cwd=ROOT, check=True, capture_output=True, text=True,
    )  # fmt: skip
    server = subprocess.Popen([*command, "serve", "--port", str(port)], env=environment, cwd=ROOT)
    try:
        _wait(port)
        yield server.pid, port, made.stdout.strip()
    finally:
        server.terminate()
        server.wait(timeout=30)


def _cpu_seconds(pid: int) -> float | None:
    """What the process and its children have used so far, by Linux's /proc."""
    own = Path(f"/proc/{pid}")
    try:
        children = (own / "task" / str(pid) / "children").read_text().split()
        stats = [Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split() for one in (pid, *children)]
    except OSError:
        return None
    return sum(int(stat[11]) + int(stat[12]) for stat in stats) / os.sysconf("SC_CLK_TCK")


def _wait(port: int) -> None:
    for _ in range(600):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the server did not start")


def _post_all(port: int, token: str, count: int) -> list[float]:
    bodies = [
        json.dumps(json.loads(path.read_text(encoding="utf-8"))["report"]).encode()
        for path in sorted((ROOT / "demo/reports").glob("*.json"))
    ]
    times: list[float] = []

    def client(numbers: range) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        for number in numbers:
            start = time.perf_counter()
            connection.request("POST", "/v1/reports", bodies[number % len(bodies)], headers)
            response = connection.getresponse()
            response.read()
            times.append(time.perf_counter() - start)
            if response.status != 201:
                raise RuntimeError(f"status {response.status}")
        connection.close()

    threads = [threading.Thread(target=client, args=(range(n, count, CLIENTS),)) for n in range(CLIENTS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return times


def _count(port: int, token: str) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    found, cursor = 0, ""
    while True:
        connection.request(
            "GET", f"/v1/tickets?limit=200{cursor}", headers={"Authorization": f"Bearer {token}"}
        )
        page = json.loads(connection.getresponse().read())
        found += len(page["items"])
        if page["next"] is None:
            return found
        cursor = f"&cursor={page['next']}"
