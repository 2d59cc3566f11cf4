"""Work in another process: answers, errors, limits, and how a process ends."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from triage.rulebook_care.editing.child import Child
from triage.values.errors import InputError, NotFoundError, Problem


def pid_of(_what: object = None) -> int:
    return os.getpid()


def refused() -> None:
    raise NotFoundError([Problem("no such thing", file="a.yml", line=3)])


def faulty() -> None:
    raise KeyError("x")


def endless() -> None:
    while True:
        pass


def killed() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def taking(megabytes: int) -> int:
    return len(bytearray(megabytes * 1024 * 1024))


def deep(level: int = 0) -> int:
    return deep(level + 1) + 1


def written(file: Path, text: str) -> None:
    file.write_text(text)


@pytest.fixture
def child() -> Iterator[Child]:
    with Child("trying", memory_mb=512, advice="try less") as child:
        yield child


def gone(pid: int) -> bool:
    """Neither running nor a zombie."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def test_calls_are_made_by_one_process_that_is_not_this_one(child: Child) -> None:
    assert not child.running
    first = child.call(60, pid_of)
    assert first != os.getpid()
    child.send(60, pid_of, "a")
    child.send(60, taking, 1)
    assert child.waiting == 2
    assert (child.receive(), child.receive()) == (first, 1024 * 1024)
    child.close()
    assert gone(first)
    assert child.call(60, pid_of) != first


def test_an_error_comes_back_as_it_was_and_the_process_goes_on(child: Child) -> None:
    pid = child.call(60, pid_of)
    with pytest.raises(NotFoundError) as caught:
        child.call(60, refused)
    assert caught.value.problems == (Problem("no such thing", file="a.yml", line=3),)
    with pytest.raises(InputError, match="KeyError: 'x'"):
        child.call(60, faulty)
    with pytest.raises(InputError, match="nested too deep"):
        child.call(60, deep)
    with pytest.raises(InputError, match=r"^trying took more than 512 MB of memory; try less$"):
        child.call(60, taking, 1024)
    assert child.call(60, pid_of) == pid


def test_a_process_that_takes_too_long_is_ended_and_the_next_call_has_another(child: Child) -> None:
    pid = child.call(60, pid_of)
    with pytest.raises(InputError, match=r"^trying took more than 0\.1 seconds; try less$"):
        child.call(0.1, endless)
    assert gone(pid)
    assert child.call(60, pid_of) != pid


def test_a_process_that_ends_by_itself_is_told_with_its_status(child: Child) -> None:
    pid = child.call(60, pid_of)
    with pytest.raises(
        InputError,
        match=r"^the process trying ended by itself \(exit -9: killed, as where memory runs out\); try less$",
    ):
        child.call(60, killed)
    assert gone(pid)
    pid = child.call(60, pid_of)
    os.kill(pid, signal.SIGKILL)
    os.waitid(os.P_PID, pid, os.WEXITED | os.WNOWAIT)
    assert child.call(60, pid_of) != pid


def test_it_works_from_threads_and_is_ended_with_what_it_belongs_to() -> None:
    pids: list[int] = []

    def work() -> None:
        child = Child("trying")
        pids.extend(child.call(60, pid_of) for _ in range(2))

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(pids) == 4
    assert len(set(pids)) == 2
    assert all(gone(pid) for pid in pids)


def test_a_process_that_was_let_go_makes_its_call_and_ends(tmp_path: Path) -> None:
    child = Child("trying", nice=1)
    child.send(None, written, tmp_path / "a", "done")
    process = child.let_go()
    assert not child.running
    del child
    assert process.wait() == 0
    assert (tmp_path / "a").read_text() == "done"
