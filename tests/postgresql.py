"""A PostgreSQL server of the tests' own, by the operating system's binaries; no other process can reach it.

It listens on a socket in a temporary folder only. The server refuses to run as root; a run as root starts it
as another user.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from itertools import count
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import URL

UNPRIVILEGED = ("postgres", "nobody")
SETTINGS = {
    "listen_addresses": "",
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "shared_buffers": "32MB",
    "max_connections": "60",
}
NONE = (
    "no PostgreSQL server was found: install Debian's package `postgresql` (sh tests/run does, as root); "
    "`-m 'not postgresql'` leaves these tests out"
)


def binaries() -> Path | None:
    """The folder of `initdb` and `pg_ctl`, of the newest version there is."""
    known = Path("/usr/lib/postgresql").glob("*/bin")
    folders = sorted(known, key=lambda folder: int(folder.parent.name), reverse=True)
    on_path = shutil.which("pg_ctl")
    if on_path is not None:
        folders.append(Path(on_path).resolve().parent)
    return next((folder for folder in folders if (folder / "initdb").is_file()), None)


@contextmanager
def server() -> Iterator[Callable[[], URL]]:
    """A running server; what is given makes a new, empty database and says where it is."""
    with stoppable() as (made, _, _):
        yield made


@contextmanager
def stoppable(**settings: str) -> Iterator[tuple[Callable[[], URL], Callable[[], None], Callable[[], None]]]:
    """The same, with what stops it at once and starts it again; `settings` go before SETTINGS."""
    found = binaries()
    if found is None:
        pytest.fail(NONE, pytrace=False)
    with tempfile.TemporaryDirectory(prefix="pg-", ignore_cleanup_errors=True) as folder:
        run = _runner(Path(folder))
        data = f"{folder}/data"
        run(
            found / "initdb",
            "-D",
            data,
            "-U",
            "tests",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        )
        options = (
            " ".join(f"-c {name}='{value}'" for name, value in {**SETTINGS, **settings}.items())
            + f" -k {folder}"
        )
        control = (found / "pg_ctl", "-D", data, "-w")
        start = partial(run, *control, "-l", f"{folder}/log", "-o", options, "start")
        stop = partial(run, *control, "-m", "immediate", "stop")
        start()
        try:
            yield _databases(folder), stop, start
        finally:
            stop()


def _runner(folder: Path) -> Callable[..., None]:
    user = None
    if os.getuid() == 0:
        names = {entry.pw_name for entry in pwd.getpwall()}
        user = next((name for name in UNPRIVILEGED if name in names), None)
        if user is None:
            pytest.fail(
                f"PostgreSQL does not run as root, and there is no user {UNPRIVILEGED}", pytrace=False
            )
        shutil.chown(folder, user)

    def run(*command: str | Path) -> None:
        # The server inherits what it is given as output, so that a pipe would never end.
        with (folder / "commands").open("a") as output:
            subprocess.run(
                command, user=user, cwd=folder, stdin=subprocess.DEVNULL, stdout=output, stderr=output
            ).check_returncode()

    return run


def _databases(folder: str) -> Callable[[], URL]:
    numbers = count(1)

    def made() -> URL:
        url = URL.create("postgresql+psycopg", "tests", query={"host": folder})
        name = f"tests_{next(numbers)}"
        engine = create_engine(url.set(database="postgres"), isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        engine.dispose()
        return url.set(database=name)

    return made
