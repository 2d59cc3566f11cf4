"""`barrelwise load FOLDER`: records into the database, with a progress bar; or empty files to fill in."""

from dataclasses import asdict
from datetime import timedelta
from pathlib import Path

import click
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn

from triage.cli.shown.files import now
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import messages, print_json, problem_as_data
from triage.config import read_settings
from triage.loading.load import load as load_folder
from triage.loading.template import write_template
from triage.rulebook.reading.reader import read_rulebook

WRONG = 2
A_YEAR = timedelta(days=366)
"""Days further in the future cannot be meant."""


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Say what would happen; store nothing.")
@click.option("--template", is_flag=True, help="Write empty files to fill in to FOLDER (or NAME.xlsx).")
@click.option("--json", "as_data", is_flag=True, help="Print the counts as JSON.")
def load(folder: Path, dry_run: bool, template: bool, as_data: bool) -> int:
    """Load sites, contractors, machines, care log, repairs and depot units from FOLDER (CSV, XLSX or JSON).

    FOLDER may be one workbook with a sheet for each. All or nothing; loading the same folder again changes
    nothing. A column that is missing keeps what is on record; an empty cell clears it.
    """
    settings = read_settings()
    rulebook = read_rulebook(settings.rulebook)
    if template:
        recorded = [fact.id for fact in rulebook.facts.values() if fact.asked_of == "record"]
        made = list(map(str, write_template(folder, recorded)))
        print_json({"made": made}) if as_data else click.echo("\n".join(made))
        return 0
    columns = TextColumn("{task.description:<12}"), BarColumn(), MofNCompleteColumn()
    with opened_store(settings) as store, Progress(*columns, console=messages()) as bar:
        tasks: dict[str, TaskID] = {}

        def progress(name: str, done: int, total: int) -> None:
            if name not in tasks:
                tasks[name] = bar.add_task(name, total=total)
            bar.update(tasks[name], completed=done)

        latest = now().date() + A_YEAR
        loaded = load_folder(folder, store, rulebook, progress, dry_run=dry_run, latest=latest)
    for name in loaded.left_out:
        click.echo(f"left out, it holds no records: {name}", err=True)
    stored = not dry_run and not loaded.problems
    if as_data:
        counts = {kind: asdict(count) for kind, count in loaded.counts.items()}
        found = [problem_as_data(problem) for problem in loaded.problems]
        print_json({"stored": stored, "counts": counts, "left_out": list(loaded.left_out), "problems": found})
    else:
        for problem in loaded.problems:
            click.echo(str(problem), err=True)
        for kind, count in loaded.counts.items():
            click.echo(
                f"{kind:<12}" + ", ".join(f"{number} {what}" for what, number in asdict(count).items())
            )
        if not loaded.counts:
            click.echo("The files hold no rows.")
        if not stored:
            click.echo("Nothing was stored.")
    return WRONG if loaded.problems else 0
