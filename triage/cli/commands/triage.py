"""`barrelwise triage REPORT.json`: a report in, a decision out, nothing stored; or one a line."""

from collections.abc import Mapping
from pathlib import Path

import click

from triage.cli.shown.files import JSON_FILE, MOST_BYTES, problems_of, read_json, read_several, read_time
from triage.cli.shown.output import print_json, problem_as_data
from triage.cli.shown.remembered import read_remembered
from triage.cli.shown.show import show_decision
from triage.config import read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.inputs.report import read_machine
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.values.errors import InputError
from triage.values.json_text import read_strict

FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)
WRONG = 2


@click.command()
@click.argument("report", type=JSON_FILE)
@click.option("--rulebook", type=FOLDER, help="The rulebook's folder.")
@click.option("--machine-file", type=JSON_FILE, help="The machine's record as JSON.")
@click.option("--at", metavar="TIME", help="Decide as of this time (RFC 3339 with offset); default: now.")
@click.option("--json", "as_data", is_flag=True, help="Print the decision as JSON; of several, one a line.")
def triage(
    report: Path, rulebook: Path | None, machine_file: Path | None, at: str | None, as_data: bool
) -> int:
    """Decide the report in the file REPORT (`-`: standard input). Nothing is stored, no database is read.

    REPORT may hold several reports, one a line; what is wrong with one is said in its place, and the others
    are decided.
    """
    settings = read_settings()
    moment = read_time(at)
    documents = read_several(report)
    rules, _ = read_remembered(rulebook or settings.rulebook)
    machine_data = None
    if machine_file is not None:
        raw = read_json(machine_file)
        with problems_of(machine_file):
            read_machine(raw, rules)
        assert isinstance(raw, Mapping)
        machine_data = raw
    engine = compile_rulebook(rules, settings.engine)

    def decided(place: Path, content: bytes) -> Decision:
        if len(content) > MOST_BYTES:
            raise InputError(f"{place}: a report is no larger than {MOST_BYTES // 1024} KiB")
        data = read_strict(content, str(place))
        if machine_data is None and isinstance(data, Mapping) and data.get("machine") is not None:
            serial = data["machine"]
            message = f"no record of the machine {serial} is at hand (--machine-file); decided without one"
            click.echo(message, err=True)
            data = {**data, "machine": None}
        with problems_of(place):
            inputs = read_inputs(data, rules, moment, lambda _: None, machine_data)
        return decide_inputs(rules, engine, inputs)

    several, failed = len(documents) > 1, False
    for line, content in documents:
        place = Path(f"{report}:{line}") if several else report
        try:
            decision = decided(place, content)
        except InputError as error:
            if not several:
                raise
            failed = True
            if as_data:
                print_json({"problems": [problem_as_data(each) for each in error.told]}, line=True)
            else:
                click.echo("\n".join(map(str, error.told)), err=True)
            continue
        if as_data:
            print_json(as_json(decision), line=several)
        else:
            if several:
                click.echo(f"{place}:")
            show_decision(decision, rules)
    return WRONG if failed else 0
