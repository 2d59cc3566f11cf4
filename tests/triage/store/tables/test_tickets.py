"""The log is only added to, and the state beside it is always its fold."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import URL, create_engine, text
from sqlalchemy.exc import DBAPIError

from tests.triage.payloads import close_out
from triage.records.payloads import Answered, CheckDone, Decided, Payload, Reopened, Reported
from triage.records.ticket import Ticket, fold
from triage.store import Store, open_store
from triage.store.tables.tickets import TicketMoved, following, opening
from triage.values.errors import NotFoundError

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
REPORTED = Reported({"symptoms": ["leaking"]})
DECIDED = Decided({"outcome": "dispatch", "chance": 0.1, "days": Decimal("2.50")}, {})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "x.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{path}")
    yield opened
    opened.close()


def append(store: Store, ticket_id: str, *news: Payload, at: datetime = NOON) -> Ticket:
    with store.write() as work:
        return work.tickets.append(ticket_id, news, at=at, who="desk", rulebook="sha256:aa")


def test_what_is_appended_is_what_is_read(store: Store) -> None:
    given_back = append(store, "T-1", REPORTED, DECIDED)
    with store.read() as work:
        assert work.tickets.get("T-1") == given_back
        assert [(event.seq, event.kind) for event in work.tickets.events("T-1")] == [
            (1, "reported"),
            (2, "decided"),
        ]
        assert [event.seq for event in work.tickets.events("T-1", after=1)] == [2]
    assert given_back.decision == {
        "outcome": "dispatch",
        "chance": Decimal("0.1"),
        "days": Decimal("2.50"),
    }


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET who = 'somebody else'",
        "DELETE FROM events",
        "UPDATE events SET words = x'00'",
        "INSERT OR REPLACE INTO events SELECT ticket, seq, kind, at, 'other', rulebook, NULL, NULL, payload "
        "FROM events",
        "UPDATE event_chain SET hash = x'00'",
        "DELETE FROM tickets",
    ],
)
def test_the_log_cannot_be_changed_even_by_hand(store: Store, path: Path, statement: str) -> None:
    append(store, "T-1", REPORTED)
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA recursive_triggers = ON")
    connection.execute("PRAGMA foreign_keys = ON")
    with pytest.raises(sqlite3.IntegrityError, match=r"only added to|FOREIGN KEY"):
        connection.execute(statement)
    connection.close()
    with store.read() as work:
        assert [event.who for event in work.tickets.events("T-1")] == ["desk"]


@pytest.mark.parametrize("table", ["events", "event_chain", "care_events", "publications"])
def test_every_log_has_its_triggers(store: Store, path: Path, table: str) -> None:
    connection = sqlite3.connect(path)
    found = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ? ORDER BY name", [table]
    ).fetchall()
    connection.close()
    names = ["no_delete", "no_update", *(["only_erased"] if table in ("events", "care_events") else [])]
    assert found == [(f"{table}_{name}",) for name in names]


def test_an_event_and_the_state_it_makes_are_stored_together_or_not_at_all(store: Store) -> None:
    append(store, "T-1", REPORTED)
    with pytest.raises(RuntimeError, match="power cut"), store.write() as work:
        work.tickets.append("T-1", [DECIDED], at=NOON, who="desk", rulebook="sha256:aa")
        raise RuntimeError("power cut")
    with store.read() as work:
        assert (work.tickets.get("T-1").version, len(work.tickets.events("T-1"))) == (1, 1)


def test_an_event_that_does_not_fit_is_not_stored(store: Store) -> None:
    with pytest.raises(ValueError, match="starts with"):
        append(store, "T-1", DECIDED)
    append(store, "T-1", REPORTED)
    with pytest.raises(ValueError, match="reported once"):
        append(store, "T-1", REPORTED)
    with pytest.raises(ValueError, match="nothing to append"):
        append(store, "T-2")
    with store.read() as work:
        assert len(work.tickets.events("T-1")) == 1
        with pytest.raises(NotFoundError):
            work.tickets.get("T-2")


def test_a_number_that_is_not_finite_is_not_stored(store: Store) -> None:
    with pytest.raises(ValueError, match="JSON"):
        append(store, "T-1", Reported({"answers": {"x": float("nan")}}))
    with store.read() as work, pytest.raises(NotFoundError):
        work.tickets.get("T-1")


def test_a_ticket_made_ready_is_stored_as_one_that_was_appended_and_never_over_another(store: Store) -> None:
    ready = opening("T-1", [REPORTED, DECIDED], at=NOON, who="desk", rulebook="sha256:aa")
    other = opening("T-1", [REPORTED], at=NOON, who="another", rulebook="sha256:aa")
    append(store, "T-2", REPORTED, DECIDED)
    with store.write() as work:
        assert work.tickets.open(ready)
        assert not work.tickets.open(other)
    with store.read() as work:
        found, appended = work.tickets.get("T-1"), work.tickets.get("T-2")
        assert found == ready.ticket == replace(appended, id="T-1")
        assert [event.who for event in work.tickets.events("T-1")] == ["desk", "desk"]


NEWS = {
    "answered": Answered({"fill_level": Decimal("12.5")}),
    "check": CheckDone("rinse-filter", "not_cured"),
    "decided": DECIDED,
    "closed": close_out("other", 10),
    "reopened": Reopened("again"),
}


@settings(
    deadline=None,
    derandomize=True,
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(batches=st.lists(st.lists(st.sampled_from(sorted(NEWS)), min_size=1, max_size=3), max_size=5))
def test_the_state_beside_the_log_is_its_fold(store: Store, batches: list[list[str]]) -> None:
    with store.read() as work:
        ticket_id = f"T-{len(work.tickets.page({}, None, 200)[0])}"
    append(store, ticket_id, REPORTED)
    for number, batch in enumerate(batches):
        at = NOON + timedelta(minutes=number)
        append(store, ticket_id, *(NEWS[name] for name in batch), at=at)
    with store.read() as work:
        assert work.tickets.get(ticket_id) == fold(work.tickets.events(ticket_id))


@settings(
    deadline=None,
    derandomize=True,
    max_examples=20,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(minutes=st.lists(st.integers(0, 3), max_size=12), limit=st.integers(1, 5))
def test_paging_shows_every_ticket_once_newest_first(tmp_path: Path, minutes: list[int], limit: int) -> None:
    store = open_store("sqlite://")
    for number, minute in enumerate(minutes):
        append(store, f"T-{number:02}", REPORTED, at=NOON + timedelta(minutes=minute))
    shown: list[Ticket] = []
    cursor = None
    with store.read() as work:
        while True:
            tickets, cursor = work.tickets.page({}, cursor, limit)
            shown += tickets
            if cursor is None:
                break
    store.close()
    wanted = sorted(((NOON + timedelta(minutes=m), f"T-{n:02}") for n, m in enumerate(minutes)), reverse=True)
    assert [(ticket.opened_at, ticket.id) for ticket in shown] == wanted


def test_what_follows_a_ticket_is_stored_only_while_the_ticket_is_as_it_was_read(store: Store) -> None:
    append(store, "T-1", REPORTED, DECIDED)
    with store.read() as work:
        read = work.tickets.get("T-1")
    ready = following(read, [NEWS["answered"]], at=NOON, who="desk", rulebook="sha256:aa")
    late = following(read, [NEWS["check"]], at=NOON, who="another", rulebook="sha256:aa")
    with store.write() as work:
        work.tickets.follow(ready)
    with pytest.raises(TicketMoved), store.write() as work:
        work.tickets.follow(late)
    with store.read() as work:
        assert work.tickets.get("T-1") == ready.ticket
        assert [event.kind for event in work.tickets.events("T-1")] == ["reported", "decided", "answered"]


@pytest.mark.postgresql
def test_no_log_is_changed_or_emptied_by_hand_on_postgresql(postgresql: Callable[[], URL]) -> None:
    engine = create_engine(postgresql())
    with closing(open_store(engine.url.render_as_string(hide_password=False))) as store:
        append(store, "T-1", REPORTED)
        found = "SELECT DISTINCT tgrelid::regclass::text FROM pg_trigger WHERE tgname LIKE '%_no_delete'"
        with engine.connect() as connection:
            logs = set(connection.scalars(text(found)))
        assert logs >= {"events", "event_chain", "custody", "install_events"}
        changes = ["DELETE FROM events", "UPDATE events SET who = 'x'", "TRUNCATE tickets CASCADE"]
        for change in (*changes, *(f"TRUNCATE {log} CASCADE" for log in logs)):
            with pytest.raises(DBAPIError, match="only added to"), engine.begin() as connection:
                connection.execute(text(change))
        with store.read() as work:
            assert [event.who for event in work.tickets.events("T-1")] == ["desk"]
    engine.dispose()
