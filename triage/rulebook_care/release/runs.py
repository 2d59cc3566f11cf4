"""Replays in the background: asked for here, carried out by a process of their own, followed in the database.

Whoever serves the same database sees the same runs. One run of a (baseline, candidate, since) goes on at a
time: asking again joins it. A run whose process gave no sign of life for a while has failed, whatever its row
says; asked for again, it goes on from its finished pieces.
"""

import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from triage.rulebook_care.release import publishing
from triage.rulebook_care.release.piece import ReplayJob
from triage.rulebook_care.release.replay import PIECE_SIZE, as_data, replay
from triage.rulebook_care.release.runners import Runner
from triage.store import Store, Work
from triage.store.tables.replay_runs import GOING_ON, ReplayRun
from triage.store.tables.rulebooks import Stage
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem

BEAT_SECONDS = 5.0
"""How often the process of a run says that it lives."""

LAPSED_AFTER = timedelta(seconds=60)
GOES_ON_FOR = timedelta(hours=24)
"""A run asked for again within this time goes on from its pieces; later it is begun anew, up to then."""

DIED = "its process ended before the replay was done; start it again, and it goes on where it stopped"

Clock = Callable[[], datetime]


class NoLongerOurs(Exception):
    """The run was stopped, or given to another process."""


def start(
    store: Store, candidate: str, since: datetime | None, who: str, at: datetime
) -> tuple[ReplayRun, bool]:
    """The run that was asked for, and whether a process is to be started for it (else one has it already).

    Raises NotFoundError where nothing is live, ConflictError where the candidate was not checked or is
    itself in force.
    """
    with store.write() as work:
        baseline = _refuse_unfit(store, candidate)
        work.replay_runs.one_at_a_time(candidate)
        before = _same(work.replay_runs.newest(candidate), baseline, since, at)
        if before is not None and before.state in GOING_ON:
            return before, False
        fresh = ReplayRun(
            new_id(), baseline, candidate, since, at, "waiting", secrets.token_hex(8), who, at, at
        )
        if before is not None and before.state != "done" and at - before.until <= GOES_ON_FOR:
            fresh = replace(fresh, id=before.id, until=before.until, done=before.done, of=before.of)
        work.replay_runs.put(fresh)
        return fresh, True


def _refuse_unfit(store: Store, candidate: str) -> str:
    """The live version that a candidate can be compared with."""
    baseline = publishing.live(store).version
    if not publishing.is_checked(store, candidate):
        raise ConflictError(f"{candidate} was not checked; check it first")
    if candidate == baseline:
        raise ConflictError(f"{candidate} is live; there is nothing to compare it with")
    return baseline


def cast_shadow(store: Store, candidate: str, share: int, who: str, at: datetime) -> None:
    """Lets a checked candidate decide what the live version decides from now on, of `share` percent of the
    tickets. Nobody on a call sees it: it decides in the background what was recorded, when a run is started
    `since` the shadow's time. Raises as `start` does, and InputError for a share that is none."""
    if not 1 <= share <= 100:
        raise InputError([Problem("the share of tickets is a whole number from 1 to 100", "/share")])
    with store.write() as work:
        _refuse_unfit(store, candidate)
        work.rulebooks.add_stage(Stage(candidate, "shadow", at, who, {"share": share}))


def end_shadow(store: Store, candidate: str, who: str, at: datetime) -> None:
    """Raises ConflictError where it casts none."""
    with store.write() as work:
        if shadow_of(work, candidate) is None:
            raise ConflictError(f"{candidate} decides nothing beside the live version")
        work.rulebooks.add_stage(Stage(candidate, "shadow ended", at, who, {}))


def shadow_of(work: Work, candidate: str) -> Stage | None:
    """The shadow that a candidate casts now, by the step that began it; publishing it ends it."""
    stages = work.rulebooks.stages(candidate)
    newest = next((one for one in stages if one.stage in ("shadow", "shadow ended")), None)
    if newest is None or newest.stage != "shadow":
        return None
    since = (one for one in work.rulebooks.publications() if one.version == candidate)
    return None if any(one.at >= newest.at for one in since) else newest


def new_id() -> str:
    """A run's id, such as "R-3f9c0a7be1d2"."""
    return f"R-{secrets.token_hex(6)}"


def _same(
    runs: tuple[ReplayRun, ...], baseline: str, since: datetime | None, now: datetime
) -> ReplayRun | None:
    for run in runs:
        if run.baseline == baseline and run.since == since:
            return as_seen(run, now)
    return None


def as_seen(run: ReplayRun, now: datetime) -> ReplayRun:
    """The run as it is to be told at `now`: failed, where its process no longer gives a sign of life."""
    if run.state in GOING_ON and now - run.beat_at > LAPSED_AFTER:
        return replace(run, state="failed", why=DIED)
    return run


def find(store: Store, run_id: str, now: datetime) -> ReplayRun:
    """Raises NotFoundError."""
    with store.read() as work:
        run = work.replay_runs.get(run_id)
    if run is None:
        raise NotFoundError(f'no replay "{run_id}"')
    return as_seen(run, now)


def newest(store: Store, now: datetime, candidate: str | None = None) -> tuple[ReplayRun, ...]:
    """The last runs, of one candidate or of all, newest first."""
    with store.read() as work:
        return tuple(as_seen(run, now) for run in work.replay_runs.newest(candidate))


def result(store: Store, run: ReplayRun) -> Mapping[str, Any] | None:
    """What a run that is done found, as `replay.as_data` gives it."""
    if run.state != "done":
        return None
    with store.read() as work:
        return work.replay_runs.result(run.id)


def stop(store: Store, run_id: str, now: datetime) -> ReplayRun:
    """Stops a run; its process ends at the next piece. One that has ended stays as it is. NotFoundError."""
    with store.write() as work:
        run = find(store, run_id, now)
        work.replay_runs.change(run_id, run.attempt, state="stopped", ended_at=now)
        return find(store, run_id, now)


def note_death(store: Store, run_id: str, attempt: str, now: datetime) -> bool:
    """Says of a run whose process has ended that it failed; False where the run ended otherwise."""
    with store.write() as work:
        return work.replay_runs.change(run_id, attempt, state="failed", why=DIED, ended_at=now)


def carry_out(
    store: Store,
    run_id: str,
    attempt: str,
    runner: Runner,
    clock: Clock,
    piece_size: int = PIECE_SIZE,
    beat_seconds: float = BEAT_SECONDS,
) -> None:
    """Does the work of a run, in whichever process this is; what came of it stands in the store.

    It returns early when the run is not (or no longer) this attempt's.
    """
    with store.write() as work:
        run = work.replay_runs.get(run_id)
        if run is None or not work.replay_runs.change(run_id, attempt, state="running", beat_at=clock()):
            return
        shadow = shadow_of(work, run.candidate)
    kept = _KeptPieces(store, run, attempt, clock)
    ended = threading.Event()
    if store.can_be_shared:
        beats = threading.Thread(target=_beat, args=(kept, ended, beat_seconds), daemon=True)
        beats.start()
    try:
        share = 100 if shadow is None or shadow.at != run.since else shadow.details["share"]
        job = ReplayJob(store.url, run.baseline, run.candidate, run.since, run.until, share)
        found = replay(store, job, runner, kept, kept.progress, piece_size)
        data = as_data(found)
        with store.write() as work:
            now = clock()
            if work.replay_runs.change(run_id, attempt, state="done", result=data, beat_at=now, ended_at=now):
                work.replay_runs.drop_pieces(run_id)
                publishing.note_replay(store, found, run.who, now)
    except NoLongerOurs:
        return
    except InputError as error:
        kept.failed("; ".join(str(problem) for problem in error.told))
    except Exception as error:
        kept.failed(f"{type(error).__name__}: {error}")
        raise
    finally:
        ended.set()
        if store.can_be_shared:
            beats.join()


class _KeptPieces:
    """The journal of a run: what is finished, kept in the store with how far the run is."""

    def __init__(self, store: Store, run: ReplayRun, attempt: str, clock: Clock) -> None:
        self._store, self._run, self._attempt, self._clock = store, run.id, attempt, clock
        self._new: list[tuple[int, Mapping[str, Any]]] = []
        with store.read() as work:
            self.done: Mapping[int, Mapping[str, Any]] = work.replay_runs.pieces(run.id)

    def write(self, piece: int, tally: Mapping[str, Any]) -> None:
        self._new.append((piece, tally))

    def progress(self, done: int, of: int) -> None:
        """Keeps what was written since; raises NoLongerOurs."""
        with self._store.write() as work:
            self._change(done=done, of=of, beat_at=self._clock())
            work.replay_runs.add_pieces(self._run, self._new)
        self._new.clear()

    def beat(self) -> None:
        self._change(beat_at=self._clock())

    def failed(self, why: str) -> None:
        with self._store.write() as work:
            now = self._clock()
            work.replay_runs.change(self._run, self._attempt, state="failed", why=why[:1000], ended_at=now)

    def _change(self, **values: object) -> None:
        with self._store.write() as work:
            if not work.replay_runs.change(self._run, self._attempt, **values):
                raise NoLongerOurs


def _beat(kept: _KeptPieces, ended: threading.Event, seconds: float) -> None:
    while not ended.wait(seconds):
        try:
            kept.beat()
        except NoLongerOurs:
            return
