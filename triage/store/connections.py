"""How a database is connected to, and how its transactions begin.

SQLite runs in WAL with foreign keys on and full sync; a writer takes the write lock at its start
(BEGIN IMMEDIATE), so that it never has to give up half way because another wrote first. On PostgreSQL a
writer takes an advisory lock at its start, so that there too what a write has read holds when it is stored.
"""

from __future__ import annotations

import sqlite3
import time
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
