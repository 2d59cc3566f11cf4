"""Writers of one SQLite file in several processes: in line, nothing lost, nobody stuck behind the dead."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests import ROOT
from tests.triage.services import MACHINES, NOON
from triage.records.report import CareEvent
from triage.store import Store, open_store
from triage.store.tables.machines import Contractor
from triage.store.write_lock import WriteLock

PATIENCE = 60.0
WRITES = 25

WRITER = """
import sys
from datetime import timedelta
from tests.triage.services import MACHINES, NOON
from triage.store import open_store
from triage.records.report import CareEvent
store = open_store(sys.argv[1])
print("ready", flush=True)
sys.stdin.readline()
for number in range(int(sys.argv[3])):
    at = NOON - timedelta(minutes=number, seconds=int(sys.argv[2]))
    with store.write() as work:
        before = len(work.care.history("LH20-1").care)
        work.care.add_care("LH20-1", [CareEvent("filter_cleaned", at, "there")])
        assert len(work.care.history("LH20-1").care) == before + 1
store.close()
"""
HOLDER = """
import sys
from triage.store import open_store
store = open_store(sys.argv[1])
with store.write() as work:
    work.machines.put_machines([])
    print("mine", flush=True)
    sys.stdin.readline()
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shared.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{path}")
    with opened.write() as work:
        work.machines.put_sites([machine.site for machine in MACHINES if machine.site is not None])
        work.machines.put_contractors([Contractor("fogline", "Fogline"), Contractor("tern", "Tern")])
        work.machines.put_machines(MACHINES)
    yield opened
    opened.close()


def started(script: str, *arguments: str) -> subprocess.Popen[str]:
    """A process that has said that it is there."""
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", script, *arguments],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline()
    return process


def test_processes_that_write_at_once_lose_nothing(store: Store, path: Path) -> None:
    writers = [started(WRITER, f"sqlite:///{path}", str(number), str(WRITES)) for number in range(2)]
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("\n")
        writer.stdin.flush()
    for number in range(WRITES):
        at = NOON - timedelta(minutes=number, seconds=30)
        with store.write() as work:
            work.care.add_care("LH20-1", [CareEvent("fully_cleaned", at, "here")])
    for writer in writers:
        writer.communicate(timeout=PATIENCE)
        assert writer.returncode == 0
    with store.read() as work:
        assert len(work.care.history("LH20-1").care) == 3 * WRITES


def test_a_writer_that_is_killed_lets_the_next_one_in_and_leaves_nothing(store: Store, path: Path) -> None:
    holder = started(HOLDER, f"sqlite:///{path}")
    wrote = threading.Event()

    def write() -> None:
        with store.write() as work:
            work.care.add_care("LH20-1", [CareEvent("filter_cleaned", NOON, "here")])
        wrote.set()

    waiting = threading.Thread(target=write)
    waiting.start()
    assert not wrote.is_set()
    holder.kill()
    holder.communicate(timeout=PATIENCE)
    waiting.join(PATIENCE)
    assert wrote.is_set()
    with store.read() as work:
        assert len(work.care.history("LH20-1").care) == 1


def test_who_waits_in_vain_goes_on_and_a_turn_that_is_given_up_is_free(tmp_path: Path) -> None:
    path = tmp_path / "x-turn"
    one, other = WriteLock(path, 60.0), WriteLock(path, 0.0)
    order = []
    with one:
        with other:  # it has no patience, and the database has a lock of its own
            order.append("without a turn")
        order.append("the first")
    with pytest.raises(KeyError), one:
        raise KeyError
    with other:
        order.append("the other")
    assert order == ["without a turn", "the first", "the other"]
    one.close()
    other.close()


def test_a_database_in_memory_and_a_place_that_cannot_be_written_need_no_file(tmp_path: Path) -> None:
    with WriteLock(None, 0.0), WriteLock(tmp_path / "no-such-folder" / "x-turn", 0.0):
        assert list(tmp_path.iterdir()) == []
