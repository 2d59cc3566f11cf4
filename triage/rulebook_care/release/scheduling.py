"""A candidate that goes live by itself at a time to come."""

from collections.abc import Mapping
from datetime import datetime

from triage.config import TwoPeople
from triage.rulebook_care.release.gates import (
    NOTHING,
    known_losses,
    refuse_alone,
    refuse_dangerous,
    refuse_nameless,
    refuse_unaccepted,
    refuse_unready,
)
from triage.rulebook_care.release.publishing import publish
from triage.store import Store
from triage.store.tables.rulebooks import Publication, Stage
from triage.values.errors import InputError, Problem


def schedule(
    store: Store,
    version: str,
    by: str,
    note: str,
    due: datetime,
    now: datetime,
    accepted: Mapping[str, str] = NOTHING,
    how_to_accept: str = "accept each with a reason",
    two_people: TwoPeople = "no",
) -> None:
    """Lets a kept version go live at a time to come. All that publishing asks is asked now, and again then.

    The newest schedule counts; whatever goes live before it is due cancels it. Raises as `publish` does, and
    InputError for a time that is past.
    """
    refuse_nameless(by, note, accepted)
    if due <= now:
        raise InputError([Problem(f"{due.isoformat()} is past; name a time to come, or none for now", "/at")])
    refuse_dangerous(store, version)
    with store.read() as work:
        before = refuse_unready(work, version, now)
        if before is not None:
            refuse_alone(work, version, by, two_people, now)
    losses = () if before is None else known_losses(store, before, version)
    refuse_unaccepted(losses, accepted, how_to_accept)
    details = {"at": due.isoformat(), "note": note, "accept": dict(accepted)}
    with store.write() as work:
        work.rulebooks.add_stage(Stage(version, "scheduled", now, by, details))


def publish_due(store: Store, now: datetime) -> Publication | None:
    """Publishes what is scheduled and due; where that is refused by now, the reason goes to the log."""
    with store.read() as work:
        live, asked = work.rulebooks.live(), work.rulebooks.schedule()
    if asked is None or asked.stage != "scheduled" or datetime.fromisoformat(asked.details["at"]) > now:
        return None
    if live is not None and live.at > asked.at:
        return None
    try:
        accept, note = asked.details["accept"], asked.details["note"]
        return publish(store, asked.version, asked.who, note, now, accept, asked_at=asked.at)
    except InputError as error:
        with store.write() as work:
            live = work.rulebooks.live()
            if live is None or live.version != asked.version:  # else another process was first
                refused = Stage(asked.version, "unscheduled", now, asked.who, {"why": str(error)})
                work.rulebooks.add_stage(refused)
        return None
