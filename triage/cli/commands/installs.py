"""`barrelwise install plan|step|show|list`: installations from the site survey to live."""

from pathlib import Path

import click
from rich.table import Table

from triage.cli.shown.files import JSON_FILE, problems_of, read_json
from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import AS_JSON, console, print_json
from triage.records.caller import Caller
from triage.records.installs.job import STATES
from triage.service.installs import jobs, view
from triage.values.errors import InputError

OPERATOR = Caller("operator", "ops")


@click.group()
def install() -> None:
    """Installations: planned, dated, counted, set up, judged, live or called back."""


@install.command()
@click.argument("file", type=JSON_FILE)
@AS_JSON
def plan(file: Path, as_data: bool) -> None:
    """Plan the installation in FILE: {"site", "machine" or "model", "contractor", "note"}."""
    data = read_mapping(file)
    with opened_service() as service, problems_of(file):
        _show(jobs.plan(service, data, OPERATOR), as_data)


@install.command()
@click.argument("name", metavar="INSTALLATION")
@click.argument("file", type=JSON_FILE)
@AS_JSON
def step(name: str, file: Path, as_data: bool) -> int:
    """Take the step in FILE: {"step": survey, date, kit, set_up, training, hand_over, promise, finish,
    call_back or cancel, …}. Exit status 1 where it was called back by this step.
    """
    data = read_mapping(file)
    with opened_service() as service, problems_of(file):
        seen = jobs.step(service, name, data, OPERATOR)
        _show(seen, as_data)
    return 1 if data.get("step") == "finish" and seen.install.state == "call_back" else 0


@install.command()
@click.argument("name", metavar="INSTALLATION")
@AS_JSON
def show(name: str, as_data: bool) -> None:
    """Show an installation and what is still open."""
    with opened_service() as service:
        _show(view.one(service, name, OPERATOR), as_data)


@install.command("list")
@click.option("--state", type=click.Choice(STATES), help="Only those in this state.")
@AS_JSON
def list_installs(state: str | None, as_data: bool) -> None:
    """List installations by the time somebody is to come."""
    with opened_service() as service:
        found = view.listed(service, OPERATOR, {} if state is None else {"state": state})
    if as_data:
        print_json([jobs.install_data(one) for one in found])
        return
    table = Table("Installation", "State", "Site", "Model", "Machine", "Comes", "Open")
    for one in found:
        seen, visit = one.install, one.install.visit
        comes = "" if visit is None else visit.at.isoformat(timespec="minutes")
        open_ = f"{len(one.items)}, {len(one.blocking)} block"
        table.add_row(seen.id, seen.state, one.site.name, seen.model, seen.machine or "", comes, open_)
    console().print(table)


def read_mapping(file: Path) -> dict[str, object]:
    data = read_json(file)
    if not isinstance(data, dict):
        raise InputError(f"{file}: an object is wanted, in curly braces")
    return data


def _show(seen: view.InstallView, as_data: bool) -> None:
    if as_data:
        print_json(jobs.install_data(seen))
        return
    install, out = seen.install, console()
    out.print(
        f"{install.id}: {install.state.replace('_', ' ')}, {install.model} {install.machine or ''} "
        f"at {seen.site.name}",
        markup=False,
    )
    if install.called_back is not None:
        back = install.called_back
        out.print(f"Called back at no charge by {back.due}: {back.why}", markup=False)
    for item in seen.items:
        when = "blocks" if item.blocks else f"by {item.until}"
        found = f"{item.found}; wanted {item.wanted}" if item.found else f"wanted {item.wanted}"
        out.print(f"  {when}: {item.title}: {found}", markup=False)
    if can := jobs.can_follow(install):
        out.print(f"Next: {', '.join(can)}", markup=False)
