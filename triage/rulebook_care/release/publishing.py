"""How a rulebook comes into force: draft, checked, replayed, then published by a named person with a note.

Every version that was ever tried is kept whole, every step is written down and stays. Whatever a version
takes away from people's safety is accepted loss by loss, each with a reason that the log keeps; what fails a
danger case of the program's own is not published at all. Rolling back puts a version in force that was there
before; it was checked and tried then, and needs neither again; what it takes away is written down as well.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from triage.config import TwoPeople
from triage.rulebook_care.editing.candidate import USUAL, Limits, trial
from triage.rulebook_care.release.gates import (
    NOTHING,
    bound_by_live,
    refuse_alone,
    refuse_dangerous,
    refuse_nameless,
    refuse_unaccepted,
    refuse_unready,
    seen_before,
    stage_of,
)
from triage.rulebook_care.release.losses import joined, losses_between, with_reasons
from triage.rulebook_care.release.replay import Replay
from triage.rulebook_care.safety.loss import loss_from_data
from triage.store import Store
from triage.store.tables.rulebooks import Publication, Stage
from triage.values.errors import ConflictError, InputError, NotFoundError


@dataclass(frozen=True, slots=True)
class LogLine:
    """One step in the life of the rulebooks.

    `stage` is checked, replayed, agreed, accepted (one line for each loss), published or rolled back.
    """

    at: datetime
    stage: str
    version: str
    who: str
    note: str


def check_candidate(
    store: Store, files: Mapping[str, object], who: str, at: datetime, limits: Limits = USUAL
) -> str:
    """Tries a candidate in a child process, keeps it, and notes that it is checked; gives its version.

    It is tried with both engines, whichever serves. One that was checked before is not tried again. Raises
    InputError with every problem; then nothing is kept.
    """
    with trial(files, limits) as tried:
        version = tried.version()
        if is_checked(store, version):
            refuse_dangerous(store, version)  # another may be live since
            return version
        tried.refuse_bad(bound=bound_by_live(store))
    title = files["rulebook.yml"]["title"]  # type: ignore[index]
    with store.write() as work:
        work.rulebooks.keep(version, files)
        work.rulebooks.add_stage(Stage(version, "checked", at, who, {"title": title}))
    return version


def is_checked(store: Store, version: str) -> bool:
    with store.read() as work:
        return stage_of(work, version, "checked") is not None


def note_replay(store: Store, found: Replay, who: str, at: datetime) -> None:
    """Notes that a kept candidate was replayed against a baseline, and what it loses.

    A replay of a part of the log, with a `since`, is noted with it.
    """
    tally, job = found.tally, found.job
    details = {
        "baseline": job.baseline,
        "since": None if job.since is None else job.since.isoformat(),
        "until": job.until.isoformat(),
        "decisions": tally.decisions,
        "changed": found.changed,
        "tickets": tally.tickets,
        "changed_tickets": tally.changed_tickets,
        "safety_lost": len(tally.lost),
        "undecided": len(tally.undecided),
        "losses": [loss.as_data() for loss in found.losses],
    }
    with store.write() as work:
        work.rulebooks.add_stage(Stage(job.candidate, "replayed", at, who, details))


def publish(
    store: Store,
    version: str,
    by: str,
    note: str,
    at: datetime,
    accepted: Mapping[str, str] = NOTHING,
    how_to_accept: str = "accept each with a reason",
    asked_at: datetime | None = None,
    two_people: TwoPeople = "no",
) -> Publication:
    """Makes a kept version live. Running requests finish with the version they started with.

    `accepted` says by the id of each loss why it is accepted; `how_to_accept` is what whoever asks has to do
    for that, for the refusal. A replay counts as of `asked_at`, which is `at` unless it was scheduled;
    `two_people` says whether somebody besides who proposed it has to want it.

    Raises InputError without a name, a note or a reason, or for a loss that there is not; NotFoundError for a
    version that is not kept; ConflictError when it is live already, was not checked, was not replayed far
    enough against the live version now, fails a danger case, or takes away what is not accepted.
    """
    refuse_nameless(by, note, accepted)
    with store.read() as work:
        before = refuse_unready(work, version, asked_at or at)
        if before is not None:
            refuse_alone(work, version, by, two_people, at)
    refuse_dangerous(store, version)
    weaker = () if before is None else losses_between(store, before, version)
    with store.write() as work:
        if refuse_unready(work, version, asked_at or at) != before:
            raise ConflictError("another version was published meanwhile; replay against that one first")
        losses = joined([weaker, *seen_before(work, version, before)])
        refuse_unaccepted(losses, accepted, how_to_accept)
        if losses:
            details = {"losses": with_reasons(losses, accepted)}
            work.rulebooks.add_stage(Stage(version, "accepted", at, by, details))
        publication = Publication(version, at, by, note)
        work.rulebooks.publish(publication)
        return publication


def rollback(store: Store, version: str | None, by: str, note: str, at: datetime) -> Publication:
    """Makes a version live again: the given one, or the one that was live before.

    Raises InputError without a name or a note, NotFoundError when there is no such earlier version.
    """
    refuse_nameless(by, note)
    with store.write() as work:
        publications = work.rulebooks.publications()
        if not publications:
            raise NotFoundError("no rulebook was published yet")
        earlier = [one.version for one in publications if one.version != publications[0].version]
        if version == publications[0].version:
            raise ConflictError(f"{version} is live already; name the version to go back to")
        if version is None and earlier:
            version = earlier[0]
        if version is None or version not in earlier:
            known = ", ".join(dict.fromkeys(earlier)) or "none"
            what = "no other version was" if version is None else f"{version} was not"
            raise NotFoundError(f"{what} live before; earlier versions: {known}")
        publication = Publication(version, at, by, f"{ROLLED_BACK}{note}")
        work.rulebooks.publish(publication)
    _note_rolled_back(store, publications[0].version, publication)
    return publication


ROLLED_BACK = "rolled back: "
"""How the note of a rollback begins."""


def log(store: Store) -> tuple[LogLine, ...]:
    """Everything that happened to the rulebooks, newest first."""
    with store.read() as work:
        published = [
            LogLine(
                one.at,
                "rolled back" if one.note.startswith(ROLLED_BACK) else "published",
                one.version,
                one.published_by,
                one.note.removeprefix(ROLLED_BACK),
            )
            for one in work.rulebooks.publications()
        ]
        steps = [
            LogLine(one.at, one.stage, one.version, one.who, said)
            for one in work.rulebooks.stages()
            for said in _said(one)
        ]
    order = {"checked": 0, "replayed": 1, "agreed": 2, "accepted": 3}
    lines = sorted(
        (*reversed(steps), *reversed(published)), key=lambda line: (line.at, order.get(line.stage, 4))
    )
    return tuple(reversed(lines))


def kept_version(store: Store, start: str) -> str:
    """The one kept version that begins with `start`, with or without "sha256:". Raises NotFoundError."""
    wanted = start if start.startswith("sha256:") else f"sha256:{start}"
    with store.read() as work:
        found = [version for version in work.rulebooks.versions() if version.startswith(wanted)]
    if len(found) != 1:
        why = "several kept rulebooks begin so" if found else "no kept rulebook begins so"
        raise NotFoundError(f'"{start}": {why}; `barrelwise rulebook log` lists them')
    return found[0]


def _said(stage: Stage) -> Iterator[str]:
    details: Mapping[str, Any] = stage.details
    if stage.stage == "checked":
        yield str(details["title"])
    elif stage.stage == "scheduled":
        yield f"goes live on {stage.details['at']}: {stage.details['note']}"
    elif stage.stage == "unscheduled":
        yield f"did not go live as scheduled: {stage.details['why']}"
    elif stage.stage == "shadow":
        yield f"decides {details['share']} % of the tickets beside the live version, seen by no agent"
    elif stage.stage == "shadow ended":
        yield "decides nothing beside the live version any more"
    elif stage.stage == "agreed":
        yield str(stage.details["note"])
    elif stage.stage == "accepted":
        for each in details["losses"]:
            yield f"{loss_from_data(each)}. Accepted because: {each['reason']}"
    else:
        lost = details["safety_lost"]
        yield (
            f"{details['changed']} of {details['decisions']} decisions change, "
            f"{lost} safety {'outcome' if lost == 1 else 'outcomes'} lost, "
            f"against {details['baseline'][:14]}…"
        )


def _note_rolled_back(store: Store, before: str, publication: Publication) -> None:
    """Writes down what going back takes away; a rollback waits for nothing."""
    try:
        losses = losses_between(store, before, publication.version)
    except InputError:  # a version that this program can no longer read
        return
    if losses:
        kept = with_reasons(losses, {loss.id: publication.note for loss in losses})
        with store.write() as work:
            work.rulebooks.add_stage(
                Stage(
                    publication.version,
                    "accepted",
                    publication.at,
                    publication.published_by,
                    {"losses": kept},
                )
            )


def live(store: Store) -> Publication:
    """What is live. Raises NotFoundError where nothing was published yet."""
    with store.read() as work:
        publication = work.rulebooks.live()
    if publication is None:
        raise NotFoundError("no rulebook is live in this database yet; `barrelwise serve` puts one there")
    return publication
