"""What clients see when the database cannot be written or read for a while, and that all is well afterwards.

Each fault is made in the database itself: a second connection that holds its lock, no room for another page,
a connection that may only read, bytes overwritten in the file, the PostgreSQL server stopped.
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from shutil import disk_usage
from typing import Any

import pytest
from flask.testing import FlaskClient
from sqlalchemy import create_engine, event, text

from api.app import create_app
from tests.postgresql import stoppable
from tests.triage.services import NOON, REPORT, Clock, running_service
from triage.cli.main import TRY_AGAIN, run
from triage.service.service import Service
from triage.store import connections, engine


class Called:
    """A client that keeps the numbers of the tickets that it was told of."""

    def __init__(self, service: Service) -> None:
        with service.store.write() as work:
            token = work.tokens.add("desk", "ops", None, NOON)
        self.client: FlaskClient = create_app(service).test_client()
        self.headers = {"Authorization": f"Bearer {token}"}
        self.told: list[str] = []

    def get(self, path: str) -> Any:
        return self.client.get(path, headers=self.headers)

    def report(self, key: str) -> Any:
        answer = self.client.post(
            "/v1/reports", json=REPORT, headers={**self.headers, "Idempotency-Key": key}
        )
        if answer.status_code == 201:
            self.told.append(answer.json["ticket"])
        return answer

    def refused(self, key: str, why: str, again: str | None = "60") -> None:
        """Reports are refused for now, reads go on, and the server says that it is not ready but lives."""
        for answer in (self.report(key), self.get("/readyz")):
            assert answer.status_code == 503
            assert why in answer.json["detail"]
            assert answer.headers.get("Retry-After") == again
        assert self.get("/v1/tickets").status_code == 200
        assert self.get("/healthz").status_code == 200

    def well(self, key: str) -> None:
        """A report is taken, and every ticket that was told of is there."""
        assert self.get("/readyz").status_code == 200
        assert self.report(key).status_code == 201
        assert self.get("/readyz").status_code == 200
        for ticket in self.told:
            assert self.get(f"/v1/tickets/{ticket}").status_code == 200


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits here as long as a server does."""
    monkeypatch.setattr(connections, "BUSY_TIMEOUT_MS", 50)
    monkeypatch.setattr(engine, "BUSY_TIMEOUT_MS", 50)
    monkeypatch.setattr(engine, "PROBE_MS", 20)


@pytest.fixture
def service(store_url: str, tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, Clock(), url=store_url) as running:
        yield running


@contextmanager
def locked(url: str) -> Iterator[None]:
    """Another program holds the lock that writers take."""
    holder = create_engine(url, isolation_level="AUTOCOMMIT")
    with holder.connect() as connection:
        if holder.name == "sqlite":
            connection.connection.cursor().execute("BEGIN IMMEDIATE")
        else:
            connection.execute(text(f"SELECT pg_advisory_lock({connections.WRITING})"))
            connection.execute(text("BEGIN"))
            connection.execute(text("UPDATE alembic_version SET version_num = version_num"))
        yield
        connection.invalidate()
    holder.dispose()


def test_while_another_program_writes_reads_go_on_and_writers_are_told_to_come_back(service: Service) -> None:
    called = Called(service)
    called.well("1")
    with locked(service.store.url):
        called.refused("2", "another program is writing", "5")
        called.refused("3", "another program is writing", "5")
        begun, enough = [], threading.Barrier(7, timeout=60)

        def report(number: int) -> None:
            enough.wait()
            begun.append(called.report(f"many-{number}").status_code)

        writers = [threading.Thread(target=report, args=(number,)) for number in range(6)]
        for writer in writers:
            writer.start()
        enough.wait()
        assert called.get("/v1/tickets").status_code == 200
        for writer in writers:
            writer.join(60)
        assert begun == [503] * 6
    called.well("2")
    called.well("4")
    assert len(called.told) == len(set(called.told)) == 3


@contextmanager
def with_pragma(service: Service, pragma: str) -> Iterator[None]:
    """Every connection of the program from now on has it."""

    def put(connection: sqlite3.Connection, _: object) -> None:
        connection.execute(f"PRAGMA {pragma}").fetchall()

    service.store.close()
    event.listen(service.store._engine, "connect", put)
    yield
    event.remove(service.store._engine, "connect", put)
    service.store.close()


@pytest.mark.parametrize(
    ("pragma", "why"),
    [("max_page_count = 1", "disk is full"), ("query_only = ON", "can only be read")],
)
def test_a_database_that_takes_no_more_is_read_and_recovers(tmp_path: Path, pragma: str, why: str) -> None:
    with running_service(tmp_path, Clock()) as service:
        called = Called(service)
        called.well("1")
        with with_pragma(service, pragma):
            for number in range(200):  # there may be room left in pages that are there
                if called.report(f"{number}").status_code == 503:
                    break
            assert called.report("late").status_code == 503
            assert called.get("/v1/tickets").status_code == 200
            assert called.get("/healthz").status_code == 200
            if "query_only" in pragma:
                called.refused("2", why)
            else:
                assert why in called.report("full").json["detail"]
        called.well("late")
        called.well("4")


def test_a_disk_with_no_room_left_is_told_before_a_report_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with running_service(tmp_path, Clock()) as service:
        called = Called(service)
        called.well("1")
        with monkeypatch.context() as disk:
            disk.setattr(engine, "disk_usage", lambda folder: disk_usage(folder)._replace(free=0))
            answer = called.get("/readyz")
            assert (answer.status_code, answer.headers["Retry-After"]) == (503, "60")
            assert "disk is full" in answer.json["detail"]
            assert called.get("/v1/tickets").status_code == 200
            assert called.get("/healthz").status_code == 200
        called.well("2")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 20 MB of its own."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=20m", "tmpfs", str(folder)]
    if os.geteuid() or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("no disk can be mounted here")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def test_a_real_disk_runs_full_and_gets_room_again(small_disk: Path) -> None:
    with running_service(small_disk, Clock()) as service:
        called = Called(service)
        called.well("1")
        ballast = small_disk / "ballast"
        ballast.write_bytes(b"\0" * (disk_usage(small_disk).free - 2 * engine.LEAST_FREE_BYTES))
        number = 0
        while called.report(f"more-{number}").status_code == 201:
            number += 1
            assert number < 500
        called.refused(f"more-{number}", "disk is full")
        ballast.unlink()
        called.well(f"more-{number}")
        assert len(called.told) == len(set(called.told)) == number + 2


def test_a_damaged_database_says_so_and_is_told_from_one_that_waits(tmp_path: Path) -> None:
    with running_service(tmp_path, Clock()) as service:
        called = Called(service)
        called.well("1")
        service.store.close()
        file = tmp_path / "program.db"
        whole = file.read_bytes()
        file.write_bytes(whole[:100] + b"\x00" * (len(whole) - 100))
        answer = called.get("/readyz")
        assert (answer.status_code, answer.headers.get("Retry-After")) == (503, None)
        assert "is damaged; its operator has to act" in answer.json["detail"]
        assert called.report("2").status_code == 503
        assert called.get("/healthz").status_code == 200
        service.store.close()
        file.write_bytes(whole)
        called.well("2")


@pytest.mark.postgresql
def test_a_postgresql_server_that_goes_and_comes_back(tmp_path: Path) -> None:
    with stoppable(synchronous_commit="on") as (made, stop, start):
        url = made().render_as_string(hide_password=False)
        with running_service(tmp_path, Clock(), url=url) as service:
            called = Called(service)
            called.well("1")
            stop()
            for path in ("/readyz", "/v1/tickets"):
                answer = called.get(path)
                assert (answer.status_code, answer.headers["Retry-After"]) == (503, "5")
                assert "the database" in answer.json["detail"]
            assert called.report("2").status_code == 503
            assert called.get("/healthz").status_code == 200
            start()
            called.well("2")
            called.well("3")


def test_a_clock_that_goes_back_by_hours_stops_nobody(store_url: str, tmp_path: Path) -> None:
    clock = Clock()
    with running_service(tmp_path, clock, url=store_url) as service:
        called = Called(service)
        called.well("1")
        clock.move(hours=-5)
        (ticket,) = called.told
        answer = called.client.post(
            f"/v1/tickets/{ticket}/answers", json={"answers": {"fill_level": 20}}, headers=called.headers
        )
        assert answer.status_code == 200, answer.json
        assert called.get(f"/v1/tickets/{ticket}").json["version"] == 4
        clock.move(hours=5)
        called.well("2")


def test_a_command_says_what_keeps_the_database_and_that_it_can_be_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with running_service(tmp_path, Clock()) as service:
        url = service.store.url
    monkeypatch.setenv("BARRELWISE_DATABASE", url)
    with closing(sqlite3.connect(tmp_path / "program.db", isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN IMMEDIATE")
        assert run(["token", "add", "desk-2", "--role", "agent"]) in (2, TRY_AGAIN)
    assert "locked" in (said := capsys.readouterr().err) or "another program" in said
