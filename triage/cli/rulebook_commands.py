"""`barrelwise rulebook schema|check|cases`: looking after the rules."""

from __future__ import annotations

import json
from pathlib import Path

import click

from triage.cli.output import print_json
from triage.config import read_settings
from triage.errors import InputError, Problem
from triage.inference import compile_rulebook
from triage.inference_engine import Engine
from triage.rulebook import Rulebook
from triage.rulebook_cases import run_rule_cases
from triage.rulebook_reader import read_rulebook
from triage.rulebook_schema import schemas
from triage.whole_cases import counted, run_whole_cases

FOLDER = click.Path(path_type=Path)


@click.group()
def rulebook() -> None:
    """Check the rulebook and help write it."""


@rulebook.command()
@click.option("--out", type=FOLDER, help="Write one file a kind into this folder instead.")
def schema(out: Path | None) -> None:
    """Print the JSON Schema of each kind of file, for editors."""
    found = schemas()
    if out is None:
        print_json(found)
        return
    out.mkdir(parents=True, exist_ok=True)
    for name, one in found.items():
        target = out / f"{name.removesuffix('.yml')}.schema.json"
        target.write_text(json.dumps(one, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    click.echo(f"{len(found)} schemas in {out}", err=True)


@rulebook.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the result as JSON.")
def check(folder: Path | None, as_data: bool) -> int:
    """Read the rulebook in FOLDER, compile it, and run the rules' own cases and the whole reports.

    Exit status 1 when a case fails, 2 when the rulebook cannot be read.
    """
    settings = read_settings()
    try:
        rules = read_rulebook(folder or settings.rulebook)
        engine = compile_rulebook(rules, settings.engine)
    except InputError as error:
        if as_data:
            problems = [_problem(problem) for problem in error.problems]
            print_json({"ok": False, "problems": problems, "failures": []})
        raise
    failures = _failures(rules, engine)
    if as_data:
        print_json({"ok": not failures, "version": rules.version, "problems": [], "failures": failures})
    else:
        click.echo(f"{rules.title}: {_counts(rules)}\n{rules.version}")
    return _tell(failures)


@rulebook.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the result as JSON.")
def cases(folder: Path | None, as_data: bool) -> int:
    """Run the cases beside each rule and the whole reports of `cases/`. Exit status 1 when one fails."""
    settings = read_settings()
    rules = read_rulebook(folder or settings.rulebook)
    failures = _failures(rules, compile_rulebook(rules, settings.engine))
    numbers = counted(rules)
    if as_data:
        print_json({**numbers, "failures": failures})
    else:
        click.echo(
            f"{numbers['rule_cases']} cases of rules, {numbers['whole_cases']} whole reports, "
            f"{len(failures)} {'failure' if len(failures) == 1 else 'failures'}"
        )
    return _tell(failures)


def _failures(rules: Rulebook, engine: Engine) -> list[dict[str, str]]:
    of_rules = [
        {"file": failure.file, "id": failure.rule, "message": failure.message}
        for failure in run_rule_cases(rules)
    ]
    whole = [
        {"file": failure.file, "id": failure.case, "message": failure.message}
        for failure in run_whole_cases(rules, engine)
    ]
    return of_rules + whole


def _counts(rules: Rulebook) -> str:
    counted = {
        "symptoms": rules.symptoms,
        "causes": rules.causes,
        "facts": rules.facts,
        "derive": rules.derive,
        "evidence": rules.evidence,
        "cautions": rules.cautions,
        "checks": rules.checks,
        "policy": rules.policy,
        "cover": rules.cover,
        "limits": rules.limits,
    }
    return ", ".join(f"{len(found)} {name}" for name, found in counted.items())


def _tell(failures: list[dict[str, str]]) -> int:
    for failure in failures:
        click.echo(f"{failure['file']}: {failure['id']}: {failure['message']}", err=True)
    return 1 if failures else 0


def _problem(problem: Problem) -> dict[str, object]:
    return {
        "message": problem.message,
        "file": problem.file,
        "line": problem.line,
        "column": problem.column,
        "pointer": problem.pointer,
    }
