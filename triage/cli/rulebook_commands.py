"""`barrelwise rulebook schema|check|cases`: looking after the rules."""

from __future__ import annotations

import json
from pathlib import Path

import click

from triage.cli.output import print_json
from triage.config import read_settings
from triage.errors import InputError, Problem
from triage.inference import compile_rulebook
from triage.rulebook import Rulebook
from triage.rulebook_cases import CaseFailure, run_rule_cases
from triage.rulebook_reader import read_rulebook
from triage.rulebook_schema import schemas

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
    """Read the rulebook in FOLDER, compile it, and run the rules' own cases.

    Exit status 1 when a case fails, 2 when the rulebook cannot be read.
    """
    settings = read_settings()
    try:
        rules = read_rulebook(folder or settings.rulebook)
        compile_rulebook(rules, settings.engine)
    except InputError as error:
        if as_data:
            print_json(
                {"ok": False, "problems": [_problem(problem) for problem in error.problems], "cases": []}
            )
        raise
    failures = run_rule_cases(rules)
    if as_data:
        cases = [_failure(failure) for failure in failures]
        print_json({"ok": not failures, "version": rules.version, "problems": [], "cases": cases})
    else:
        click.echo(f"{rules.title}: {_counts(rules)}\n{rules.version}")
    return _tell(failures)


@rulebook.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the result as JSON.")
def cases(folder: Path | None, as_data: bool) -> int:
    """Run the cases that stand beside each rule. Exit status 1 when one fails."""
    rules = read_rulebook(folder or read_settings().rulebook)
    failures = run_rule_cases(rules)
    in_all = sum(
        len(rule.head.cases)
        for kind in (rules.derive, rules.evidence, rules.cautions, rules.policy)
        for rule in kind.values()
    )
    if as_data:
        print_json({"cases": in_all, "failures": [_failure(failure) for failure in failures]})
    else:
        click.echo(f"{in_all} cases, {len(failures)} fail")
    return _tell(failures)


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


def _tell(failures: list[CaseFailure]) -> int:
    for failure in failures:
        click.echo(f"{failure.file}: {failure.rule}: {failure.message}", err=True)
    return 1 if failures else 0


def _failure(failure: CaseFailure) -> dict[str, object]:
    return {
        "rule": failure.rule,
        "case": failure.case + 1,
        "file": failure.file,
        "message": failure.message,
    }


def _problem(problem: Problem) -> dict[str, object]:
    return {
        "message": problem.message,
        "file": problem.file,
        "line": problem.line,
        "column": problem.column,
        "pointer": problem.pointer,
    }
