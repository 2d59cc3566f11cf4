"""How a rulebook comes into force: draft, checked, replayed, then published by a named person with a note.

Every version that was ever tried is kept whole, every step is written down and stays. A version that loses a
safety outcome in its replay is published only by someone who says so outright. Rolling back puts a version
in force that was there before; it was checked and tried then, and needs neither again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from triage.rulebook.reading.reader import version_of
from triage.rulebook_care.editing.candidate import USUAL, Limits, refuse_bad
from triage.rulebook_care.release.replay import Replay
from triage.store import Store, Work
from triage.store.tables.rulebooks import Publication, Stage
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.plain_data import NotPlain

MOST_NOTE = 1000
MOST_NAME = 64


@dataclass(frozen=True, slots=True)
class LogLine:
    """One step in the life of the rulebooks. `stage` is checked, replayed, published or rolled back."""

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
    try:
        version = version_of(files)
    except NotPlain:
        refuse_bad(files, seconds=limits.seconds, memory_mb=limits.memory_mb)  # says where
        raise
    with store.read() as work:
        if _stage(work, version, "checked") is not None:
            return version
    refuse_bad(files, seconds=limits.seconds, memory_mb=limits.memory_mb)
    title = files["rulebook.yml"]["title"]  # type: ignore[index]
    with store.write() as work:
        work.rulebooks.keep(version, files)
        work.rulebooks.add_stage(Stage(version, "checked", at, who, {"title": title}))
    return version


def is_checked(store: Store, version: str) -> bool:
    with store.read() as work:
        return _stage(work, version, "checked") is not None


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
    }
    with store.write() as work:
        work.rulebooks.add_stage(Stage(job.candidate, "replayed", at, who, details))


def publish(
    store: Store,
    version: str,
    by: str,
    note: str,
    at: datetime,
    accept_lost_safety: bool = False,
    how_to_accept: str = "accept the loss",
) -> Publication:
    """Makes a kept version live. Running requests finish with the version they started with.

    `how_to_accept` is what whoever asks has to do to set `accept_lost_safety`, for the refusal.

    Raises InputError without a name or a note, NotFoundError for a version that is not kept, ConflictError
    when it is live already, was not checked, was not replayed against the live version now, or loses
    safety outcomes that `accept_lost_safety` does not accept.
    """
    _refuse_nameless(by, note)
    with store.write() as work:
        _refuse_unkept(work, version)
        now = work.rulebooks.live()
        if now is not None and now.version == version:
            raise ConflictError(f"{version} is live already")
        if _stage(work, version, "checked") is None:
            raise ConflictError(f"{version} was not checked; check it first")
        if now is not None:
            replayed = _replayed(work, version, now.version)
            if not accept_lost_safety:
                _refuse_lost_safety(replayed, how_to_accept)
        publication = Publication(version, at, by, note)
        work.rulebooks.publish(publication)
        return publication


def rollback(store: Store, version: str | None, by: str, note: str, at: datetime) -> Publication:
    """Makes a version live again: the given one, or the one that was live before.

    Raises InputError without a name or a note, NotFoundError when there is no such earlier version.
    """
    _refuse_nameless(by, note)
    with store.write() as work:
        publications = work.rulebooks.publications()
        if not publications:
            raise NotFoundError("no rulebook was published yet")
        earlier = [one.version for one in publications if one.version != publications[0].version]
        if version is None and earlier:
            version = earlier[0]
        if version is None or version not in earlier:
            known = ", ".join(dict.fromkeys(earlier)) or "none"
            what = "no other version was" if version is None else f"{version} was not"
            raise NotFoundError(f"{what} live before; earlier versions: {known}")
        publication = Publication(version, at, by, f"{ROLLED_BACK}{note}")
        work.rulebooks.publish(publication)
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
            LogLine(one.at, one.stage, one.version, one.who, _said(one)) for one in work.rulebooks.stages()
        ]
    order = {"checked": 0, "replayed": 1}
    lines = sorted(
        (*reversed(steps), *reversed(published)), key=lambda line: (line.at, order.get(line.stage, 2))
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


def _said(stage: Stage) -> str:
    details: Mapping[str, Any] = stage.details
    if stage.stage == "checked":
        return str(details["title"])
    lost = details["safety_lost"]
    return (
        f"{details['changed']} of {details['decisions']} decisions change, "
        f"{lost} safety {'outcome' if lost == 1 else 'outcomes'} lost, against {details['baseline'][:14]}…"
    )


def _refuse_nameless(by: str, note: str) -> None:
    problems = []
    for name, value, most in (("by", by, MOST_NAME), ("note", note, MOST_NOTE)):
        if not value.strip() or len(value) > most or not value.isprintable():
            what = "who publishes it" if name == "by" else "why it is published"
            problems.append(Problem(f"say {what}, in 1 to {most} printable characters", f"/{name}"))
    if problems:
        raise InputError(problems)


def _refuse_unkept(work: Work, version: str) -> None:
    if work.rulebooks.files(version) is None:
        raise NotFoundError(f"no rulebook {version} is kept; check it first")


def _replayed(work: Work, version: str, baseline: str) -> Stage:
    """The newest replay of a version against the live one. Raises ConflictError where there is none."""
    replayed = _stage(work, version, "replayed", baseline)
    if replayed is None:
        raise ConflictError(
            f"{version} was not replayed against the live version, {baseline}; replay it first"
        )
    return replayed


def _refuse_lost_safety(replayed: Stage, how_to_accept: str) -> None:
    lost = replayed.details["safety_lost"]
    if lost:
        raise ConflictError(
            f"the replay lost {lost} safety {'outcome' if lost == 1 else 'outcomes'}; read them one by one "
            f"in the replay, and {how_to_accept} only if each is meant"
        )


def _stage(work: Work, version: str, stage: str, baseline: str | None = None) -> Stage | None:
    """The newest such step of a version, against `baseline` where one is given."""
    for one in work.rulebooks.stages(version):
        if one.stage == stage and baseline in (None, one.details.get("baseline")):
            return one
    return None


def live(store: Store) -> Publication:
    """What is live. Raises NotFoundError where nothing was published yet."""
    with store.read() as work:
        publication = work.rulebooks.live()
    if publication is None:
        raise NotFoundError("no rulebook is live in this database yet; `barrelwise serve` puts one there")
    return publication
