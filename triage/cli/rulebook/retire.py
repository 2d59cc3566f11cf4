"""`barrelwise rulebook retire`."""

from pathlib import Path

import click

from triage.config import read_settings
from triage.rulebook_care.editing.check import FolderCheck
from triage.rulebook_care.editing.files import WorkFolder
from triage.rulebook_care.editing.retire import KINDS
from triage.rulebook_care.editing.saving import save_changed


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("name", metavar="ID")
@click.option("--rulebook", "folder", type=click.Path(path_type=Path), help="The rulebook's folder.")
@click.option("--dry-run", is_flag=True, help="Only show what would change.")
def retire(kind: str, name: str, folder: Path | None, dry_run: bool) -> int:
    """Retire the entry ID of KIND: show every place that names it, and fix it there or say what to do.

    Exit status 1 where something is left to do by hand.
    """
    folder = folder or read_settings().rulebook
    found = FolderCheck(folder).retirement(kind, name)
    for each in found.touched:
        click.echo(str(each))
    for problem in found.problems:
        click.echo(f"left to fix: {problem}")
    if not dry_run:
        save_changed(WorkFolder(folder), found.files)
    left = len(found.by_hand) + len(found.problems)
    click.echo(
        f"{len(found.files)} files {'would change' if dry_run else 'changed'}, {left} left to do by hand",
        err=True,
    )
    return 1 if left else 0
