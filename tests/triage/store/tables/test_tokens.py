"""Bearer tokens: only hashes are kept, roles hold, revoked means out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from triage.records.caller import Caller
from triage.store import Store, open_store
from triage.store.tables.machines import Contractor
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
        assert work.tokens.caller(token) == Caller("van-3", "technician", "fogline")
        assert work.tokens.caller(token + "x") is None


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
        assert work.tokens.any_valid()
        work.tokens.revoke("desk", NOON)
        work.tokens.revoke("desk", NOON.replace(hour=13))
        assert work.tokens.caller(token) is None
        assert not work.tokens.any_valid()
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


def test_a_name_is_used_once_and_an_unknown_one_cannot_be_revoked(store: Store) -> None:
    with store.write() as work:
        work.tokens.add("desk", "agent", None, NOON)
        with pytest.raises(InputError, match="exists already"):
            work.tokens.add("desk", "ops", None, NOON)
        with pytest.raises(NotFoundError):
            work.tokens.revoke("nobody", NOON)
