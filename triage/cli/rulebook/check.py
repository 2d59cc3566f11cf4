"""`barrelwise rulebook schema|check|cases`."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from triage.cli.rulebook.safety import against_live, show_losses
from triage.cli.shown.output import messages, print_json
from triage.config import read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import IF_MEANT, counted, run_whole_cases
from triage.inputs.heard import run_words_cases
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.json_schema import schemas
from triage.rulebook.reading.reader import backups, read_file, read_rulebook
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.editing.coverage import Coverage, coverage
from triage.rulebook_care.lint.findings import Finding, counts, located, sarif
from triage.rulebook_care.lint.lint import has_errors, lint
from triage.values.errors import InputError, Problem, pointer_to

FOLDER = click.Path(path_type=Path)


@click.command()
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


@click.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the result as JSON.")
@click.option("--sarif", "as_sarif", is_flag=True, help="Print the findings as SARIF 2.1.0.")
@click.option("--silenced", is_flag=True, help="Show the findings that `lint_off` silences, too.")
def check(folder: Path | None, as_data: bool, as_sarif: bool, silenced: bool) -> int:
    """Read the rulebook in FOLDER, compile it, look for faults, run its cases, and say what it takes away
    from people's safety, compared with the live one of the database.

    Exit status 1 when there is an error or a case fails, 2 when the rulebook cannot be read.
    """
    settings = read_settings()
    folder = folder or settings.rulebook
    try:
        rules = read_rulebook(folder)
        compile_rulebook(rules, settings.engine)
        engine = compile_rulebook(rules, "plain")  # where two differ, its answer is the one that stands
    except InputError as error:
        if as_sarif:
            print_json(sarif((), error.problems))
        elif as_data:
            problems = [_problem(problem) for problem in error.told]
            print_json({"ok": False, "problems": problems, "findings": [], "failures": [], "losses": []})
            return 2
        raise
    for backup in backups(folder):
        click.echo(f"{backup}: an editor's backup; it is not read", err=True)
    with messages().status("Looking for faults and running the cases"):
        found = located(lint(rules), folder)
        losses, failed = against_live(settings, rules, engine)
        failures = _failures(folder, rules, engine) + failed
    ok = not failures and not has_errors(found)
    if as_sarif:
        print_json(sarif(found))
    elif as_data:
        print_json(
            {
                "ok": ok,
                "version": rules.version,
                "problems": [],
                "findings": [_finding(each) for each in found],
                "failures": failures,
                "losses": [loss.as_data() for loss in losses],
            }
        )
    else:
        click.echo(f"{rules.title}: {_counts(rules)}\n{rules.version}")
        _show(found, silenced)
        show_losses(losses)
    _tell(failures)
    return 0 if ok else 1


@click.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the result as JSON.")
@click.option("--coverage", "with_coverage", is_flag=True, help="Say what no case touches.")
def cases(folder: Path | None, as_data: bool, with_coverage: bool) -> int:
    """Run the cases that stand beside each rule, and the whole reports. Exit status 1 when one fails."""
    settings = read_settings()
    folder = folder or settings.rulebook
    rules = read_rulebook(folder)
    engine = compile_rulebook(rules, settings.engine)
    failures = _failures(folder, rules, engine)
    numbers = counted(rules)
    touched = coverage(rules, engine) if with_coverage else None
    if as_data:
        more = {} if touched is None else {"coverage": _coverage(touched)}
        print_json({**numbers, "failures": failures, **more})
    else:
        click.echo(
            f"{numbers['rule_cases']} cases of rules, {numbers['words_cases']} of words, "
            f"{numbers['whole_cases']} whole reports, "
            f"{len(failures)} {'failure' if len(failures) == 1 else 'failures'}"
        )
        if touched is not None:
            _show_coverage(touched)
    _tell(failures)
    return 1 if failures else 0


def _failures(folder: Path, rules: Rulebook, engine: Engine) -> list[dict[str, Any]]:
    of_rules = [
        {"file": failure.file, "id": failure.rule, "message": failure.message}
        for failure in (*run_rule_cases(rules), *run_words_cases(rules))
    ]
    whole = []
    for each in run_whole_cases(rules, engine):
        place = read_file(folder / each.file, each.file).keys.get(("expect",))
        line = {} if place is None else {"line": place.line}
        whole.append({"file": each.file, "id": each.case, "message": f"{each.message}{IF_MEANT}", **line})
    return of_rules + whole


COUNTED = (
    *("symptoms", "causes", "facts", "derive", "evidence"),
    *("cautions", "checks", "policy", "warranty", "limits"),
)


def _counts(rules: Rulebook) -> str:
    counted = [f"{len(getattr(rules, kind))} {kind}" for kind in COUNTED]
    return ", ".join([*counted, f"{len(rules.words)} lists of words"])


def _show(found: Sequence[Finding], silenced: bool) -> None:
    for each in found:
        if each.silenced is None:
            click.echo(str(each))
        elif silenced:
            click.echo(f"{each.where}: silenced {each.code}: {each.message}. Because: {each.silenced}")
    said = [
        f"{number} {severity}{'' if number == 1 else 's'}"
        for severity, number in counts(found).items()
        if number
    ]
    quiet = sum(each.silenced is not None for each in found)
    if quiet:
        said.append(f"{quiet} silenced")
    click.echo(", ".join(said) or "nothing found")


def _tell(failures: Sequence[Mapping[str, Any]]) -> None:
    for failure in failures:
        where = ":".join(str(failure[key]) for key in ("file", "line") if key in failure)
        click.echo(f"{where}: {failure['id']}: {failure['message']}", err=True)


def _show_coverage(touched: Coverage) -> None:
    click.echo(f"{touched.share:.0%} of {len(touched.rules)} live rules and checks hold in some whole report")
    for rule in touched.never_in_a_whole_case:
        click.echo(f"{rule.file}: holds in no whole report")
    for rule in touched.with_untouched_branches:
        for branch in rule.untouched:
            click.echo(f"{rule.file}: no case touches the branch “{branch}”")


def _coverage(touched: Coverage) -> dict[str, object]:
    return {
        "share": round(touched.share, 6),
        "rules": [
            {
                "kind": rule.kind,
                "rule": rule.rule,
                "file": rule.file,
                "whole_cases": list(rule.whole_cases),
                "untouched": list(rule.untouched),
            }
            for rule in touched.rules
        ],
    }


def _finding(each: Finding) -> dict[str, object]:
    data = asdict(each)
    return data | {"pointer": pointer_to(data.pop("path"))}


def _problem(problem: Problem) -> dict[str, object]:
    return asdict(problem)
