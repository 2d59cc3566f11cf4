"""Sessions of the pages: only hashes are kept, and what has expired is cleared away."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError

from triage.records.caller import Caller
from triage.store import Store, open_store
from triage.store.tables.tokens import IDLE, NOTED_EVERY, SessionRow

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'x.db'}")
    with opened.write() as work:
        work.tokens.add("desk", "agent", None, NOON)
    yield opened
    opened.close()


def kept(store: Store) -> int:
    with store.read() as work:
        return work.sessions._session.scalar(select(func.count()).select_from(SessionRow)) or 0


def test_a_session_says_who_it_is_and_is_nowhere_in_the_database(store: Store, tmp_path: Path) -> None:
    with store.write() as work:
        held = work.sessions.begin("desk", NOON)
    with store.read() as work:
        found = work.sessions.find(held, NOON)
        assert work.sessions.find(held[:-1], NOON) is None
    assert found is not None
    assert found.caller == Caller("desk", "agent")
    store.close()
    for file in tmp_path.iterdir():
        assert held.encode() not in file.read_bytes()


def test_its_use_is_written_down_now_and_then_only(store: Store) -> None:
    with store.write() as work:
        held = work.sessions.begin("desk", NOON)
        soon, later = (
            work.sessions.find(held, NOON + after) for after in (timedelta(seconds=9), NOTED_EVERY)
        )
    assert soon is not None
    assert later is not None
    assert (soon.to_note, later.to_note) == (False, True)


def test_what_has_expired_goes_with_the_next_sign_in(store: Store) -> None:
    for at in (NOON, NOON, NOON + IDLE):
        with store.write() as work:
            work.sessions.begin("desk", at)
    assert kept(store) == 1


def test_nobody_without_a_token_has_one(store: Store) -> None:
    with pytest.raises(IntegrityError), store.write() as work:
        work.sessions.begin("nobody", NOON)


@pytest.mark.parametrize("odd", ["", "\ud800", "x" * 100_000, "' OR 1=1"])
def test_odd_cookies_are_nobodys(store: Store, odd: str) -> None:
    with store.read() as work:
        assert work.sessions.find(odd, NOON) is None
