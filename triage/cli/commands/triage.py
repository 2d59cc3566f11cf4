"""`barrelwise triage REPORT.json`: one report in, one decision out, nothing stored."""

from collections.abc import Mapping
from pathlib import Path

import click

from triage.cli.shown.files import problems_of, read_json, read_time
from triage.cli.shown.output import print_json
from triage.cli.shown.show import show_decision
from triage.config import read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.inputs.report import read_machine
from triage.records.decision_json import as_json
from triage.rulebook.reading.reader import read_rulebook

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


@click.command()
@click.argument("report", type=FILE)
@click.option("--rulebook", type=FOLDER, help="The rulebook's folder.")
@click.option("--machine-file", type=FILE, help="The machine's record as JSON.")
@click.option("--at", metavar="TIME", help="Decide as of this time (RFC 3339 with offset); default: now.")
@click.option("--json", "as_data", is_flag=True, help="Print the decision as JSON.")
def triage(
    report: Path, rulebook: Path | None, machine_file: Path | None, at: str | None, as_data: bool
) -> None:
    """Decide the report in the file REPORT. Nothing is stored, no database is read."""
    settings = read_settings()
    moment = read_time(at)
    data = read_json(report)
    rules = read_rulebook(rulebook or settings.rulebook)
    machine_data = None
    if machine_file is not None:
        raw = read_json(machine_file)
        with problems_of(machine_file):
            read_machine(raw, rules)
        assert isinstance(raw, Mapping)
        machine_data = raw
    elif isinstance(data, Mapping) and data.get("machine") is not None:
        click.echo(
            f"no record of the machine {data['machine']} is at hand (--machine-file); decided without one",
            err=True,
        )
        data = {**data, "machine": None}
    engine = compile_rulebook(rules, settings.engine)
    with problems_of(report):
        inputs = read_inputs(data, rules, moment, lambda _: None, machine_data)
    decision = decide_inputs(rules, engine, inputs)
    if as_data:
        print_json(as_json(decision))
    else:
        show_decision(decision, rules)
