"""Brings a database to the newest migration, from inside the package."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from triage.values.errors import InputError

FOLDER = Path(__file__).parent / "migrations"


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def upgrade(engine: Engine) -> None:
    """Runs what is missing, in one transaction; a second process waits and then finds nothing to do.

    It is the engine that lets one writer in at a time.
    """
    config = _config()
    script = ScriptDirectory.from_config(config)
    with engine.begin() as connection:
        current = MigrationContext.configure(connection).get_current_revision()
        if current == script.get_current_head():
            return
        if current is not None and current not in {revision.revision for revision in script.walk_revisions()}:
            raise InputError(
                f"the database is at migration {current}, which this version does not know; "
                "install the version that made it, or a newer one"
            )
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


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
