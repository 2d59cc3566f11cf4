"""A candidate rulebook before it may be tried or published: what is wrong in it, found in a child process.

Whatever the candidate does there - crash, loop, take all memory - the process that asks goes on.
"""

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import IF_MEANT, run_whole_cases
from triage.inputs.heard import run_words_cases
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data, version_of
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.editing.child import Child
from triage.rulebook_care.editing.sandbox import MEMORY_MB, SECONDS, try_rulebook
from triage.rulebook_care.lint.lint import lint
from triage.rulebook_care.safety.danger_cases import failed_danger_cases
from triage.values.errors import InputError, Problem
from triage.values.json_text import from_json, to_json
from triage.values.plain_data import NotPlain


@dataclass(frozen=True, slots=True)
class Limits:
    """What trying a candidate may take: time, and address space with the interpreter's own."""

    seconds: float = SECONDS
    memory_mb: int = MEMORY_MB


USUAL = Limits()


@dataclass(frozen=True, slots=True)
class Trial:
    """A candidate in the child process where everything that is done with it is done."""

    _child: Child
    _files_json: str
    _seconds: float

    def version(self) -> str:
        """Its version. Raises InputError where it holds what no rulebook can."""
        version: str = self._child.call(self._seconds, _version, self._files_json)
        return version

    def refuse_bad(self, engine: str = "checked", bound: Collection[str] = ()) -> None:
        """See `refuse_bad` of this module."""
        self._child.call(self._seconds, try_candidate, self._files_json, engine, tuple(bound))


@contextmanager
def trial(files: Mapping[str, object], limits: Limits = USUAL) -> Iterator[Trial]:
    """Takes a candidate (path -> plain data) to a child process. Raises InputError where it cannot go."""
    try:
        text = to_json(dict(files))
    except RecursionError:
        raise InputError("the rulebook is nested too deep") from None
    with Child("trying the rulebook", limits.memory_mb) as child:
        yield Trial(child, text, limits.seconds)


def refuse_bad(
    files: Mapping[str, object],
    engine: str = "checked",
    seconds: float = SECONDS,
    memory_mb: int = MEMORY_MB,
    bound: Collection[str] = (),
) -> None:
    """Reads, compiles, tries and checks a candidate (path -> plain data) within these limits.

    `bound` are the danger cases that it must pass besides those it knows. Raises InputError with every
    problem: what cannot be read, cases that fail, and errors of the lint that nobody silenced.
    """
    with trial(files, Limits(seconds, memory_mb)) as tried:
        tried.refuse_bad(engine, bound)


def _version(files_json: str) -> str:
    files = from_json(files_json)
    try:
        return version_of(files)
    except NotPlain as error:
        rulebook_from_data(files)  # says where
        raise InputError(str(error)) from None


def try_candidate(files_json: str, engine: str, bound: Collection[str] = ()) -> None:
    """What the child does. Raises InputError."""
    rulebook = rulebook_from_data(from_json(files_json))
    try_rulebook(rulebook, engine)
    compiled = compile_rulebook(rulebook, engine)
    problems = [*_failed_cases(rulebook, compiled), *_lint_errors(rulebook)]
    problems += [Problem(failure) for failure in failed_danger_cases(rulebook, compiled, bound)]
    if problems:
        raise InputError(problems)


def _failed_cases(rulebook: Rulebook, engine: Engine) -> list[Problem]:
    own = (*run_rule_cases(rulebook), *run_words_cases(rulebook))
    of_rules = [Problem(f"{case.rule}: {case.message}", file=case.file) for case in own]
    whole = run_whole_cases(rulebook, engine)
    return of_rules + [Problem(f"{case.case}: {case.message}{IF_MEANT}", file=case.file) for case in whole]


def _lint_errors(rulebook: Rulebook) -> list[Problem]:
    return [
        Problem(f"{found.message}. {found.fix}", file=found.file)
        for found in lint(rulebook)
        if found.severity == "error" and found.silenced is None
    ]
