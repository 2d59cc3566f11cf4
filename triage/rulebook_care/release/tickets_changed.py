"""How many recorded tickets a change of the rulebook changes: the number beside the words of a difference.

Either all is decided again, here and without writing anything, or the newest replay that was finished between
exactly these two versions says it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from triage.rulebook.model import Rulebook
from triage.rulebook_care.release.piece import ReplayJob, ready
from triage.rulebook_care.release.replay import replay
from triage.rulebook_care.release.runners import with_rulebooks
from triage.store import Store


@dataclass(frozen=True, slots=True)
class TicketsChanged:
    """Of `tickets` recorded ones `changed` have another outcome; a ticket counts by its last decision.

    Looked at were `decisions` made from `since` (None: the beginning) until `until`; `lost_safety` counts
    safety outcomes that are lost, `undecided` decisions the later rulebook cannot make. `replayed_at` says
    when a replay found this; None: it was decided again just now.
    """

    tickets: int
    changed: int
    decisions: int
    lost_safety: int
    undecided: int
    since: datetime | None
    until: datetime
    replayed_at: datetime | None

    def __str__(self) -> str:
        change = "changes" if self.changed == 1 else "change"
        first = "the beginning" if self.since is None else _day(self.since)
        time = f"decided from {first} until {_day(self.until)}"
        how = "" if self.replayed_at is None else f", as the replay of {_day(self.replayed_at)} found"
        lost = f"; {_count(self.lost_safety, 'safety outcome')} lost" if self.lost_safety else ""
        undecided = (
            f"; {_count(self.undecided, 'decision')} cannot be redecided, and count as changed"
            if self.undecided
            else ""
        )
        return (
            f"{self.changed} of {_count(self.tickets, 'recorded ticket')} {change}{lost}{undecided} "
            f"({_count(self.decisions, 'decision')} looked at, {time}{how})"
        )


def decide_again(
    store: Store,
    before: Rulebook,
    after: Rulebook,
    since: datetime | None,
    until: datetime,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> TicketsChanged:
    """Decides all that was recorded in this time again under both; neither need be kept.

    What `before` itself decided stands as it was recorded. `progress` hears of decisions done, and of all.
    """
    job = ReplayJob(store.url, before.version, after.version, since, until)
    run = with_rulebooks(store, ready(before), ready(after))
    tally = replay(store, job, run, progress=progress, weaker=()).tally
    return TicketsChanged(
        tally.tickets,
        tally.changed_tickets,
        tally.decisions,
        len(tally.lost),
        len(tally.undecided),
        since,
        until,
        None,
    )


def newest_replay(store: Store, before: str, after: str) -> TicketsChanged | None:
    """What the newest finished replay of version `after` against version `before` found."""
    with store.read() as work:
        stages = work.rulebooks.stages(after)
    for stage in stages:
        found = stage.details
        if stage.stage == "replayed" and found["baseline"] == before and "changed_tickets" in found:
            return TicketsChanged(
                found["tickets"],
                found["changed_tickets"],
                found["decisions"],
                found["safety_lost"],
                found["undecided"],
                None if found["since"] is None else datetime.fromisoformat(found["since"]),
                datetime.fromisoformat(found["until"]),
                stage.at,
            )
    return None


def _day(at: datetime) -> str:
    return at.isoformat(sep=" ", timespec="minutes")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
