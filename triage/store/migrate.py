"""Brings a database to the newest migration, from inside the package."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from triage.store.unavailable import LATER
from triage.values.errors import InputError, UnavailableError

if TYPE_CHECKING:
    from alembic.config import Config

FOLDER = Path(__file__).parent / "migrations"
REVISIONS = frozenset(each.name[:4] for each in (FOLDER / "versions").glob("[0-9]*.py"))
"""The migrations there are. Their files' names begin with them."""
NEWEST = max(REVISIONS)


def upgrade(engine: Engine) -> None:
    """Runs what is missing, in one transaction; a second process waits and then finds nothing to do.

    It is the engine that lets one writer in at a time. Where nothing is missing Alembic is not imported.
    """
    with engine.begin() as connection:
        current = _current(connection)
        if current == NEWEST:
            return
        if current is not None and current not in REVISIONS:
            raise InputError(
                f"the database is at migration {current}, which this version does not know; "
                "install the version that made it, or a newer one"
            )
        _to_newest(connection)


def refuse_other_version(connection: Connection) -> None:
    """Raises UnavailableError where another version brought the database to its own migration meanwhile."""
    current = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
    if current != NEWEST:
        raise UnavailableError(
            f"another version of this program uses the database, at migration {current}; this one is at "
            f"{NEWEST} and stands aside",
            LATER,
        )


def _current(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _to_newest(connection: Connection) -> None:
    from alembic import command

    config = alembic_config()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def alembic_config() -> Config:
    """Where Alembic finds the migrations; its attribute `connection` is the database to bring there."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


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
