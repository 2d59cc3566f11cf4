"""What a rulebook takes away from people's safety, compared with the live one, as the commands print it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from triage.cli.shown.remembered import PROGRAM, remembered
from triage.config import Settings
from triage.rulebook_care.safety.loss import Loss, by_edit
from triage.values.errors import InputError

if TYPE_CHECKING:  # a folder is checked without a database more quickly
    from triage.rulebook.model import Rulebook
    from triage.store import Store


@contextmanager
def store_at_hand(settings: Settings) -> Iterator[Store | None]:
    """None where there is no database; a difference needs none, and makes none."""
    if _is_missing(settings.database):
        yield None
        return
    from triage.store import is_there, open_store

    if not is_there(settings.database):
        yield None
        return
    try:
        store = open_store(settings.database)
    except InputError as error:
        click.echo(f"no tickets are looked at: {error.told[0]}", err=True)
        yield None
        return
    try:
        yield store
    finally:
        store.close()


def show_losses(losses: Sequence[Loss]) -> None:
    """Grouped by edit; nothing where there is none."""
    if losses:
        click.echo(f"Safety losses: {len(losses)}; each is accepted by its id before this is published")
    for edit, of_edit in by_edit(losses).items():
        click.echo(f"  {edit}")
        for loss in of_edit:
            click.echo(f"    {loss.id} {loss.what}{loss.seen}")


def live_version(settings: Settings) -> str | None:
    """None without a database, and where nothing is live in it.

    To open a database takes most of a short command's time; SQLite's file is not, while it stays as it was.
    """
    if _stamp(settings.database) is None:
        return _live_version(settings)

    def beside() -> str:
        return f"live, {settings.database}, {_stamp(settings.database)}"

    return remembered(None, (PROGRAM,), beside, lambda: _live_version(settings))


def _live_version(settings: Settings) -> str | None:
    with store_at_hand(settings) as store:
        if store is None:
            return None
        with store.read() as work:
            live = work.rulebooks.live()
    return None if live is None else live.version


def kept_version(settings: Settings, version: str) -> Rulebook:
    """A version that is kept in the database."""

    def kept() -> Rulebook:
        from triage.rulebook_care.release.losses import kept_rulebook

        with store_at_hand(settings) as store:
            assert store is not None
            return kept_rulebook(store, version)

    return remembered(None, (PROGRAM,), f"kept, {settings.database}, {version}", kept)


def _stamp(url: str) -> tuple[tuple[int, ...] | None, ...] | None:
    """Changes whenever the database does; None where that cannot be told without asking it."""
    scheme, _, path = url.partition(":///")
    if scheme != "sqlite" or not path or set(path) & {"?", "%"}:
        return None
    found: list[tuple[int, ...] | None] = []
    for file in (Path(path), Path(f"{path}-wal"), Path(f"{path}-journal")):
        try:
            state = file.stat()
        except FileNotFoundError:
            found.append(None)
        except OSError:
            return None
        else:
            found.append((state.st_mtime_ns, state.st_ctime_ns, state.st_size, state.st_ino))
    return tuple(found)


def _is_missing(url: str) -> bool:
    """Whether it plainly is a SQLite file that does not exist, which can be told without a library."""
    scheme, _, path = url.partition(":///")
    return (
        scheme == "sqlite" and path.isprintable() and not set(path) & {"?", "%"} and not Path(path).is_file()
    )
