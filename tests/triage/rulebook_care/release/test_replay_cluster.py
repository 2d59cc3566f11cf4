"""The same replay on a Dask cluster one of whose workers is killed midway; needs the extra `cluster`.

Scheduler and workers are processes of their own, as in a real cluster; their logs say when they are ready.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests import ROOT
from tests.triage.rulebook_care.recorded_log import Log, recorded_log
from tests.triage.services import rulebook_files
from triage.rulebook_care.release.replay import as_data, replay
from triage.rulebook_care.release.runners import cluster, here
from triage.values.errors import InputError

distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")

pytestmark = pytest.mark.filterwarnings("ignore")  # of a library's own threads and sockets


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with recorded_log(tmp_path) as running:
        yield running


@dataclass(frozen=True)
class Node:
    process: subprocess.Popen[str]
    address: str


@contextmanager
def node(command: str, *options: str, ready: str) -> Iterator[Node]:
    """A process of the cluster, from when a line of its log says `ready`; ended at the end."""
    arguments = [sys.executable, "-m", f"distributed.cli.{command}", *options, "--no-dashboard"]
    with subprocess.Popen(arguments, cwd=ROOT, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            address, said = "", []
            for line in process.stderr:
                said.append(line)
                if address == "" and (found := re.search(r"(?:Scheduler|worker) at: +(tcp://\S+)", line)):
                    address = found[1]
                if ready in line:
                    break
            else:
                pytest.fail(f"{command} ended by itself:\n{''.join(said)}")
            yield Node(process, address)
        finally:
            process.kill()


@contextmanager
def two_workers(folder: Path) -> Iterator[tuple[str, Node, Node]]:
    """The scheduler's address, and both workers."""
    with ExitStack() as stack:
        here_only = ("--host", "127.0.0.1")
        scheduler = stack.enter_context(
            node("dask_scheduler", *here_only, "--port", "0", ready="Scheduler at:")
        )
        options = (scheduler.address, *here_only, "--nthreads", "1", "--no-nanny", "--death-timeout", "60")
        workers = [
            stack.enter_context(
                node("dask_worker", *options, "--local-directory", str(folder / name), ready="Registered to")
            )
            for name in ("one", "other")
        ]
        yield scheduler.address, *workers


def test_a_replay_survives_the_loss_of_a_worker_and_finds_the_same(log: Log, tmp_path: Path) -> None:
    store, job = log.service.store, log.job(rulebook_files())
    expected = as_data(replay(store, job, here(store)))
    held: list[int] = []

    with two_workers(tmp_path) as (address, steady, lost):
        with distributed.Client(address, set_as_default=False) as client:
            # Halted, it keeps what it was given: the replay cannot end before others do that.
            lost.process.send_signal(signal.SIGSTOP)

            def kill_one(done: int, of: int) -> None:
                if 0 < done < of and not held:
                    held.append(len(client.processing()[lost.address]))
                    lost.process.kill()

            found = replay(store, job, cluster(address), progress=kill_one, piece_size=1)
            assert list(client.scheduler_info()["workers"]) == [steady.address]

        assert lost.process.wait() == -signal.SIGKILL
        assert held[0] > 0
        assert as_data(found) == expected

        with distributed.Client(address):  # a default client of the caller's, with a loop of its own
            assert as_data(replay(store, job, cluster(address), piece_size=1)) == expected


def test_a_scheduler_that_does_not_answer_is_told_as_wrong_input(log: Log) -> None:
    store, job = log.service.store, log.job(rulebook_files())
    with pytest.raises(InputError, match="no scheduler answers"):
        replay(store, job, cluster("tcp://127.0.0.1:9", timeout_seconds=0.2))
