"""`barrelwise rulebook cases`."""

from pathlib import Path

import click

from triage.cli.rulebook.check import tell
from triage.cli.rulebook.judged import failed_cases
from triage.cli.shown.output import print_json
from triage.config import read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import counted
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.editing.coverage import Coverage, coverage

FOLDER = click.Path(path_type=Path)


@click.command()
@click.argument("folder", type=FOLDER, required=False)
@click.option("--json", "as_data", is_flag=True, help="Print the result as JSON.")
@click.option("--coverage", "with_coverage", is_flag=True, help="Say what no case touches.")
def cases(folder: Path | None, as_data: bool, with_coverage: bool) -> int:
    """Run the cases that stand beside each rule, and the whole reports. Exit status 1 when one fails."""
    settings = read_settings()
    folder = folder or settings.rulebook
    rules, files = read_with_files(folder)
    engine = compile_rulebook(rules, settings.engine)
    failures = failed_cases(folder, rules, files, engine)
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
    tell(failures)
    return 1 if failures else 0


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
