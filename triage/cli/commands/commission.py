"""`barrelwise commission CHECKLIST.json`: what of an installer's checklist passes, what fails, and why."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

import click
from rich.table import Table
from rich.text import Text

from triage.cli.shown.files import JSON_FILE, now, problems_of, read_json
from triage.cli.shown.opened import opened_service
from triage.cli.shown.output import console, print_json
from triage.machine.commissioning import Checklist, Finding, facts, findings, read_checklist
from triage.machine.commissioning.placement import Result
from triage.machine.commissioning.recorded import refused_time
from triage.records.caller import Caller
from triage.rulebook.fact_values import write_value
from triage.service.machines import record_care
from triage.values.errors import InputError, Problem

INSTALLER = Caller("installer", "ops")
SHOWN: Mapping[Result, tuple[str, str]] = {
    "passed": ("passed", "green"),
    "failed": ("FAILED", "bold red"),
    "missing": ("missing", "yellow"),
}


@click.command()
@click.argument("checklist", type=JSON_FILE)
@click.option("--machine", metavar="SERIAL", help="Store it with this machine and judge it by its record.")
@click.option("--json", "as_data", is_flag=True, help="Print the findings as JSON.")
def commission(checklist: Path, machine: str | None, as_data: bool) -> int:
    """Judge the installer's checklist in the file CHECKLIST; stored only with --machine. `-` reads it from
    standard input.

    Exit status 1 when a line fails. A line that is missing fails nothing and passes nothing.
    """
    data = read_json(checklist)
    with problems_of(checklist):
        read = read_checklist(data)
        if read.at is not None and (why := refused_time(read.at, now())):
            raise InputError([Problem(why, "/at")])
    found = findings(read) if machine is None else _stored(checklist, data, machine)
    if as_data:
        print_json(_as_data(read, found, machine))
    else:
        _show(found, machine)
    return 1 if any(finding.result == "failed" for finding in found) else 0


def _stored(file: Path, data: object, serial: str) -> tuple[Finding, ...]:
    care = {"kind": "commissioned", "details": data}
    with opened_service() as service, _places_in(file):
        return record_care(service, serial, care, INSTALLER).findings


@contextmanager
def _places_in(file: Path) -> Iterator[None]:
    """Names the file in problems of the checklist; any other (no such machine) is not the file's."""
    try:
        yield
    except InputError as error:
        raise type(error)(
            Problem(f"{problem.pointer.removeprefix('/details')}: {problem.message}", file=str(file))
            if problem.pointer is not None and problem.pointer.startswith("/details")
            else problem
            for problem in error.problems
        ) from None


def _as_data(checklist: Checklist, found: Sequence[Finding], machine: str | None) -> dict[str, object]:
    return {
        "machine": machine,
        "stored": machine is not None,
        **_counts(found),
        "findings": [asdict(finding) for finding in found],
        "facts": {name: write_value(value) for name, value in facts(checklist, found).items()},
    }


def _counts(found: Sequence[Finding]) -> dict[str, int]:
    counted = Counter(finding.result for finding in found)
    return {result: counted[result] for result in SHOWN}


def _show(found: Sequence[Finding], machine: str | None) -> None:
    out = console()
    points = Table.grid(padding=(0, 2))
    for finding in found:
        word, style = SHOWN[finding.result]
        points.add_row(Text(word, style), Text(_line(finding)))
        if finding.result != "passed":
            points.add_row("", Text(f"{finding.why}.", "dim"))
    out.print(points)
    counts = ", ".join(f"{count} {result}" for result, count in _counts(found).items())
    kept = "not stored (--machine SERIAL stores it)" if machine is None else f"stored with {machine}"
    out.print(f"\n{counts}; {kept}", markup=False)


def _line(finding: Finding) -> str:
    if finding.result == "passed":
        return f"{finding.title}: {finding.found}"
    said = f"{finding.found}; wanted" if finding.found else "wanted"
    return f"{finding.title}: {said} {finding.wanted}"
