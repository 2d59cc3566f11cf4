"""Brings a database to the newest migration, from inside the package."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

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
