"""`barrelwise rulebook diff`: what changed, in words, and how many recorded tickets that changes."""

import re
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from triage.cli.rulebook.replay import progress_bar
from triage.cli.rulebook.safety import show_losses, store_at_hand
from triage.cli.shown.files import now, read_time
from triage.cli.shown.output import print_json
from triage.config import read_settings
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook, rulebook_files_data, rulebook_from_data, version_of
from triage.rulebook_care.book.difference import Change, differences
from triage.rulebook_care.release import publishing
from triage.rulebook_care.release.tickets_changed import TicketsChanged, decide_again, newest_replay
from triage.rulebook_care.safety.loss import Loss
from triage.rulebook_care.safety.weakening import weakened
from triage.store import Store
from triage.values.errors import InputError, RulebookError, pointer_to

LIVE = "live"
_VERSION = re.compile(r"(sha256:)?[0-9a-f]{6,64}")


@click.command()
@click.argument("before")
@click.argument("after", required=False)
@click.option("--since", help="Redecide what was recorded from this time on; RFC 3339 with offset.")
@click.option("--tickets", "all_tickets", is_flag=True, help="Redecide everything that was recorded.")
@click.option("--json", "as_data", is_flag=True, help="Print the changes as JSON.")
def diff(before: str, after: str | None, since: str | None, all_tickets: bool, as_data: bool) -> None:
    """Say in words what changed from the rulebook BEFORE to AFTER (else the settings' folder), what that
    takes away from people's safety, and how many recorded tickets it changes.

    Each is a folder, the first digits of a version the database keeps, or `live`. Without --since and
    --tickets the newest finished replay between the two says how many tickets change, if there is one.
    """
    settings = read_settings()
    started = None if since is None else read_time(since, "--since")
    with store_at_hand(settings) as store:
        sides = [_Side(name, store) for name in (before, after or str(settings.rulebook))]
        changes = differences(sides[0].files, sides[1].files)
        counted = _count(store, sides, started) if since or all_tickets else _replayed(store, sides)
    losses = _losses(sides)
    if as_data:
        print_json(
            {
                "changes": [_change(change) for change in changes],
                "losses": None if losses is None else [loss.as_data() for loss in losses],
                "tickets": None if counted is None else _counted(counted),
            }
        )
        return
    file = None
    for change in changes:
        if change.file != file:
            file = change.file
            click.echo(f"{change.title} ({file})")
        click.echo(f"  {change.words}")
    if not changes:
        click.echo("nothing changed")
    if losses is None:
        click.echo("One of the two cannot be read as a rulebook: what it takes from safety cannot be told.")
    else:
        show_losses(losses)
    if counted is not None:
        click.echo(str(counted))


class _Side:
    """One of the two rulebooks: a folder where there is one of that name, else a kept version."""

    def __init__(self, name: str, store: Store | None) -> None:
        self._folder: Path | None = None
        kept = name == LIVE or _VERSION.fullmatch(name) is not None
        if Path(name).is_dir() or not kept:
            self._folder = Path(name)
            self.files: Mapping[str, Any] = rulebook_files_data(self._folder)
            self.version = version_of(self.files)
            return
        if store is None:
            raise InputError(
                f'"{name}" is no folder, and there is no database at hand that could keep such a version'
            )
        live = name == LIVE
        self.version = publishing.live(store).version if live else publishing.kept_version(store, name)
        with store.read() as work:
            self.files = work.rulebooks.files(self.version) or {}

    def rulebook(self) -> Rulebook:
        """Raises RulebookError."""
        if self._folder is None:
            return rulebook_from_data(self.files, self.version)
        return read_rulebook(self._folder)


def _losses(sides: list[_Side]) -> tuple[Loss, ...] | None:
    """None where one of the two cannot be read."""
    try:
        before, after = (rulebook_from_data(side.files) for side in sides)
    except RulebookError:
        return None
    return weakened(before, after)


def _count(store: Store | None, sides: list[_Side], since: datetime | None) -> TicketsChanged:
    if store is None:
        raise InputError("there is no database at hand whose tickets could be redecided")
    before, after = (side.rulebook() for side in sides)
    with progress_bar() as progress:
        return decide_again(store, before, after, since, now(), progress)


def _replayed(store: Store | None, sides: list[_Side]) -> TicketsChanged | None:
    if store is None:
        return None
    before, after = (side.version for side in sides)
    return newest_replay(store, before, after)


def _counted(counted: TicketsChanged) -> dict[str, object]:
    times = {
        name: None if at is None else at.isoformat()
        for name, at in (
            ("since", counted.since),
            ("until", counted.until),
            ("replayed_at", counted.replayed_at),
        )
    }
    return {**asdict(counted), **times}


def _change(change: Change) -> dict[str, object]:
    data = asdict(change)
    return data | {"pointer": pointer_to(data.pop("path"))}
