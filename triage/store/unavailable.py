"""Which failures of a database pass, or wait for its operator; the others are faults of this program."""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError

from triage.values.errors import UnavailableError

SOON, LATER = 5, 60
"""Seconds after which it is worth trying again: where it only waits, and where somebody has to act."""
DISK_FULL = "the database's disk is full"

_SQLITE = {
    sqlite3.SQLITE_BUSY: ("another program is writing to the database", SOON),
    sqlite3.SQLITE_LOCKED: ("another program is writing to the database", SOON),
    sqlite3.SQLITE_PROTOCOL: ("another program is writing to the database", SOON),
    sqlite3.SQLITE_FULL: (DISK_FULL, LATER),
    sqlite3.SQLITE_IOERR: ("the database's disk fails", LATER),
    sqlite3.SQLITE_READONLY: ("the database can only be read", LATER),
    sqlite3.SQLITE_CANTOPEN: ("the database's file cannot be opened", LATER),
    sqlite3.SQLITE_CORRUPT: ("the database is damaged", None),
    sqlite3.SQLITE_NOTADB: ("the database is damaged", None),
}
_POSTGRESQL = {
    "55P03": ("another program is writing to the database", SOON),
    "40": ("another program was writing to the database", SOON),
    "08": ("the database cannot be reached", SOON),
    "57P": ("the database is stopping or starting", SOON),
    "53": ("the database has no disk, memory or connections left", LATER),
    "25006": ("the database can only be read", LATER),
    "58": ("the database's disk fails", LATER),
    "XX": ("the database is damaged", None),
}
"""The beginning of an SQLSTATE, appendix A of PostgreSQL's documentation -> what it means."""


def unavailable(error: DBAPIError) -> UnavailableError | None:
    """What passes, as the error that says so; None for any other."""
    found: tuple[str, int | None] | None = None
    if isinstance(error.orig, sqlite3.Error):
        found = _SQLITE.get(getattr(error.orig, "sqlite_errorcode", 0) & 0xFF)
    else:
        state = getattr(error.orig, "sqlstate", None) or ("08" if error.connection_invalidated else "")
        found = next((told for begins, told in _POSTGRESQL.items() if state.startswith(begins)), None)
        if found is None and not state and type(error).__name__ == "OperationalError":
            found = _POSTGRESQL["08"]  # it did not come so far as to say a state
    return None if found is None else UnavailableError(*found)
