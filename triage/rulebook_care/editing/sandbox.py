"""A candidate rulebook is compiled and tried in a child process before it may serve.

The durable engine is a C extension: what would crash it, or keep it busy for ever, then rejects the candidate
and leaves the serving process as it was.
"""

from __future__ import annotations

import math
import multiprocessing
import resource
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, TypeAlias

from triage.decide.causes.inference import compile_rulebook, fired_policy, infer
from triage.logic.conditions import Facts, FactValue
from triage.logic.engine import EngineFailure
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem

SECONDS = 60.0
MEMORY_MB = 2048  # of address space, the interpreter and its libraries included

_MEGABYTE = 1024 * 1024

Try: TypeAlias = Callable[..., object]
"""What the child does. It raises InputError where the candidate is not good."""


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of trying a candidate. Without problems it may serve."""

    problems: tuple[Problem, ...]

    @property
    def ok(self) -> bool:
        return not self.problems


def try_rulebook_folder(
    folder: Path, engine: str = "checked", seconds: float = SECONDS, memory_mb: int = MEMORY_MB
) -> Trial:
    """Reads, compiles and tries the rulebook in `folder` in a child process within these limits.

    It never raises for the candidate's sake: unreadable, too wide, too slow, too big and crashing candidates
    are all rejected with problems that say so.
    """
    # the child starts in the folder that this process started in, which may be another by now
    return try_in_child(_try_folder, (str(folder.resolve()), engine), seconds, memory_mb)


def try_in_child(attempt: Try, arguments: tuple[Any, ...], seconds: float, memory_mb: int) -> Trial:
    """Calls `attempt(*arguments)` in a child process; both must be picklable. See `try_rulebook_folder`."""
    return _in_child(attempt, arguments, seconds, memory_mb)[0]


def answer_from_child(
    attempt: Callable[..., str], arguments: tuple[Any, ...], seconds: float, memory_mb: int
) -> str:
    """What `attempt(*arguments)` gives in a child process; both must be picklable.

    Raises InputError where the attempt does, and where the child is too slow, too big or crashes.
    """
    trial, answer = _in_child(attempt, arguments, seconds, memory_mb)
    if not trial.ok:
        raise InputError(trial.problems)
    return str(answer)


def _in_child(
    attempt: Try, arguments: tuple[Any, ...], seconds: float, memory_mb: int
) -> tuple[Trial, object]:
    context = multiprocessing.get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(sender, attempt, arguments, seconds, memory_mb), daemon=True)
    with receiver:
        child.start()
        sender.close()
        try:
            said: tuple[tuple[Problem, ...], object] | None = (
                receiver.recv() if receiver.poll(seconds) else None
            )
        except EOFError:
            child.join()
            return _rejected(f"the process that tried the rulebook ended by itself (exit {child.exitcode})")
        finally:
            child.kill()
            child.join()
    if said is None:
        return _rejected(f"trying the rulebook took more than {seconds:g} seconds")
    return Trial(said[0]), said[1]


def try_rulebook(rulebook: Rulebook, engine: str = "checked") -> None:
    """Compiles a rulebook and infers from its own cases' facts, in this process.

    Raises InputError where it cannot be compiled or the engines differ on it, EngineFailure where one fails.
    """
    compiled = compile_rulebook(rulebook, engine)
    for facts in _trial_facts(rulebook):
        found = infer(rulebook, compiled, facts)
        fired_policy(compiled, found.facts)
    if compiled.disagreements:
        raise InputError(f"the two engines differ in {compiled.disagreements} answers on this rulebook")


def _trial_facts(rulebook: Rulebook) -> Iterator[Facts]:
    """Nothing known, each symptom, each case of a rule, and everything the cases know at once."""
    yield {}
    for symptom in rulebook.symptoms:
        yield {"symptom": frozenset({symptom})}
    everything: dict[str, FactValue] = {}
    for kind in (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy):
        for rule in kind.values():
            for case in rule.head.cases:
                yield case.facts
                if case.fires:
                    everything |= case.facts
    yield everything | {"symptom": frozenset(rulebook.symptoms)}


def _try_folder(folder: str, engine: str) -> None:
    from triage.rulebook.reading.reader import read_rulebook

    try_rulebook(read_rulebook(Path(folder)), engine)


def _child(
    sender: Connection, attempt: Try, arguments: tuple[Any, ...], seconds: float, memory_mb: int
) -> None:
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    # The parent stops the child in time; this is for a parent that is gone.
    cpu_seconds = math.ceil(seconds) + 10
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds))
    resource.setrlimit(resource.RLIMIT_AS, (memory_mb * _MEGABYTE, memory_mb * _MEGABYTE))
    sender.send(_outcome(attempt, arguments, memory_mb))


def _outcome(attempt: Try, arguments: tuple[Any, ...], memory_mb: int) -> tuple[tuple[Problem, ...], object]:
    """The problems, and what the attempt gives where there are none."""
    try:
        return (), attempt(*arguments)
    except InputError as error:
        return error.problems, None
    except EngineFailure as error:
        return (Problem(str(error)),), None
    except MemoryError:
        return (Problem(f"trying the rulebook took more than {memory_mb} MB of memory"),), None
    except RecursionError:
        return (Problem("the rulebook is nested too deep"),), None


def _rejected(message: str) -> tuple[Trial, object]:
    return Trial((Problem(message),)), None
