"""`barrelwise rulebook tables-out|tables-in`: limit tables and policy as DMN 1.5 XML, and back."""

from pathlib import Path

import click

from triage.cli.shown.output import AS_JSON, print_done
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.book.difference import differences
from triage.rulebook_care.dmn.exporting import export_model
from triage.rulebook_care.dmn.importing import import_tables
from triage.rulebook_care.dmn.read import MOST_BYTES
from triage.rulebook_care.dmn.write import write_model
from triage.rulebook_care.editing.files import WorkFolder
from triage.rulebook_care.editing.saving import save_changed
from triage.values.errors import InputError, Problem

FOLDER = click.Path(file_okay=False, path_type=Path)
FILE = click.Path(dir_okay=False, path_type=Path)


@click.command("tables-out")
@click.argument("folder", type=FOLDER)
@click.option("--out", type=FILE, required=True, help="Write into this file.")
@click.option("--table", "tables", multiple=True, help="Only this limit table, or policy.")
@AS_JSON
def tables_out(folder: Path, out: Path, tables: tuple[str, ...], as_data: bool) -> None:
    """Write the limit tables and the policy of the rulebook in FOLDER as DMN 1.5 XML."""
    model = export_model(*read_with_files(folder), tables)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_bytes(write_model(model))
    except OSError as error:
        raise InputError([Problem(f"it cannot be written ({error.strerror})", file=str(out))]) from None
    for table in model.tables:
        click.echo(f"{table.name}: {_rows(len(table.rules))}, {table.hit_policy}", err=True)
    data = {"file": str(out), "tables": {table.name: len(table.rules) for table in model.tables}}
    print_done(as_data, data, f"{out} is written")


@click.command("tables-in")
@click.argument("file", type=FILE)
@click.argument("folder", type=FOLDER)
@click.option("--dry-run", is_flag=True, help="Only say what would change; status 1 where something would.")
@AS_JSON
def tables_in(file: Path, folder: Path, dry_run: bool, as_data: bool) -> int:
    """Take the tables of the DMN file FILE into the rulebook in FOLDER, and say what changes.

    The tables of FILE replace the folder's of the same name; a policy table replaces all live policy rules.
    Nothing is written where anything in FILE or in the rulebook it makes is wrong (status 2).
    """
    before = read_with_files(folder)[1]
    found = import_tables(_content(file), str(file), before)
    changes = differences(before, found.files)
    for change in [] if as_data else changes:
        click.echo(str(change))
    words = "nothing changes"
    if found.changed and not dry_run:
        save_changed(WorkFolder(folder), found.changed)
        words = f"{_files(len(found.changed))} changed; now {found.rulebook.version}"
    elif found.changed:
        words = f"{_files(len(found.changed))} would change"
    data = {"changes": list(map(str, changes)), "files": sorted(found.changed), "saved": not dry_run}
    print_done(as_data, data, words)
    return 1 if dry_run and found.changed else 0


def _content(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError([Problem(f"the file cannot be read ({error.strerror})", file=str(file))]) from None


def _rows(number: int) -> str:
    return f"{number} {'row' if number == 1 else 'rows'}"


def _files(number: int) -> str:
    return f"{number} {'file' if number == 1 else 'files'}"
