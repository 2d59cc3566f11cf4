"""`barrelwise rulebook publish|rollback|log`: which rulebook is live, since when, by whom and why."""

import sys
from dataclasses import asdict
from datetime import UTC
from pathlib import Path

import click
from rich.table import Table

from triage.cli.shown.files import now, read_time
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import AS_JSON, console, print_done, print_json
from triage.config import read_settings
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.release import gates, publishing, scheduling
from triage.values.errors import InputError

BY = click.option("--by", required=True, help="Who publishes it.")
YES = click.option("--yes", is_flag=True, help="Do not ask at the terminal first.")
NOTE = click.option("--note", required=True, help="Why, in a sentence.")


@click.command()
@click.argument("candidate", type=click.Path(path_type=Path))
@BY
@NOTE
@click.option(
    "--accept",
    "accepted",
    multiple=True,
    metavar="LOSS=REASON",
    help="Accept one safety loss, by its id, and say why. Once for each.",
)
@click.option("--at", "due", metavar="TIME", help="When, such as 2027-01-01T00:00-06:00; without it, now.")
@YES
@AS_JSON
def publish(
    candidate: Path, by: str, note: str, accepted: tuple[str, ...], due: str | None, yes: bool, as_data: bool
) -> None:
    """Publish the rulebook in the folder CANDIDATE.

    It has been replayed against the live version, and what it takes away from people's safety is accepted
    loss by loss. Servers take it up within five seconds; requests that are running finish with the version
    they started with.
    """
    reasons = dict(map(_reason, accepted))
    files = read_with_files(candidate)[1]
    settings = read_settings()
    with opened_store(settings) as store:
        version = publishing.check_candidate(store, files, by, now())
        _ask(yes, f"Make {version} live {'at once' if due is None else due}, everywhere?")
        accepting = 'accept it with --accept LOSS="REASON"'
        two = settings.two_people
        if due is not None:
            at = read_time(due)
            scheduling.schedule(store, version, by, note, at, now(), reasons, accepting, two)
            data = {"version": version, "live": False, "at": at.isoformat()}
            print_done(as_data, data, f"scheduled for {at.isoformat()}: {version}", answer=True)
            return
        publishing.publish(store, version, by, note, now(), reasons, accepting, two_people=two)
    print_done(as_data, {"version": version, "live": True}, f"live: {version}", answer=True)


def _ask(yes: bool, question: str) -> None:
    """Somebody at a terminal is asked first; a script is not."""
    if not yes and sys.stdin.isatty():
        click.confirm(question, abort=True, err=True)


def _reason(accepted: str) -> tuple[str, str]:
    loss, equals, reason = accepted.partition("=")
    if not equals:
        raise InputError(f'--accept "{accepted}": write the id of the loss, "=", and the reason')
    return loss.strip(), reason.strip()


@click.command()
@click.argument("version")
@click.option("--by", required=True, help="Who says yes: another person than who proposed it.")
@NOTE
@AS_JSON
def agree(version: str, by: str, note: str, as_data: bool) -> None:
    """Say the second person's yes to the candidate VERSION (its first digits will do)."""
    with opened_store(read_settings()) as store:
        wanted = publishing.kept_version(store, version)
        gates.agree(store, wanted, by, note, now())
    print_done(as_data, {"version": wanted, "agreed": True}, f"agreed: {wanted}", answer=True)


@click.command()
@click.argument("version", required=False)
@BY
@NOTE
@YES
@AS_JSON
def rollback(version: str | None, by: str, note: str, yes: bool, as_data: bool) -> None:
    """Publish VERSION (its first digits will do) again; without it, the one that was live before."""
    with opened_store(read_settings()) as store:
        wanted = None if version is None else publishing.kept_version(store, version)
        _ask(yes, f"Make {wanted or 'the rulebook that was live before'} live at once, everywhere?")
        done = publishing.rollback(store, wanted, by, note, now())
    print_done(as_data, {"version": done.version, "live": True}, f"live: {done.version}", answer=True)


@click.command()
@AS_JSON
def log(as_data: bool) -> None:
    """Show what happened to the rulebooks, newest first; the first that was published is live."""
    with opened_store(read_settings()) as store:
        lines = publishing.log(store)
    if as_data:
        print_json([{**asdict(line), "at": line.at.isoformat()} for line in lines])
        return
    table = Table()
    for heading in ("at (UTC)", "step", "version", "who", "note"):
        table.add_column(heading, no_wrap=heading in ("at (UTC)", "version"))
    for line in lines:
        when = f"{line.at.astimezone(UTC):%Y-%m-%d %H:%M:%S}"
        table.add_row(when, line.stage, line.version.removeprefix("sha256:")[:12], line.who, line.note)
    console().print(table)
