"""`barrelwise rulebook retire`."""

from pathlib import Path

import click

from triage.cli.shown.output import AS_JSON, print_done
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
@AS_JSON
def retire(kind: str, name: str, folder: Path | None, dry_run: bool, as_data: bool) -> int:
    """Retire the entry ID of KIND: show every place that names it, and fix it there or say what to do.

    Exit status 1 where something is left to do by hand.
    """
    folder = folder or read_settings().rulebook
    found = FolderCheck(folder).retirement(kind, name)
    if not dry_run:
        save_changed(WorkFolder(folder), found.files)
    left = len(found.by_hand) + len(found.problems)
    lines = [*map(str, found.touched), *(f"left to fix: {problem}" for problem in found.problems)]
    for line in [] if as_data else lines:
        click.echo(line)
    done = "would change" if dry_run else "changed"
    data = {"files": sorted(found.files), "saved": not dry_run, "left": left, "said": lines}
    print_done(as_data, data, f"{len(found.files)} files {done}, {left} left to do by hand")
    return 1 if left else 0
