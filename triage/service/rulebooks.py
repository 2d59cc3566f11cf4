"""The rulebooks that are kept: the live one, and a candidate's way: check, replay, publish, roll back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from triage.records.caller import Caller
from triage.rulebook_care.book.difference import Change, differences
from triage.rulebook_care.editing.candidate import USUAL, Limits
from triage.rulebook_care.editing.check_process import CheckProcess
from triage.rulebook_care.forms import edited
from triage.rulebook_care.release import gates, losses, publishing, runs, scheduling
from triage.rulebook_care.release.background import Launcher, launcher_for
from triage.rulebook_care.release.gates import MOST_NOTE
from triage.rulebook_care.release.piece import ReplayJob
from triage.rulebook_care.release.publishing import LogLine
from triage.rulebook_care.release.replay import Replay, replay
from triage.rulebook_care.release.runners import here, processes
from triage.rulebook_care.safety.loss import Loss
from triage.service.service import Service
from triage.store.tables.replay_runs import ReplayRun
from triage.store.tables.rulebooks import Publication, Stage
from triage.values.errors import InputError, NotFoundError, Problem

__all__ = ["MOST_NOTE", "Launcher", "LogLine", "Publication", "Replay", "ReplayRun"]

Data = Mapping[str, Any]


def live(service: Service) -> Publication:
    """What is live in the database; a server serves it seconds later. NotFoundError where nothing is."""
    return publishing.live(service.store)


def publications(service: Service) -> Sequence[Publication]:
    """What was live, newest first; the first is live."""
    with service.store.read() as work:
        return work.rulebooks.publications()


def log(service: Service) -> Sequence[LogLine]:
    """Everything that happened to the rulebooks, newest first."""
    return publishing.log(service.store)


def kept_version(service: Service, start: str) -> str:
    """The one kept version that begins with `start`. Raises NotFoundError."""
    return publishing.kept_version(service.store, start)


def files_of(service: Service, version: str) -> Data:
    """A kept rulebook's files. Raises NotFoundError."""
    with service.store.read() as work:
        files = work.rulebooks.files(version)
    if files is None:
        raise NotFoundError(f"the rulebook {version} is not stored; ask with the live one instead")
    return files


def check_candidate(
    service: Service, files: Mapping[str, object], who: Caller, limits: Limits = USUAL
) -> str:
    """Tries a candidate in a child process and keeps it; gives its version. InputError with every problem."""
    return publishing.check_candidate(service.store, files, who.name, service.now(), limits)


def losses_against_live(service: Service, version: str) -> tuple[Loss, ...]:
    """What a kept version takes away from the live one's safety; nothing where none is live."""
    return losses.losses_against_live(service.store, version)


def known_losses(service: Service, before: str, after: str) -> tuple[Loss, ...]:
    """What the kept version `after` takes away from `before`, in the rulebooks and in replays so far."""
    return gates.known_losses(service.store, before, after)


def publish(
    service: Service, start: str, who: Caller, note: str, accepted: Mapping[str, str], how_to_accept: str
) -> Publication:
    """Puts the kept version that begins with `start` live; see `triage.rulebook_care.release.publishing`.

    `accepted` says by the id of each safety loss why it is accepted.
    """
    version = kept_version(service, start)
    now = service.now()
    return publishing.publish(
        service.store,
        version,
        who.name,
        note,
        now,
        accepted,
        how_to_accept,
        two_people=service.two_people,
    )


def schedule(
    service: Service,
    start: str,
    who: Caller,
    note: str,
    due: datetime,
    accepted: Mapping[str, str],
    how_to_accept: str,
) -> None:
    """Lets the kept version that begins with `start` go live at a time to come."""
    version, now = kept_version(service, start), service.now()
    store, two = service.store, service.two_people
    scheduling.schedule(store, version, who.name, note, due, now, accepted, how_to_accept, two)


def agree(service: Service, start: str, who: Caller, note: str) -> None:
    """The second person's yes to the kept version that begins with `start`."""
    gates.agree(service.store, kept_version(service, start), who.name, note, service.now())


def needs_second(service: Service) -> bool:
    """Whether publishing takes a second person."""
    with service.store.read() as work:
        return gates.needs_second(work, service.two_people, service.now())


def history(service: Service, file: str) -> Sequence[tuple[Publication, Sequence[Change]]]:
    """What each publication changed in a file, with who and why, newest first."""
    found = []
    after: Any = None
    with service.store.read() as work:
        said = work.rulebooks.publications()
        for one, before in zip(said, (*said[1:], None), strict=True):
            after = after if after is not None else (work.rulebooks.files(one.version) or {})
            earlier = {} if before is None else work.rulebooks.files(before.version) or {}
            pair = [{file: each[file]} if file in each else {} for each in (earlier, after)]
            if changes := differences(*pair):
                found.append((one, changes))
            after = earlier
    return found


def rollback(service: Service, start: str | None, who: Caller, note: str) -> Publication:
    """Puts an earlier version live again: the one that begins with `start`, or the one before."""
    version = None if start is None else kept_version(service, start)
    return publishing.rollback(service.store, version, who.name, note, service.now())


def would_change(service: Service, checks: CheckProcess, file: str, content: bytes) -> Data:
    """What the folder would decide otherwise than the live version on the newest tickets, with `file` holding
    this content; see `replay.as_data`. Raises InputError where the folder cannot be read so."""
    baseline = live(service).version
    files = files_of(service, baseline)
    with service.store.read() as work:
        recorded = work.recorded.newest(edited.MOST_TICKETS)
    return edited.would_change(checks, file, content, baseline, files, recorded, service.now())


def replay_now(service: Service, start: str, since: datetime | None, who: Caller) -> Replay:
    """Decides all that was recorded again under a checked candidate; takes as long as that takes."""
    store, now = service.store, service.now()
    version = kept_version(service, start)
    if not publishing.is_checked(store, version):
        raise InputError([Problem("this version was not checked; check it first", "/version")])
    job = ReplayJob(store.url, live(service).version, version, since, now)
    found = replay(store, job, processes(1) if store.can_be_shared else here(store))
    publishing.note_replay(store, found, who.name, now)
    return found


def launcher(service: Service) -> Launcher:
    """What carries out replays in the background."""
    return launcher_for(service.store, service.now)


def start_replay(
    service: Service, by: Launcher, start: str, since: datetime | None, who: Caller
) -> ReplayRun:
    """Asks for a replay in the background; where the same one goes on already, it is that one."""
    version = kept_version(service, start)
    run, fresh = runs.start(service.store, version, since, who.name, service.now())
    if fresh:
        by.launch(run)
    return replay_run(service, run.id)


def cast_shadow(service: Service, start: str, share: int, who: Caller) -> None:
    """Lets a candidate decide a share of the tickets beside the live version, in percent."""
    runs.cast_shadow(service.store, kept_version(service, start), share, who.name, service.now())


def end_shadow(service: Service, start: str, who: Caller) -> None:
    runs.end_shadow(service.store, kept_version(service, start), who.name, service.now())


def shadow_of(service: Service, version: str) -> Stage | None:
    """The step that began the shadow that a version casts now."""
    with service.store.read() as work:
        return runs.shadow_of(work, version)


def replay_runs(service: Service, version: str | None = None) -> Sequence[ReplayRun]:
    """The last replays in the background, of one candidate or of all, newest first."""
    return runs.newest(service.store, service.now(), version)


def replay_run(service: Service, run_id: str) -> ReplayRun:
    """How far it is. Raises NotFoundError."""
    return runs.find(service.store, run_id, service.now())


def stop_replay(service: Service, run_id: str) -> ReplayRun:
    """Stops it; what is finished is kept. Raises NotFoundError."""
    return runs.stop(service.store, run_id, service.now())


def result_of(service: Service, run: ReplayRun) -> Data | None:
    """What it found, as JSON data; None until it is done."""
    return runs.result(service.store, run)
