"""Callers' data is their owner's to read: the database and everything that stands beside it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from triage.store import open_store
from triage.store.owner_only import make_owner_only


@pytest.fixture
def generous() -> Iterator[None]:
    """A umask that would let everybody read and write."""
    before = os.umask(0)
    yield
    os.umask(before)


def modes(folder: Path) -> dict[str, str]:
    return {path.name: oct(stat.S_IMODE(path.stat().st_mode)) for path in folder.iterdir()}


def used(path: Path) -> dict[str, str]:
    """The modes of all files while the database is open and was written to."""
    store = open_store(f"sqlite:///{path}")
    with store.write():
        pass
    found = modes(path.parent)
    store.close()
    return found


@pytest.mark.usefixtures("generous")
def test_a_new_database_is_its_owners_with_log_and_lock(tmp_path: Path) -> None:
    assert used(tmp_path / "x.db") == dict.fromkeys(("x.db", "x.db-wal", "x.db-shm", "x.db-turn"), "0o600")


@pytest.mark.usefixtures("generous")
def test_what_stood_open_is_closed_at_the_next_opening(tmp_path: Path) -> None:
    used(tmp_path / "x.db")
    for name in ("x.db", "x.db-turn", "x.db-wal", "x.db-shm", "x.db-journal"):
        (tmp_path / name).touch()
        (tmp_path / name).chmod(0o664)
    (tmp_path / "other").touch(0o644)
    open_store(f"sqlite:///{tmp_path / 'x.db'}").close()
    left = modes(tmp_path)
    assert left.pop("other") == "0o644"
    assert set(left.values()) == {"0o600"}


def test_what_the_owner_may_not_write_stays_so(tmp_path: Path) -> None:
    (tmp_path / "x").touch(0o644)
    (tmp_path / "x").chmod(0o444)
    make_owner_only(tmp_path / "x")
    assert modes(tmp_path) == {"x": "0o400"}
