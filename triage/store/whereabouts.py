"""Whether there is a database at an address, without making one."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError


def is_there(url: str) -> bool:
    """False for a SQLite file that does not exist yet, for one in memory, and for what is no URL.

    Whether the server of another database answers shows when it is opened.
    """
    try:
        found = make_url(url)
    except ArgumentError:
        return False
    if found.get_backend_name() != "sqlite":
        return True
    return found.database not in (None, "", ":memory:") and Path(str(found.database)).is_file()
