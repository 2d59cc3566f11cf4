"""A candidate rulebook is compiled and tried in a child process before it may serve.

The durable engine is a C extension: what would crash it, or keep it busy for ever, then rejects the candidate
and leaves the serving process as it was.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from triage.decide.causes.inference import compile_rulebook, fired_policy, infer
from triage.logic.conditions import Facts, FactValue
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.editing.child import Child
from triage.values.errors import InputError

SECONDS = 60.0
MEMORY_MB = 2048  # of address space, the interpreter and its libraries included


def try_rulebook_folder(
    folder: Path, engine: str = "checked", seconds: float = SECONDS, memory_mb: int = MEMORY_MB
) -> None:
    """Reads, compiles and tries the rulebook in `folder` in a child process within these limits.

    Raises InputError, and nothing else for the candidate's sake: unreadable, too wide, too slow, too big and
    crashing candidates are all rejected with problems that say so.
    """
    # the child starts in the folder that this process started in, which may be another by now
    try_in_child(_try_folder, (folder.resolve(), engine), seconds, memory_mb)


def try_in_child(
    attempt: Callable[..., Any], arguments: tuple[Any, ...], seconds: float, memory_mb: int
) -> Any:
    """What `attempt(*arguments)` gives in a child process. Raises InputError, see `Child`."""
    with Child("trying the rulebook", memory_mb) as child:
        return child.call(seconds, attempt, *arguments)


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


def _try_folder(folder: Path, engine: str) -> None:
    try_rulebook(read_rulebook(folder), engine)
