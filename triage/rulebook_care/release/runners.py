"""Who does the pieces of a replay: this process, several, or a Dask cluster (the extra `cluster`)."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack
from queue import SimpleQueue
from typing import Any, TypeAlias

from triage.rulebook_care.editing.child import Child
from triage.rulebook_care.release.piece import Piece, Ready, ReplayJob, kept, replay_in, replay_piece
from triage.store import Store
from triage.values.errors import InputError

Done: TypeAlias = tuple[int, Mapping[str, Any]]
Runner: TypeAlias = Callable[[ReplayJob, Sequence[Piece]], Iterator[Done]]
"""Gives each piece's number and its tally as JSON data, in any order."""

GO_ON = "with --resume FILE the next run goes on where this one stopped"
RETRIES = 5
"""How often a piece is given to another worker of a cluster when the one that had it is lost."""


def here(store: Store) -> Runner:
    """In this process, on a store that is open."""

    def run(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        yield from with_rulebooks(store, kept(store, job.baseline), kept(store, job.candidate))(job, pieces)

    return run


def with_rulebooks(store: Store, baseline: Ready, candidate: Ready) -> Runner:
    """In this process, under rulebooks that are ready, kept or not."""

    def run(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        for piece in pieces:
            yield piece.number, replay_in(store, job, piece, baseline, candidate)

    return run


def processes(jobs: int) -> Runner:
    """In `jobs` fresh processes. Raises InputError when one of them dies."""

    def run(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        count = min(jobs, len(pieces)) or 1
        free: SimpleQueue[Child] = SimpleQueue()

        def one(piece: Piece) -> Done:
            child = free.get()
            try:
                return piece.number, child.call(None, replay_piece, job, piece)
            finally:
                free.put(child)

        with ExitStack() as stack, ThreadPoolExecutor(count) as pool:
            for _ in range(count):
                free.put(stack.enter_context(Child("replaying", advice=GO_ON)))
            try:
                for future in as_completed([pool.submit(one, piece) for piece in pieces]):
                    yield future.result()
            finally:
                pool.shutdown(cancel_futures=True)

    return run


def cluster(address: str, timeout_seconds: float = 30.0) -> Runner:
    """On the Dask cluster whose scheduler is at `address`; pieces of lost workers are done by others.

    Every worker has this program installed and reaches the database. Raises InputError without the extra.
    """
    try:
        from distributed import Client
        from distributed import as_completed as as_done
    except ImportError:
        raise InputError(
            "--scheduler needs the extra `cluster`; install it with pip install 'barrelwise[cluster]'"
        ) from None

    def run(job: ReplayJob, pieces: Sequence[Piece]) -> Iterator[Done]:
        try:
            client = Client(address, timeout=timeout_seconds, set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputError(f"no scheduler answers at {address} ({error})") from None
        with client:
            futures = {
                client.submit(replay_piece, job, piece, pure=False, retries=RETRIES): piece.number
                for piece in pieces
            }
            # Without its loop the wait runs on that of whichever client is the default, or finds none.
            for future in as_done(list(futures), loop=client.loop):
                yield futures.pop(future), future.result()

    return run
