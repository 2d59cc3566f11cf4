"""`barrelwise load FOLDER`: records into the database, with a progress bar."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn

from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import messages, print_json
from triage.config import read_settings
from triage.loading.load import load as load_folder
from triage.rulebook.reading.reader import read_rulebook


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--json", "as_data", is_flag=True, help="Print the counts as JSON.")
def load(folder: Path, as_data: bool) -> None:
    """Load sites, contractors, machines, care log, repairs and depot units from FOLDER (CSV or JSON).

    All or nothing; loading the same folder again changes nothing.
    """
    settings = read_settings()
    rulebook = read_rulebook(settings.rulebook)
    columns = TextColumn("{task.description:<12}"), BarColumn(), MofNCompleteColumn()
    with opened_store(settings) as store, Progress(*columns, console=messages()) as bar:
        tasks: dict[str, TaskID] = {}

        def progress(name: str, done: int, total: int) -> None:
            if name not in tasks:
                tasks[name] = bar.add_task(name, total=total)
            bar.update(tasks[name], completed=done)

        loaded = load_folder(folder, store, rulebook, progress)
    if as_data:
        print_json(asdict(loaded))
    else:
        click.echo(
            f"{loaded.sites} sites, {loaded.contractors} contractors, {loaded.machines} machines; "
            f"{loaded.care} lines of care ({loaded.new_care} new), "
            f"{loaded.repairs} repairs ({loaded.new_repairs} new)"
            + (f"; {loaded.depot} depot units" if loaded.depot else "")
        )
