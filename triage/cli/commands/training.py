"""`barrelwise training list|note|left`: who was trained at which store, and what is due again."""

from pathlib import Path

import click
from rich.table import Table

from triage.cli.commands.installs import OPERATOR, read_mapping
from triage.cli.shown.files import JSON_FILE, problems_of
from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import AS_JSON, console, print_json
from triage.service.installs import training as register


@click.group()
def training() -> None:
    """Who was trained at which store, and what is due again."""


@training.command("list")
@click.option(
    "--view", type=click.Choice(list(register.VIEWS)), default="due", help="Stores due, soon, or all."
)
@click.option("--site", default="", help="Only this store.")
@click.option("--contractor", default="", help="Only stores with a machine in this contractor's care.")
@AS_JSON
def list_stores(view: str, site: str, contractor: str, as_data: bool) -> None:
    """List stores with what is missing, and who was trained there."""
    with opened_service() as service:
        found = register.stores(service, OPERATOR, view, {"site": site, "contractor": contractor})
    if as_data:
        print_json([one.data() for one in found])
        return
    table = Table("Store", "Training", "Missing", "Trained (number)")
    for one in found:
        people = "; ".join(f"{each.person} ({each.id})" for each in one.found.here)
        until = f" on {one.found.due_on}" if one.standing == "soon" else ""
        table.add_row(one.site.name, one.standing + until, " ".join(one.found.missing), people)
    console().print(table)


@training.command()
@click.argument("file", type=JSON_FILE)
@AS_JSON
def note(file: Path, as_data: bool) -> None:
    """Note the training in FILE: {"site", "people", "topics", "by", "signed", "at"}."""
    data = read_mapping(file)
    with opened_service() as service, problems_of(file):
        _show(register.note(service, data, OPERATOR), as_data)


@training.command()
@click.argument("number", type=int)
@click.option("--on", help="The day, such as 2026-12-03; today, if left out.")
@AS_JSON
def left(number: int, on: str | None, as_data: bool) -> None:
    """Say that whoever the training NUMBER is of left the store."""
    with opened_service() as service:
        _show(register.left(service, number, {} if on is None else {"on": on}, OPERATOR), as_data)


def _show(one: register.Store, as_data: bool) -> None:
    if as_data:
        print_json(one.data())
    else:
        missing = f"; nobody is trained on {', '.join(one.found.missing)}" if one.found.missing else ""
        console().print(f"{one.site.name}: {one.standing}{missing}", markup=False)
