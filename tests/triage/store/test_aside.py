"""A use is noted without anybody waiting for the database."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy.exc import OperationalError

from triage.store import Store, Work, open_store
from triage.store.aside import Aside

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def noted(work: Work) -> None:
    work.tokens.note_use("desk", NOON)


def used_at(store: Store) -> datetime | None:
    with store.read() as work:
        (record,) = work.tokens.all()
    return record.used_at


def test_a_use_is_noted_while_the_request_goes_on(tmp_path: Path) -> None:
    file = tmp_path / "x.db"
    store = open_store(f"sqlite:///{file}")
    with store.write() as work:
        work.tokens.add("desk", "agent", None, NOON)
    aside, other = Aside(store), sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for _ in range(3):  # it does not wait, and none waits twice
        aside.write("token desk", noted)
    assert used_at(store) is None
    other.execute("COMMIT")
    aside.finish()
    assert used_at(store) == NOON
    other.close()
    store.close()


def test_in_memory_it_is_noted_at_once() -> None:
    store = open_store("sqlite://")
    with store.write() as work:
        work.tokens.add("desk", "agent", None, NOON)
    Aside(store).write("token desk", noted)
    assert used_at(store) == NOON
    store.close()


def test_what_fails_is_logged_and_tried_again(caplog: pytest.LogCaptureFixture) -> None:
    store = open_store("sqlite://")
    with store.write() as work:
        work.tokens.add("desk", "agent", None, NOON)
    aside = Aside(store)

    def fails(_: Work) -> None:
        raise OperationalError("UPDATE", {}, sqlite3.OperationalError("database or disk is full"))

    aside.write("token desk", fails)
    assert "disk is full" in caplog.text
    aside.write("token desk", noted)
    assert used_at(store) == NOON
    store.close()
