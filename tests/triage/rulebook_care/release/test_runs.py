"""Replays in the background: joined, stopped, lapsed, gone on with; and one in a process of its own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path

import pytest

from tests.triage.rulebook_care.recorded_log import LATER, Log, recorded_log
from tests.triage.services import NOON, OPS, rulebook_files
from triage.rulebook_care.release import runs as replay_runs
from triage.rulebook_care.release.background import AtOnce, InProcesses
from triage.rulebook_care.release.piece import Piece, ReplayJob
from triage.rulebook_care.release.publishing import check_candidate, publish
from triage.rulebook_care.release.replay import as_data, replay
from triage.rulebook_care.release.runners import Done, here
from triage.store import Store
from triage.store.tables.replay_runs import ReplayRun
from triage.values.errors import ConflictError, InputError, NotFoundError
from triage.values.json_text import from_json, to_json

RENAMED = rulebook_files(**{"rulebook.yml": {"title": "Renamed", "currency": "USD"}})


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


@pytest.fixture
def store(log: Log) -> Store:
    return log.service.store


@pytest.fixture
def version(store: Store) -> str:
    return check_candidate(store, RENAMED, OPS.name, NOON)


def begun(store: Store, version: str) -> ReplayRun:
    run, fresh = replay_runs.start(store, version, None, OPS.name, LATER)
    assert fresh
    return run


def work(store: Store, run: ReplayRun, runner: object = None) -> None:
    replay_runs.carry_out(store, run.id, run.attempt, runner or here(store), lambda: LATER, piece_size=2)  # type: ignore[arg-type]


def seen(store: Store, run: ReplayRun) -> ReplayRun:
    return replay_runs.find(store, run.id, LATER)


def test_a_run_finds_what_a_replay_finds_and_lets_the_candidate_be_published(
    log: Log, store: Store, version: str
) -> None:
    run = begun(store, version)
    assert (run.state, run.done, run.of) == ("waiting", 0, None)
    work(store, run)
    after = seen(store, run)
    assert (after.state, after.done, after.of, after.ended_at) == ("done", 7, 7, LATER)
    job = ReplayJob(log.url, run.baseline, version, None, LATER)
    assert replay_runs.result(store, after) == from_json(to_json(as_data(replay(store, job, here(store)))))
    assert publish(store, version, OPS.name, "Tried.", LATER).version == version


def test_asking_again_joins_the_run_that_goes_on(store: Store, version: str) -> None:
    run = begun(store, version)
    assert replay_runs.start(store, version, None, "other", LATER) == (run, False)
    other, fresh = replay_runs.start(store, version, NOON, "other", LATER)
    assert fresh and other.id != run.id
    work(store, run)
    again, fresh = replay_runs.start(store, version, None, "other", LATER)
    assert fresh and again.id != run.id


def test_a_stopped_run_ends_at_the_next_piece_and_goes_on_from_its_pieces(store: Store, version: str) -> None:
    run = begun(store, version)

    def stopped_after_two(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        for count, done in enumerate(here(store)(job, pieces)):
            if count == 2:
                replay_runs.stop(store, run.id, LATER)
            yield done

    work(store, run, stopped_after_two)
    assert (seen(store, run).state, seen(store, run).done) == ("stopped", 4)
    again, fresh = replay_runs.start(store, version, None, OPS.name, LATER + timedelta(minutes=5))
    assert fresh and (again.id, again.until, again.done) == (run.id, LATER, 4)
    did: list[int] = []

    def counted(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        did.extend(piece.number for piece in pieces)
        return here(store)(job, pieces)

    work(store, again, counted)
    assert did == [2, 3]
    found = replay_runs.result(store, seen(store, run))
    assert found is not None and found["decisions"] == 7
    with store.read() as reading:
        assert reading.replay_runs.pieces(run.id) == {}


def test_a_run_without_a_sign_of_life_has_failed_and_its_process_may_not_write_any_more(
    store: Store, version: str
) -> None:
    run = begun(store, version)
    late = LATER + replay_runs.LAPSED_AFTER
    assert replay_runs.find(store, run.id, late).state == "waiting"
    lapsed = replay_runs.find(store, run.id, late + timedelta(seconds=1))
    assert (lapsed.state, lapsed.why) == ("failed", replay_runs.DIED)
    again, fresh = replay_runs.start(store, version, None, OPS.name, late + timedelta(seconds=1))
    assert fresh and again.id == run.id and again.attempt != run.attempt
    work(store, run)
    assert seen(store, run).state == "waiting"
    work(store, again)
    assert seen(store, run).state == "done"


def test_a_run_that_cannot_be_done_says_why(store: Store, version: str) -> None:
    def refuses(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        raise InputError("no such luck")

    run = begun(store, version)
    work(store, run, refuses)
    assert (seen(store, run).state, seen(store, run).why) == ("failed", "no such luck")


def test_what_is_not_checked_or_is_live_is_not_replayed(log: Log, store: Store) -> None:
    kept = log.keep(RENAMED)
    with pytest.raises(ConflictError, match="check it first"):
        replay_runs.start(store, kept, None, OPS.name, LATER)
    serving = check_candidate(store, rulebook_files(), OPS.name, LATER)
    with pytest.raises(ConflictError, match="nothing to compare"):
        replay_runs.start(store, serving, None, OPS.name, LATER)
    with pytest.raises(NotFoundError):
        replay_runs.find(store, "R-none", LATER)


def test_a_run_is_done_at_once_where_no_other_process_can_open_the_database(
    store: Store, version: str
) -> None:
    run = begun(store, version)
    AtOnce(store, lambda: LATER).launch(run)
    assert seen(store, run).state == "done"


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_run_is_done_by_a_process_of_its_own(store: Store, version: str, jobs: int) -> None:
    run = begun(store, version)
    launcher = InProcesses(store, lambda: LATER, jobs)
    launcher.launch(run)
    launcher.join()
    after = seen(store, run)
    assert (after.state, after.done) == ("done", 7), after.why


def test_a_killed_process_fails_its_run_which_can_be_started_again(store: Store, version: str) -> None:
    run = begun(store, version)
    launcher = InProcesses(store, lambda: LATER)
    with store.write():  # SQLite has one writer: the process cannot take the run before it is killed
        launcher.launch(run)
        launcher.started[0].kill()
        launcher.started[0].wait()
    launcher.join()
    assert (seen(store, run).state, seen(store, run).why) == ("failed", replay_runs.DIED)
    again, fresh = replay_runs.start(store, version, None, OPS.name, LATER)
    assert fresh and again.id == run.id
    launcher.launch(again)
    launcher.join()
    assert seen(store, run).state == "done"


@pytest.mark.parametrize("share", [100, 40])
def test_a_shadow_decides_its_share_of_what_came_since(
    log: Log, store: Store, version: str, share: int
) -> None:
    begun_at = NOON - timedelta(days=400)
    replay_runs.cast_shadow(store, version, share, OPS.name, begun_at)
    run, _ = replay_runs.start(store, version, begun_at, OPS.name, LATER)
    work(store, run)
    found = replay_runs.result(store, seen(store, run))
    job = ReplayJob(log.url, run.baseline, version, begun_at, LATER, share)
    with store.read() as read:
        tickets = [ticket for ticket, _ in read.recorded.keys(begun_at, LATER)]
    assert found is not None
    assert found["decisions"] == sum(map(job.takes, tickets))
    assert (found["decisions"] == len(tickets)) is (share == 100)


def test_a_shadow_begins_and_ends_by_name(store: Store, version: str) -> None:
    for share in (0, 101):
        with pytest.raises(InputError, match="from 1 to 100"):
            replay_runs.cast_shadow(store, version, share, OPS.name, NOON)
    with pytest.raises(ConflictError, match="decides nothing beside"):
        replay_runs.end_shadow(store, version, OPS.name, NOON)
    replay_runs.cast_shadow(store, version, 20, OPS.name, NOON)
    with store.read() as read:
        shadow = replay_runs.shadow_of(read, version)
    assert shadow is not None
    assert (shadow.at, shadow.details["share"]) == (NOON, 20)
    replay_runs.end_shadow(store, version, OPS.name, NOON)
    with store.read() as read:
        assert replay_runs.shadow_of(read, version) is None
