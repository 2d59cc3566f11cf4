"""The database: migrations, transactions, what the log refuses, and values that come back as they went in."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from moneyed import Money
from sqlalchemy import Connection, create_engine, inspect, text
from sqlalchemy.exc import DBAPIError, IntegrityError, StatementError

from triage.records.custody import CustodyEvent
from triage.records.report import CareEvent, Machine, PastRepair, Site
from triage.store import Store, open_store
from triage.store.migrate import alembic_config
from triage.store.tables.idempotency import StoredResponse
from triage.store.tables.machines import Contractor
from triage.store.tables.models import Base
from triage.store.tables.rulebooks import Publication
from triage.values.errors import ConflictError, InputError, NotFoundError, UnavailableError

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
SITE = Site("halt-001", "Lanternway Alder Quay", "Alder", "America/New_York", "555-0101", 42, True)
MACHINE = Machine(
    "LH20-1",
    "LH-20",
    date(2025, 1, 5),
    date(2025, 2, 1),
    SITE,
    "fogline",
    "LW-0001",
    Money("3150.00", "USD"),
    {
        "clearance_behind_in": Decimal("6.125"),
        "whole": Decimal(7),
        "bolt_removed": True,
        "seal_style": "flat",
        "fitted": date(2025, 2, 1),
        "opens": time(6, 30),
    },
)


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    opened = open_store(store_url)
    with opened.write() as work:
        work.machines.put_sites([SITE])
        work.machines.put_contractors([Contractor("fogline", "Fogline Refrigeration", "555-0162")])
        work.machines.put_machines([MACHINE])
    yield opened
    opened.close()


def differences(connection: Connection) -> list[object]:
    """Where the tables in the database and the models part."""
    context = MigrationContext.configure(connection, opts={"compare_type": True})
    return list(compare_metadata(context, Base.metadata))


def test_the_migrations_make_exactly_the_tables_of_the_models(store: Store, store_url: str) -> None:
    engine = create_engine(store_url)
    with engine.connect() as connection:
        assert differences(connection) == []
    engine.dispose()


def test_the_migrations_that_can_go_back_do_and_come_again(store_url: str) -> None:
    open_store(store_url).close()
    engine = create_engine(store_url)
    config = alembic_config()
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, "0008")
        assert not inspect(connection).has_table("open_dangers")
    open_store(store_url).close()
    with engine.connect() as connection:
        assert differences(connection) == []
    engine.dispose()


def test_a_table_that_was_changed_by_hand_is_told_from_the_models(store: Store, store_url: str) -> None:
    engine = create_engine(store_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE sites ADD COLUMN color TEXT")
        assert len(differences(connection)) == 1
    engine.dispose()


def test_opening_again_finds_everything_as_it_was(store: Store, store_url: str) -> None:
    again = open_store(store_url)
    with again.read() as work:
        assert work.machines.get("LH20-1") == MACHINE
    again.close()


def test_a_database_from_a_newer_version_is_not_touched(store: Store, store_url: str) -> None:
    engine = create_engine(store_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()
    with pytest.raises(InputError, match="9999, which this version does not know"):
        open_store(store_url)


@pytest.mark.parametrize("url", ["nonsense", "nodb://x", "sqlite:////proc/none/x.db"])
def test_a_database_that_cannot_be_opened_is_an_input_error(url: str) -> None:
    with pytest.raises(InputError):
        open_store(url)


def test_a_file_that_is_no_database_is_an_input_error(tmp_path: Path) -> None:
    (tmp_path / "x.db").write_text("This is a shopping list, not a database.\n" * 50)
    with pytest.raises(InputError, match="cannot be opened"):
        open_store(f"sqlite:///{tmp_path / 'x.db'}")


def test_two_openings_at_once_both_succeed(store_url: str) -> None:
    opened: list[Store] = []
    threads = [threading.Thread(target=lambda: opened.append(open_store(store_url))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(opened) == 4
    for one in opened:
        one.close()


def test_sqlite_runs_in_wal(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "barrelwise.db"
    open_store(f"sqlite:///{path}").close()
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    connection.close()


def test_care_of_a_machine_that_is_not_there_is_refused(store: Store) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key"), store.write() as work:
        work.care.add_care("no-such-machine", [CareEvent("filter_cleaned", NOON, "store")])


def test_a_machine_comes_back_with_the_types_it_went_in_with(store: Store) -> None:
    with store.read() as work:
        found = work.machines.get("LH20-1")
    assert found == MACHINE
    assert {name: type(value) for name, value in found.facts.items()} == {
        name: type(value) for name, value in MACHINE.facts.items()
    }


def test_times_come_back_as_the_same_instant_in_utc(store: Store) -> None:
    eastern = NOON.astimezone(timezone(timedelta(hours=-5)))
    with store.write() as work:
        work.care.add_care("LH20-1", [CareEvent("filter_cleaned", eastern, "store", {"note": "dusty"})])
    with store.read() as work:
        (event,) = work.care.history("LH20-1").care
    assert event == CareEvent("filter_cleaned", NOON, "store", {"note": "dusty"})
    assert event.at.tzinfo is UTC


def test_a_time_without_offset_is_refused(store: Store) -> None:
    naive = NOON.replace(tzinfo=None)
    with pytest.raises(StatementError, match="without its offset"), store.write() as work:
        work.care.add_care("LH20-1", [CareEvent("filter_cleaned", naive, "store")])


def test_care_and_repairs_are_added_once(store: Store) -> None:
    care = CareEvent("filter_cleaned", NOON, "store")
    repair = PastRepair(NOON, "T-ABC123", None, Money("120.00", "USD"))
    with store.write() as work:
        assert work.care.add_care("LH20-1", [care, care]) == 1
        assert work.care.add_care("LH20-1", [care]) == 0
        assert work.care.add_repairs("LH20-1", [repair]) == 1
        assert work.care.add_repairs("LH20-1", [repair]) == 0
        history = work.care.history("LH20-1")
    assert history.care == (care,)
    assert history.repairs == (repair,)


def test_nothing_of_a_failed_transaction_stays(store: Store) -> None:
    with pytest.raises(RuntimeError), store.write() as work:
        work.machines.put_sites([Site("halt-002", "Birch Landing", "Birch", "America/New_York")])
        raise RuntimeError("the roof leaks")
    with store.read() as work, pytest.raises(NotFoundError):
        work.machines.site("halt-002")


def test_a_write_inside_a_write_joins_it(store: Store) -> None:
    with pytest.raises(RuntimeError, match="after"), store.write():
        with store.write() as inner:
            inner.machines.put_sites([Site("halt-002", "Birch Landing", "Birch", "America/New_York")])
        with store.read() as work:
            assert work.machines.site("halt-002").town == "Birch"
        raise RuntimeError("after")
    with store.read() as work, pytest.raises(NotFoundError):
        work.machines.site("halt-002")


def test_a_write_inside_a_read_is_refused(store: Store) -> None:
    with store.read(), pytest.raises(RuntimeError, match="inside a read"), store.write():
        pass


def test_a_rulebook_is_kept_once_and_comes_back_exactly(store: Store) -> None:
    files = {"rates.yml": {"trip": Decimal("95.10"), "since": date(2026, 1, 1)}}
    with store.write() as work:
        work.rulebooks.keep("sha256:aa", files)
        work.rulebooks.keep("sha256:aa", {})
        work.rulebooks.publish(Publication("sha256:aa", NOON, "ops", "first"))
    with store.read() as work:
        kept = work.rulebooks.files("sha256:aa")
        assert kept == {"rates.yml": {"trip": Decimal("95.10"), "since": "2026-01-01"}}
        assert work.rulebooks.files("sha256:bb") is None
        assert work.rulebooks.live() == Publication("sha256:aa", NOON, "ops", "first")
        assert len(work.rulebooks.publications()) == 1


def test_a_response_is_found_by_caller_and_key(store: Store) -> None:
    response = StoredResponse("hash", 201, {"ETag": '"2"'}, {"chance": Decimal("0.1")})
    with store.write() as work:
        work.responses.keep("desk", "k1", response, NOON)
    with store.read() as work:
        assert work.responses.find("desk", "k1") == response
        assert work.responses.find("other", "k1") is None


def kept(store: Store) -> tuple[str, ...]:
    with store.read() as work:
        return tuple(sorted(work.rulebooks.versions()))


def keep(store: Store, version: str) -> None:
    with store.write() as work:
        work.rulebooks.keep(version, {})


def test_writes_of_one_write_are_one_transaction_that_the_first_of_them_begins(
    store: Store, store_url: str
) -> None:
    other = open_store(store_url)
    begun: list[bool] = []
    with store.one_write(lambda work: begun.append(work.writes)):
        keep(other, "sha256:aa")  # nothing is locked yet
        assert begun == []
        keep(store, "sha256:bb")
        keep(store, "sha256:cc")
        assert begun == [True]
        assert kept(store) == ("sha256:aa", "sha256:bb", "sha256:cc")
        assert kept(other) == ("sha256:aa",)
    assert kept(other) == ("sha256:aa", "sha256:bb", "sha256:cc")
    other.close()


def test_what_fails_after_the_first_write_of_one_write_undoes_it(store: Store) -> None:
    with pytest.raises(InputError, match="half way"), store.one_write(lambda _: None):
        keep(store, "sha256:aa")
        raise InputError("half way")
    assert kept(store) == ()
    keep(store, "sha256:bb")  # the lock is free, and a write is stored at once again
    assert kept(store) == ("sha256:bb",)


def test_a_first_write_that_fails_lets_the_lock_go_and_the_next_begins_anew(
    store: Store, store_url: str
) -> None:
    other = open_store(store_url)
    begun: list[bool] = []
    with store.one_write(lambda work: begun.append(work.writes)):
        with pytest.raises(InputError, match="not so"), store.write() as work:
            work.rulebooks.keep("sha256:aa", {})
            raise InputError("not so")
        keep(other, "sha256:bb")
        keep(store, "sha256:cc")
    assert begun == [True, True]
    assert kept(other) == ("sha256:bb", "sha256:cc")
    other.close()


def test_custody_is_only_added_to_and_follows_its_steps(store: Store, store_url: str) -> None:
    with store.write() as work:
        work.depot.add(CustodyEvent("LH20-9", "at_depot", NOON, "desk", place="Stores East"))
    with pytest.raises(ConflictError, match="at depot; it cannot be installed next"), store.write() as work:
        work.depot.add(CustodyEvent("LH20-9", "installed", NOON, "van-3"))
    engine = create_engine(store_url)
    for change in ("UPDATE custody SET who = 'x'", "DELETE FROM custody"):
        with pytest.raises(DBAPIError, match="only added to"), engine.begin() as connection:
            connection.exec_driver_sql(change)
    engine.dispose()
    with store.read() as work:
        assert [event.step for event in work.depot.chain("LH20-9")] == ["at_depot"]


def test_a_unit_that_is_on_its_way_can_be_taken_once(store: Store) -> None:
    with store.write() as work:
        work.depot.add(CustodyEvent("LH20-9", "at_depot", NOON, "desk"))
    outcomes: list[str] = []

    def take(who: str) -> None:
        try:
            with store.write() as work:
                work.depot.add(CustodyEvent("LH20-9", "on_the_way", NOON, who))
            outcomes.append("taken")
        except ConflictError:
            outcomes.append("refused")

    threads = [threading.Thread(target=take, args=(f"desk-{number}",)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["refused"] * 5 + ["taken"]


def test_an_older_program_stands_aside_once_a_newer_one_has_migrated_the_database(store_url: str) -> None:
    with closing(open_store(store_url)) as store:
        store.check()
        newer = create_engine(store_url)
        with newer.begin() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
            connection.execute(text("ALTER TABLE tickets RENAME TO reports"))
        for act in (store.check, lambda: write_a_token(store), lambda: read_tickets(store)):
            with pytest.raises(UnavailableError, match="another version of this program") as told:
                act()
            assert told.value.retry_seconds == 60
        with newer.begin() as connection:
            assert connection.execute(text("SELECT count(*) FROM tokens")).scalar() == 0
        newer.dispose()


def write_a_token(store: Store) -> None:
    with store.write() as work:
        work.tokens.add("Ada", "agent", None, NOON)


def read_tickets(store: Store) -> None:
    with store.read() as work:
        work.tickets.get("T-000001")
