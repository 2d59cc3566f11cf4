"""`barrelwise backup` and `barrelwise restore`: a copy of the database while it is used, and back."""

from pathlib import Path

import click

from triage.config import read_settings
from triage.store.backup import back_up, restore

FILE = click.argument("file", type=click.Path(path_type=Path, dir_okay=False))


@click.command()
@FILE
def backup(file: Path) -> None:
    """Copy the database to a new FILE while the service goes on; all that was answered before is in it."""
    click.echo(f"{file}: {back_up(read_settings().database, file)} tickets")


@click.command("restore")
@FILE
def restore_command(file: Path) -> None:
    """Put the copy in FILE where the settings say that the database is; there must be none yet."""
    click.echo(f"{restore(read_settings().database, file)} tickets are back")
