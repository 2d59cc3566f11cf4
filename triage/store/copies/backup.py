"""A copy of a SQLite database made while others write to it, and a copy put back where there is none."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy.engine import make_url

from triage.store.owner_only import make_owner_only
from triage.values.errors import InputError


def back_up(url: str, to: Path) -> int:
    """Copies the database to a new file: all that was stored before, of each transaction all or nothing.

    Gives how many tickets are in it. Writers go on meanwhile. Raises InputError where it cannot.
    """
    return _copy(_file_of(url, "pg_dump --format=custom --file=FILE"), to)


def restore(url: str, source: Path) -> int:
    """Puts a copy where the database at `url` is to be, and none is yet. How many tickets are in it."""
    return _copy(source, _file_of(url, "pg_restore --dbname=DATABASE FILE"))


def _file_of(url: str, instead: str) -> Path:
    found = make_url(url)
    if found.get_backend_name() != "sqlite":
        raise InputError(f"this database is a server's; use its own tool: {instead}")
    if found.database in (None, "", ":memory:") or str(found.database).startswith("file:"):
        raise InputError("only a database in a file is copied; name one in BARRELWISE_DATABASE")
    return Path(str(found.database))


def _copy(source: Path, to: Path) -> int:
    """Under another name first, so that half a copy is never taken for a whole one."""
    if not source.is_file():
        raise InputError(f"{source} is not there")
    if to.exists():
        raise InputError(f"{to} is there already; move it away, or name another file")
    part = to.with_name(f"{to.name}.part")
    try:
        part.unlink(missing_ok=True)
        make_owner_only(part)
        with (
            closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as old,
            closing(sqlite3.connect(part)) as new,
        ):
            old.backup(new)
            tickets = _checked(new, source)
            new.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.rename(to)
    except sqlite3.Error as error:
        raise InputError(f"{source} cannot be copied to {to}: {error}") from None
    except OSError as error:
        raise InputError(f"{to} cannot be written: {error.strerror}") from None
    finally:
        part.unlink(missing_ok=True)
    return tickets


def _checked(copy: sqlite3.Connection, source: Path) -> int:
    (found,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
    if found != "ok":
        raise InputError(f"{source} is damaged ({found}); take an older copy")
    if copy.execute("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'").fetchone() is None:
        raise InputError(f"{source} is no database of this program")
    (tickets,) = copy.execute("SELECT count(*) FROM tickets").fetchone()
    return int(tickets)
