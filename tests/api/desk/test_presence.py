"""Who has a ticket open is known to every process that serves the database, and written rarely."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from api.desk.presence import KEPT, NOTED_AGAIN_AFTER, RECENT, Presence
from tests.triage.services import NOON
from triage.store import Store, open_store

SECOND = timedelta(seconds=1)


@pytest.fixture
def stores(tmp_path: Path) -> Iterator[tuple[Store, Store]]:
    """One database, opened twice, as two processes do."""
    url = f"sqlite:///{tmp_path / 'desk.db'}"
    one, other = open_store(url), open_store(url)
    yield one, other
    one.close()
    other.close()


def test_who_looks_by_way_of_one_process_is_seen_by_way_of_another(stores: tuple[Store, Store]) -> None:
    here, there = Presence(stores[0]), Presence(stores[1])
    assert here.others("T-1", "mira", NOON) == []
    assert there.others("T-1", "ines", NOON + SECOND) == ["mira"]
    assert here.others("T-1", "mira", NOON + 2 * SECOND) == ["ines"]
    assert here.others("T-2", "mira", NOON + 3 * SECOND) == []


def test_who_has_not_looked_for_two_minutes_is_gone(stores: tuple[Store, Store]) -> None:
    here, there = Presence(stores[0]), Presence(stores[1])
    here.others("T-1", "mira", NOON)
    assert there.others("T-1", "ines", NOON + RECENT) == ["mira"]
    assert there.others("T-1", "ines", NOON + RECENT + SECOND) == []


def test_a_look_is_written_again_only_after_some_seconds(stores: tuple[Store, Store]) -> None:
    here = Presence(stores[0])
    looks = (timedelta(0), SECOND, NOTED_AGAIN_AFTER - SECOND, NOTED_AGAIN_AFTER, NOTED_AGAIN_AFTER + SECOND)
    written = []
    for after in looks:
        here.others("T-1", "mira", NOON + after)
        with stores[1].read() as work:
            written.append(work.presences.seen("T-1", NOON)["mira"] - NOON)
    first, again = timedelta(0), NOTED_AGAIN_AFTER
    assert written == [first, first, first, again, again]


def test_old_looks_are_deleted_with_the_next_one_that_is_written(stores: tuple[Store, Store]) -> None:
    here = Presence(stores[0])
    here.others("T-1", "mira", NOON)
    here.others("T-2", "ines", NOON + KEPT + SECOND)
    with stores[1].read() as work:
        assert work.presences.seen("T-1", NOON) == {}
        assert list(work.presences.seen("T-2", NOON)) == ["ines"]
