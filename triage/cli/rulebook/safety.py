"""What a rulebook takes away from people's safety, compared with the live one, as the commands print it."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import click

from triage.config import Settings
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook_care.release import publishing
from triage.rulebook_care.release.losses import kept_rulebook
from triage.rulebook_care.safety.danger_cases import binding, failed_danger_cases
from triage.rulebook_care.safety.loss import Loss, by_edit
from triage.rulebook_care.safety.weakening import weakened
from triage.store import Store, is_there, open_store
from triage.values.errors import InputError, NotFoundError


@contextmanager
def store_at_hand(settings: Settings) -> Iterator[Store | None]:
    """None where there is no database; a difference needs none, and makes none."""
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


def against_live(
    settings: Settings, rulebook: Rulebook, engine: Engine
) -> tuple[tuple[Loss, ...], list[dict[str, str]]]:
    """What a rulebook takes away from the live one, and the danger cases that it fails.

    Without a database, or where nothing is live in it, it is held to the cases that it knows itself.
    """
    live = _live(settings)
    losses = () if live is None else weakened(live, rulebook)
    failed = failed_danger_cases(rulebook, engine, () if live is None else binding(live))
    return losses, [{"file": "rulebook", "id": "danger", "message": each} for each in failed]


def show_losses(losses: Sequence[Loss]) -> None:
    """Grouped by edit; nothing where there is none."""
    if losses:
        click.echo(f"Safety losses: {len(losses)}; each is accepted by its id before this is published")
    for edit, of_edit in by_edit(losses).items():
        click.echo(f"  {edit}")
        for loss in of_edit:
            click.echo(f"    {loss.id} {loss.what}{loss.seen}")


def _live(settings: Settings) -> Rulebook | None:
    with store_at_hand(settings) as store:
        try:
            return None if store is None else kept_rulebook(store, publishing.live(store).version)
        except NotFoundError:
            return None
