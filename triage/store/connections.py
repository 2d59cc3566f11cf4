"""How a database is connected to, how its transactions begin, and what whoever watches it is told.

SQLite runs in WAL with foreign keys on and full sync; a writer takes the write lock at its start
(BEGIN IMMEDIATE), so that it never has to give up half way because another wrote first. On PostgreSQL a
writer takes an advisory lock at its start, so that there too what a write has read holds when it is stored.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.pool import StaticPool

from triage.store.owner_only import make_database_owner_only

BUSY_TIMEOUT_MS = 10_000
"""How long a writer waits for another; then it is told to come back."""
CONNECT_SECONDS = 5
WRITING = 0x62_61_72_72  # PostgreSQL's lock of who writes; any number, as long as nobody else locks it


def make_engine(url: URL) -> Engine:
    if url.get_backend_name() != "sqlite":
        limits = {"connect_timeout": CONNECT_SECONDS} if url.get_driver_name().startswith("psycopg") else {}
        engine = create_engine(url, pool_pre_ping=True, hide_parameters=True, connect_args=limits)
        event.listen(engine, "begin", _begin_postgresql)
        return engine
    if url.database in (None, "", ":memory:"):
        engine = create_engine(
            url,
            poolclass=StaticPool,
            connect_args={"check_same_thread": False},
            hide_parameters=True,
        )
    else:
        if not str(url.database).startswith("file:"):
            Path(str(url.database)).parent.mkdir(parents=True, exist_ok=True)
            make_database_owner_only(Path(str(url.database)).resolve())
        engine = create_engine(url, hide_parameters=True)
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def lock_file(engine: Engine) -> Path | None:
    """Where the processes that write one file wait in line; None for a database in memory or at a URI."""
    sqlite = engine.dialect.name == "sqlite"
    if not sqlite or isinstance(engine.pool, StaticPool) or str(engine.url.database).startswith("file:"):
        return None
    database = Path(str(engine.url.database)).resolve()
    return database.with_name(f"{database.name}-turn")


def _into_wal(cursor: sqlite3.Cursor) -> None:
    """Going into WAL does not wait for others who open the same new file, whatever the busy timeout."""
    give_up = time.monotonic() + BUSY_TIMEOUT_MS / 1000
    while True:
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > give_up:
                raise
            time.sleep(0.01)


def _prepare_sqlite(connection: Any, _record: Any) -> None:
    connection.isolation_level = None  # transactions are begun by `_begin_sqlite`, not by the driver
    try:
        cursor = connection.cursor()
        for pragma in (
            f"busy_timeout = {BUSY_TIMEOUT_MS}",
            "synchronous = FULL",
            "foreign_keys = ON",
            # 16 MB: the writer that moves the log into the database keeps all others waiting, so not often
            "wal_autocheckpoint = 4000",
            "secure_delete = ON",  # what is erased is overwritten
            "recursive_triggers = ON",  # so that INSERT OR REPLACE meets the log's triggers too
        ):
            cursor.execute(f"PRAGMA {pragma}")
        _into_wal(cursor)
        cursor.close()
    except Exception:
        connection.close()  # nobody else would
        raise


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("barrelwise_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin_postgresql(connection: Connection) -> None:
    if connection.get_execution_options().get("barrelwise_writes"):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {BUSY_TIMEOUT_MS}")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITING})")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def refuse_writes(connection: Connection) -> None:
    sqlite = connection.dialect.name == "sqlite"
    connection.exec_driver_sql("PRAGMA query_only = ON" if sqlite else "SET TRANSACTION READ ONLY")


Observe = Callable[[str, float], None]
"""Told a statement, without its values, and the seconds that it took."""


@dataclass(frozen=True, slots=True)
class Watched:
    engine: Engine

    def tell(self, observe: Observe) -> None:
        """Tells `observe` of every statement that begins from now on, in the thread that asked."""

        def before(*given: Any) -> None:
            given[4]._barrelwise_began = time.perf_counter()

        def after(*given: Any) -> None:
            began = getattr(given[4], "_barrelwise_began", None)  # None: it was under way in another thread
            if began is not None:
                observe(given[2], time.perf_counter() - began)

        event.listen(self.engine, "before_cursor_execute", before)
        event.listen(self.engine, "after_cursor_execute", after)

    @property
    def folder(self) -> Path | None:
        """Where a database in a file is; None for a server's and for one in memory."""
        name = self.engine.url.database or ""
        if self.engine.dialect.name != "sqlite" or name in ("", ":memory:") or name.startswith("file:"):
            return None
        return Path(name).resolve().parent

    def size_bytes(self) -> int:
        """What the database takes on its disk, SQLite's log included; 0 in memory."""
        if self.engine.dialect.name == "postgresql":
            with self.engine.connect() as connection:
                found = connection.exec_driver_sql("SELECT pg_database_size(current_database())")
                return int(found.scalar_one())
        folder, name = self.folder, Path(self.engine.url.database or "").name
        files = [] if folder is None else [folder / f"{name}{ending}" for ending in ("", "-wal")]
        return sum(file.stat().st_size for file in files if file.exists())
