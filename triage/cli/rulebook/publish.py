"""`barrelwise rulebook publish|rollback|log`: which rulebook is live, since when, by whom and why."""

from dataclasses import asdict
from datetime import UTC
from pathlib import Path

import click
from rich.table import Table

from triage.cli.shown.files import now, read_time
from triage.cli.shown.opened import opened_store
from triage.cli.shown.output import console, print_json
from triage.config import read_settings
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.release import gates, publishing, scheduling
from triage.values.errors import InputError

BY = click.option("--by", required=True, help="Who publishes it.")
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
def publish(candidate: Path, by: str, note: str, accepted: tuple[str, ...], due: str | None) -> None:
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
        accepting = 'accept it with --accept LOSS="REASON"'
        two = settings.two_people
        if due is not None:
            at = read_time(due)
            scheduling.schedule(store, version, by, note, at, now(), reasons, accepting, two)
            click.echo(f"scheduled for {at.isoformat()}: {version}")
            return
        publishing.publish(store, version, by, note, now(), reasons, accepting, two_people=two)
    click.echo(f"live: {version}")


def _reason(accepted: str) -> tuple[str, str]:
    loss, equals, reason = accepted.partition("=")
    if not equals:
        raise InputError(f'--accept "{accepted}": write the id of the loss, "=", and the reason')
    return loss.strip(), reason.strip()


@click.command()
@click.argument("version")
@click.option("--by", required=True, help="Who says yes: another person than who proposed it.")
@NOTE
def agree(version: str, by: str, note: str) -> None:
    """Say the second person's yes to the candidate VERSION (its first digits will do)."""
    with opened_store(read_settings()) as store:
        wanted = publishing.kept_version(store, version)
        gates.agree(store, wanted, by, note, now())
    click.echo(f"agreed: {wanted}")


@click.command()
@click.argument("version", required=False)
@BY
@NOTE
def rollback(version: str | None, by: str, note: str) -> None:
    """Publish VERSION (its first digits will do) again; without it, the one that was live before."""
    with opened_store(read_settings()) as store:
        wanted = None if version is None else publishing.kept_version(store, version)
        done = publishing.rollback(store, wanted, by, note, now())
    click.echo(f"live: {done.version}")


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def log(as_json: bool) -> None:
    """Show what happened to the rulebooks, newest first; the first that was published is live."""
    with opened_store(read_settings()) as store:
        lines = publishing.log(store)
    if as_json:
        print_json([{**asdict(line), "at": line.at.isoformat()} for line in lines])
        return
    table = Table()
    for heading in ("at (UTC)", "step", "version", "who", "note"):
        table.add_column(heading, no_wrap=heading in ("at (UTC)", "version"))
    for line in lines:
        when = f"{line.at.astimezone(UTC):%Y-%m-%d %H:%M:%S}"
        table.add_row(when, line.stage, line.version.removeprefix("sha256:")[:12], line.who, line.note)
    console().print(table)
