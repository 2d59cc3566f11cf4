"""`barrelwise what-if TICKET`: the decision before and after a change of facts or rules, nothing stored."""

from pathlib import Path
from typing import Literal

import click

from triage.cli.shown.files import read_time
from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import print_json
from triage.cli.shown.show_what_if import show_what_if
from triage.service.service import Service
from triage.service.what_if import Rules, what_if
from triage.values.errors import InputError
from triage.values.yaml_source import MOST_BYTES
from triage.what_if.changes import Changes, pairs, read_values

FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


@click.command("what-if")
@click.argument("ticket")
@click.option("--set", "facts", multiple=True, metavar="FACT=VALUE", help="Another value, as clerks say it.")
@click.option("--forget", multiple=True, metavar="FACT", help="As if it were not known.")
@click.option(
    "--check",
    "checks",
    multiple=True,
    metavar="CHECK=RESULT",
    help="`cured`, `not_cured` or `could_not_do`; `not_done` undoes it.",
)
@click.option("--at", metavar="TIME", help="As if the call had come then (RFC 3339 with offset).")
@click.option("--spent", metavar="AMOUNT", help='What the ticket has cost so far, such as "120.00 USD".')
@click.option("--rulebook", type=FOLDER, help="By the rulebook in this folder.")
@click.option("--version", metavar="VERSION", help="By a kept rulebook, by the first digits of its version.")
@click.option("--live", is_flag=True, help="Compare with the live rulebook, not the ticket's own.")
@click.option("--turning-points", is_flag=True, help="Say what would change the decision after the changes.")
@click.option("--json", "as_data", is_flag=True, help="Print it as JSON.")
def what_if_command(
    ticket: str,
    facts: tuple[str, ...],
    forget: tuple[str, ...],
    checks: tuple[str, ...],
    at: str | None,
    spent: str | None,
    rulebook: Path | None,
    version: str | None,
    live: bool,
    turning_points: bool,
    as_data: bool,
) -> None:
    """Redecide TICKET with facts or rules changed, and show what changes. Nothing is stored."""
    if rulebook is not None and version is not None:
        raise InputError("--rulebook and --version are two rulebooks; name one of them")
    if at is not None:
        read_time(at)
    set_texts = pairs(facts, "--set", "--set filter_days=10")
    results = pairs(checks, "--check", "--check rinse-filter=cured")
    base: Literal["own", "live"] = "live" if live else "own"
    with opened_service() as service:
        changes = _changes(service, set_texts, forget, results, at, spent)
        rules = Rules(version) if rulebook is None else Rules(texts=_texts(rulebook), whole=True)
        found = what_if(service, ticket, changes, None, base, rules, turning_points)
    if as_data:
        print_json(found.as_data())
    else:
        show_what_if(found)


def _changes(
    service: Service,
    facts: dict[str, str],
    forget: tuple[str, ...],
    checks: dict[str, str],
    at: str | None,
    spent: str | None,
) -> Changes:
    values = read_values(service.rulebook, facts, service.now().date())
    return Changes(values, forget, checks, at, spent)


def _texts(folder: Path) -> dict[str, str | None]:
    """The YAML files of a folder; what is wrong in them is found where they are read."""
    found: dict[str, str | None] = {}
    for path in sorted(folder.rglob("*.yml")):
        name = path.relative_to(folder)
        if any(part.startswith(".") for part in name.parts) or not path.is_file():
            continue
        if path.stat().st_size > MOST_BYTES:
            raise InputError(f"{path} is larger than {MOST_BYTES // 1024} KiB")
        found[name.as_posix()] = path.read_bytes().decode("utf-8-sig", "replace")
    if not found:
        raise InputError(
            f"there are no .yml files in {folder}; a rulebook is a folder with rulebook.yml in it"
        )
    return found
