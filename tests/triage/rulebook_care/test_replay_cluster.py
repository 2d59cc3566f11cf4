"""The same replay on a Dask cluster whose worker is killed midway; needs the extra `cluster`.

In the nightly run only: once, a result that was lost with its worker made the library's own wait fail
("bound to a different event loop"), which is open.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.triage.programmes import rulebook_files
from tests.triage.rulebook_care.recorded_log import Log, recorded_log
from triage.errors import InputError
from triage.rulebook_care.replay import as_data, replay
from triage.rulebook_care.replay_runners import cluster, here

distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")

pytestmark = pytest.mark.filterwarnings("ignore")  # of a library's own threads and sockets


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


@pytest.mark.nightly
def test_a_replay_survives_the_loss_of_a_worker_and_finds_the_same(log: Log) -> None:
    store, job = log.programme.store, log.job(rulebook_files())
    killed: list[int] = []

    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as workers,
        distributed.Client(workers) as client,
    ):
        pids = sorted(client.run(os.getpid).values())

        def kill_one(done: int, of: int) -> None:
            if 0 < done < of and not killed:
                os.kill(pids[0], signal.SIGKILL)
                killed.append(pids[0])

        run = cluster(workers.scheduler_address)
        found = replay(store, job, run, progress=kill_one, piece_size=1)
        assert killed == [pids[0]]
        assert pids[0] not in client.run(os.getpid).values()

    assert as_data(found) == as_data(replay(store, job, here(store)))


def test_a_scheduler_that_does_not_answer_is_told_as_wrong_input(log: Log) -> None:
    store, job = log.programme.store, log.job(rulebook_files())
    with pytest.raises(InputError, match="no scheduler answers"):
        replay(store, job, cluster("tcp://127.0.0.1:9", timeout_seconds=0.2))
