"""`barrelwise rulebook check`."""

import gc
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from triage.cli.rulebook.safety import live_version, show_losses
from triage.cli.shown.output import messages, print_json
from triage.cli.shown.remembered import PROGRAM, remembered
from triage.config import Settings, read_settings
from triage.values.errors import InputError

FOLDER = click.Path(path_type=Path)


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
        found = _judged(folder, settings)
    except InputError as error:
        if as_sarif:
            from triage.rulebook_care.lint.findings import sarif

            print_json(sarif((), error.problems))
        elif as_data:
            problems = [asdict(problem) for problem in error.told]
            print_json({"ok": False, "problems": problems, "findings": [], "failures": [], "losses": []})
            return 2
        raise
    for backup in found["backups"]:
        click.echo(f"{backup}: an editor's backup; it is not read", err=True)
    if as_sarif:
        print_json(found["sarif"])
    elif as_data:
        print_json(found["data"])
    else:
        click.echo(found["title"])
        for line, is_silenced in found["lines"]:
            if silenced or not is_silenced:
                click.echo(line)
        click.echo(found["counted"])
        show_losses(found["losses"])
    tell(found["data"]["failures"])
    return 0 if found["data"]["ok"] else 1


def _judged(folder: Path, settings: Settings) -> dict[str, Any]:
    """As `judge`, once for the same folder, live rulebook, settings and program."""

    live = live_version(settings)

    def judged() -> dict[str, Any]:
        with messages().status("Looking for faults and running the cases"), uncollected():
            from triage.cli.rulebook.judged import judge

            return judge(folder, settings, live)

    return remembered(folder, (PROGRAM,), f"check, {settings.engine}, {live}", judged)


@contextmanager
def uncollected() -> Iterator[None]:
    """Hardly anything that a short command makes is thrown away before its end: to look for it costs more."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def tell(failures: Sequence[Mapping[str, Any]]) -> None:
    for failure in failures:
        where = ":".join(str(failure[key]) for key in ("file", "line") if key in failure)
        click.echo(f"{where}: {failure['id']}: {failure['message']}", err=True)
