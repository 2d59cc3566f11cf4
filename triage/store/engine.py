"""Opening the database and cutting transactions."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from shutil import disk_usage

from sqlalchemy import Engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from triage.store.connections import BUSY_TIMEOUT_MS, Watched, lock_file, make_engine, refuse_writes
from triage.store.migrate import refuse_other_version, upgrade
from triage.store.unavailable import DISK_FULL, LATER, unavailable
from triage.store.work import REPOSITORIES, Work
from triage.store.write_lock import WriteLock
from triage.values.errors import InputError, UnavailableError

PROBE_MS = 200
LEAST_FREE_BYTES = 1 << 20
"""What must be left on SQLite's disk: one write's share of its log."""


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
        self._write_lock = WriteLock(lock_file(engine), BUSY_TIMEOUT_MS / 1000)
        self.to_sum: threading.Event | None = None  # wakes the thread that sums days, where there is one
        self._failed: UnavailableError | None = None  # why the last write was not stored

    @contextmanager
    def read(self) -> Iterator[Work]:
        """One consistent view; inside a `write`, that transaction's own."""
        outer = self._current()
        if outer is not None:
            yield outer
            return
        try:
            with self._transaction(self._engine, writes=False) as work:
                yield work
        except DBAPIError:
            self._refuse_other_version()  # what was looked for may be gone
            raise

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
        try:
            with self._write_lock, self._transaction(self._writer, writes=True) as work:
                yield work
        except UnavailableError as error:
            self._write_lock.in_vain = True  # who comes next does not wait as long, so that reads go on
            self._failed = error
            raise
        self._write_lock.in_vain, self._failed = False, None

    @property
    def url(self) -> str:
        """Where it is, password included: for another process that is to open it too."""
        return self._engine.url.render_as_string(hide_password=False)

    @property
    def can_be_shared(self) -> bool:
        """Whether another process can open it; a database in memory is this process's own."""
        return not isinstance(self._engine.pool, StaticPool)

    def check(self) -> None:
        """Raises UnavailableError where the database cannot be read now, or not written.

        Whether it is written is tried only after a write that was not stored: on a full disk a small one may
        still fit where the next report does not, so the room that is left counts as well.
        """
        with self.read() as work:
            work.rulebooks.live()
        self._refuse_other_version()
        folder = self.watched.folder
        if folder is not None and disk_usage(folder).free < LEAST_FREE_BYTES:
            raise UnavailableError(DISK_FULL, LATER)
        if self._failed is not None:
            self._try_to_write()
            self._failed = None

    def _refuse_other_version(self) -> None:
        with _telling(), self._engine.connect() as connection:
            refuse_other_version(connection)

    def _try_to_write(self) -> None:
        sqlite = self._engine.dialect.name == "sqlite"
        with _telling(), self._engine.connect() as connection:
            if sqlite:
                connection.exec_driver_sql(f"PRAGMA busy_timeout = {PROBE_MS}")
            else:
                connection.exec_driver_sql(f"SET LOCAL lock_timeout = {PROBE_MS}")
            try:
                connection.exec_driver_sql("UPDATE alembic_version SET version_num = version_num")
                connection.commit()
            finally:
                connection.rollback()
                if sqlite:
                    connection.exec_driver_sql(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")

    def drop_traces(self) -> None:
        """What was erased goes from SQLite's log of writes too; PostgreSQL's vacuum does so by itself."""
        if self._engine.dialect.name == "sqlite":
            with self._engine.connect() as connection:
                connection.connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")

    @property
    def watched(self) -> Watched:
        """For whoever watches it."""
        return Watched(self._engine)

    def close(self) -> None:
        self._engine.dispose()
        self._write_lock.close()

    def _current(self) -> Work | None:
        return getattr(self._here, "work", None)

    @contextmanager
    def _transaction(self, engine: Engine, *, writes: bool) -> Iterator[Work]:
        with _telling(), Session(engine) as session, session.begin():
            if writes:
                refuse_other_version(session.connection())
            made = {name: kind(session) for name, kind in REPOSITORIES.items()}
            work = Work(**made, writes=writes)
            self._here.work = work
            try:
                yield work
            finally:
                self._here.work = None


@contextmanager
def _telling() -> Iterator[None]:
    """Failures of the database that pass are raised as UnavailableError."""
    try:
        yield
    except DBAPIError as error:
        passing = unavailable(error)
        if passing is None:
            raise
        raise passing from error


def open_store(url: str, read_only: bool = False) -> Store:
    """Opens (and on first use makes) the database at any SQLAlchemy URL, brought to the newest migration.

    With `read_only` the database must be there and up to date, and this store cannot change it.
    Raises InputError when the URL or the database cannot be used.
    """
    try:
        engine = make_engine(make_url(url))
    except (ArgumentError, NoSuchModuleError, ModuleNotFoundError, OSError) as error:
        raise InputError(
            f"the database URL cannot be used ({error}); write one such as sqlite:///barrelwise.db"
        ) from None
    if read_only:
        event.listen(engine, "begin", refuse_writes)
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
