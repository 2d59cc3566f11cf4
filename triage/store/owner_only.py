"""Files that hold callers' data are read and written by their owner only, whatever the umask."""

import logging
import os
import stat
from pathlib import Path

MODE = 0o600
_BESIDE = ("", "-wal", "-shm", "-journal", "-turn")
"""What SQLite and the write lock keep beside a database; SQLite gives new ones the database's own mode."""

log = logging.getLogger(__name__)


def make_owner_only(path: Path) -> None:
    """Makes an empty file where there is none; one that is there is taken from everybody but its owner."""
    try:
        # Never opened where it exists: closing it would let go of the locks this process has on it.
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, MODE))
    except FileExistsError:
        _take_from_others(path)


def make_database_owner_only(database: Path) -> None:
    """The same for a SQLite database and what stands beside it. Raises OSError where it cannot be made."""
    make_owner_only(database)
    for name in _BESIDE:
        _take_from_others(database.with_name(database.name + name))


def _take_from_others(path: Path) -> None:
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & ~0o700:
            path.chmod(mode & 0o700)
    except FileNotFoundError:
        pass
    except OSError as error:
        log.warning("%s may be open to others, and that cannot be changed: %s", path, error.strerror)
