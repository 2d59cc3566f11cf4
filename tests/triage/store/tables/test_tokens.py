"""Bearer tokens: only hashes are kept, roles hold, revoked means out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from triage.records.caller import Caller
from triage.store import Store, open_store
from triage.store.tables.machines import Contractor
from triage.store.tables.tokens import NOTED_EVERY, InUse
from triage.values.errors import InputError, NotFoundError

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'x.db'}")
    with opened.write() as work:
        work.machines.put_contractors([Contractor("fogline", "Fogline Refrigeration")])
    yield opened
    opened.close()


def test_a_token_lets_its_holder_in_with_role_and_contractor(store: Store) -> None:
    with store.write() as work:
        token = work.tokens.add("van-3", "technician", "fogline", NOON)
        assert work.tokens.find(token, NOON) == InUse(Caller("van-3", "technician", "fogline"), True)
        assert work.tokens.find(token + "x", NOON) is None


def test_two_tokens_are_never_the_same_and_have_256_random_bits(store: Store) -> None:
    with store.write() as work:
        tokens = {work.tokens.add(f"desk-{number}", "agent", None, NOON) for number in range(20)}
    assert len(tokens) == 20
    assert all(len(token.removeprefix("bw_")) == 43 for token in tokens)  # 32 bytes in base 64


def test_the_token_itself_is_nowhere_in_the_database(store: Store, tmp_path: Path) -> None:
    with store.write() as work:
        token = work.tokens.add("desk", "agent", None, NOON)
    store.close()
    for file in tmp_path.iterdir():
        assert token.removeprefix("bw_").encode() not in file.read_bytes()


def test_a_revoked_token_lets_nobody_in_and_stays_listed(store: Store) -> None:
    with store.write() as work:
        token = work.tokens.add("desk", "agent", None, NOON)
        assert work.tokens.any_valid(NOON)
        work.tokens.revoke("desk", NOON)
        work.tokens.revoke("desk", NOON.replace(hour=13))
        assert work.tokens.find(token, NOON) is None
        assert not work.tokens.any_valid(NOON)
        (record,) = work.tokens.all()
    assert record.revoked_at == NOON


@pytest.mark.parametrize("name", ["", " ", "a\nb", "x" * 65, "\ud800"])
def test_a_name_can_be_read_aloud(store: Store, name: str) -> None:
    with pytest.raises(InputError, match="printable"), store.write() as work:
        work.tokens.add(name, "agent", None, NOON)


@pytest.mark.parametrize(("role", "contractor"), [("technician", None), ("agent", "fogline")])
def test_a_technician_and_nobody_else_belongs_to_a_contractor(
    store: Store, role: str, contractor: str | None
) -> None:
    with pytest.raises(InputError, match="technician"), store.write() as work:
        work.tokens.add("x", role, contractor, NOON)  # type: ignore[arg-type]


def test_an_unknown_contractor_is_named_with_those_that_exist(store: Store) -> None:
    with pytest.raises(NotFoundError, match="fogline"), store.write() as work:
        work.tokens.add("x", "technician", "foglime", NOON)


def test_a_token_ends_on_its_day_and_no_later(store: Store) -> None:
    with store.write() as work:
        end = NOON + timedelta(days=30)
        token = work.tokens.add("desk", "agent", None, NOON, expires_at=end)
        last = end - timedelta(microseconds=1)
        assert work.tokens.find(token, last) is not None
        assert work.tokens.any_valid(last)
        assert work.tokens.find(token, end) is None
        assert not work.tokens.any_valid(end)


def test_its_last_use_is_noted_now_and_then(store: Store) -> None:
    with store.write() as work:
        token = work.tokens.add("desk", "agent", None, NOON)
        work.tokens.note_use("desk", NOON)
        soon, later = NOON + NOTED_EVERY - timedelta(seconds=1), NOON + NOTED_EVERY
        found = [work.tokens.find(token, at) for at in (soon, later)]
        (record,) = work.tokens.all()
    assert [each.to_note for each in found if each is not None] == [False, True]
    assert record.used_at == NOON


def test_the_name_of_an_ended_token_can_be_used_again_by_a_new_one_alone(store: Store) -> None:
    later = NOON + timedelta(days=2)
    with store.write() as work:
        first = work.tokens.add("desk", "agent", None, NOON, expires_at=NOON + timedelta(days=1))
        session = work.sessions.begin("desk", NOON + timedelta(hours=20))
        second = work.tokens.add("desk", "ops", None, later - timedelta(hours=16))
        found = work.tokens.find(second, later)
        assert found is not None
        assert found.caller == Caller("desk", "ops", None)
        assert work.tokens.find(first, later - timedelta(days=1, hours=12)) is None
        assert work.sessions.find(session, NOON + timedelta(hours=33)) is None
        assert work.sessions.find(work.sessions.begin("desk", later), later) is not None


def test_a_name_is_used_once_and_an_unknown_one_cannot_be_revoked(store: Store) -> None:
    with store.write() as work:
        work.tokens.add("desk", "agent", None, NOON)
        with pytest.raises(InputError, match="exists already"):
            work.tokens.add("desk", "ops", None, NOON)
        with pytest.raises(NotFoundError):
            work.tokens.revoke("nobody", NOON)
