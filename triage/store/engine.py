"""Opening the database and cutting transactions.

SQLite runs in WAL with foreign keys on and full sync; a writer takes the write lock at its start
(BEGIN IMMEDIATE), so that it never has to give up half way because another wrote first. On PostgreSQL a
writer takes an advisory lock at its start, so that there too what a write has read holds when it is stored.
"""

from __future__ import annotations

import sqlite3
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from triage.store.migrate import upgrade
from triage.store.owner_only import make_database_owner_only
from triage.store.work import REPOSITORIES, Work
from triage.store.write_lock import WriteLock
from triage.values.errors import InputError

BUSY_TIMEOUT_MS = 30_000
WRITING = 0x62_61_72_72  # PostgreSQL's lock of who writes; any number, as long as nobody else locks it


@dataclass(frozen=True, slots=True)
class _LateWrite:
    """A transaction that begins with its first write; `opened` ends it."""

    first: Callable[[Work], None]
    opened: ExitStack = field(default_factory=ExitStack)


class Store:
    """An open database. `read` and `write` give the repositories for one transaction, each thread its own."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writer = engine.execution_options(barrelwise_writes=True)
        self._here = threading.local()
        one_writer = engine.url.get_backend_name() == "sqlite"
        self._write_lock = WriteLock(_lock_file(engine), BUSY_TIMEOUT_MS / 1000) if one_writer else None

    @contextmanager
    def read(self) -> Iterator[Work]:
        """One consistent view; inside a `write`, that transaction's own."""
        outer = self._current()
        if outer is not None:
            yield outer
            return
        with self._transaction(self._engine, writes=False) as work:
            yield work

    @contextmanager
    def write(self) -> Iterator[Work]:
        """All or nothing; a `write` inside a `write` joins it. See `one_write` for what it is inside that."""
        outer = self._current()
        if outer is not None:
            if not outer.writes:
                raise RuntimeError("a write cannot start inside a read")
            yield outer
            return
        late: _LateWrite | None = getattr(self._here, "late", None)
        if late is None:
            with self._begun() as work:
                yield work
            return
        work = late.opened.enter_context(self._begun())
        try:
            late.first(work)
            yield work
        except BaseException:
            late.opened.__exit__(*sys.exc_info())
            raise

    @contextmanager
    def one_write(self, first: Callable[[Work], None]) -> Iterator[None]:
        """All writes of this block are one transaction: the first begins it, the end of the block stores it.

        What is done before the first write holds no lock. `first` is called when the transaction begins; what
        it raises is raised there, and undoes the transaction. So does what is raised within the first write,
        which lets the lock go: a write after that begins anew.
        """
        late = _LateWrite(first)
        self._here.late = late
        try:
            with late.opened:
                yield
        finally:
            self._here.late = None

    @contextmanager
    def _begun(self) -> Iterator[Work]:
        with self._write_lock or nullcontext(), self._transaction(self._writer, writes=True) as work:
            yield work

    @property
    def url(self) -> str:
        """Where it is, password included: for another process that is to open it too."""
        return self._engine.url.render_as_string(hide_password=False)

    @property
    def can_be_shared(self) -> bool:
        """Whether another process can open it; a database in memory is this process's own."""
        return not isinstance(self._engine.pool, StaticPool)

    def answers(self) -> bool:
        """Whether the database can be read now."""
        try:
            with self.read() as work:
                work.rulebooks.live()
        except DBAPIError:
            return False
        return True

    def drop_traces(self) -> None:
        """What was erased goes from SQLite's log of writes too; PostgreSQL's vacuum does so by itself."""
        if self._engine.dialect.name == "sqlite":
            with self._engine.connect() as connection:
                connection.connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        self._engine.dispose()
        if self._write_lock is not None:
            self._write_lock.close()

    def _current(self) -> Work | None:
        return getattr(self._here, "work", None)

    @contextmanager
    def _transaction(self, engine: Engine, *, writes: bool) -> Iterator[Work]:
        with Session(engine) as session, session.begin():
            made = {name: kind(session) for name, kind in REPOSITORIES.items()}
            work = Work(**made, writes=writes)
            self._here.work = work
            try:
                yield work
            finally:
                self._here.work = None


def open_store(url: str, read_only: bool = False) -> Store:
    """Opens (and on first use makes) the database at any SQLAlchemy URL, brought to the newest migration.

    With `read_only` the database must be there and up to date, and this store cannot change it.
    Raises InputError when the URL or the database cannot be used.
    """
    try:
        engine = _make_engine(make_url(url))
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError, OSError) as error:
        raise InputError(
            f"the database URL cannot be used ({error}); write one such as sqlite:///barrelwise.db"
        ) from None
    if read_only:
        event.listen(engine, "begin", _refuse_writes)
        return Store(engine)
    try:
        upgrade(engine.execution_options(barrelwise_writes=True))
    except InputError:
        engine.dispose()
        raise
    except DBAPIError as error:
        engine.dispose()
        shown = engine.url.render_as_string(hide_password=True)
        raise InputError(f"the database {shown} cannot be opened: {error.orig}") from None
    return Store(engine)


def _make_engine(url: URL) -> Engine:
    if url.get_backend_name() != "sqlite":
        engine = create_engine(url, pool_pre_ping=True, hide_parameters=True)
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


def _lock_file(engine: Engine) -> Path | None:
    """Where the processes that write one file wait in line; None for a database in memory or at a URI."""
    if isinstance(engine.pool, StaticPool) or str(engine.url.database).startswith("file:"):
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
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITING})")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def _refuse_writes(connection: Connection) -> None:
    sqlite = connection.dialect.name == "sqlite"
    connection.exec_driver_sql("PRAGMA query_only = ON" if sqlite else "SET TRANSACTION READ ONLY")
