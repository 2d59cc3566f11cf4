"""The one shape of "your input is wrong": every problem found, each with its place and how to fix it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

MOST_TOLD, MOST_SIGNS, MOST_PLACE = 50, 1000, 200
"""Problems of one input that are told, characters of one message, and of the place that it names."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in an input.

    `message` says what is wrong and how to fix it. The place is either a JSON pointer (RFC 6901) into a
    JSON document (`pointer`), or a file with 1-based `line` and `column`.
    """

    message: str
    pointer: str | None = None
    file: str | None = None
    line: int | None = None
    column: int | None = None

    @property
    def where(self) -> str:
        """`path:line:column` for a file, the JSON pointer for a document, or an empty text."""
        if self.file is not None:
            return ":".join(str(part) for part in (self.file, self.line, self.column) if part is not None)
        return self.pointer or ""

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message


def escaped(key: object) -> str:
    """A key as a token of a JSON pointer (RFC 6901)."""
    return str(key).replace("~", "~0").replace("/", "~1")


def pointer_to(path: Iterable[object]) -> str:
    """The JSON pointer of a path of keys and indexes."""
    return "".join(f"/{escaped(part)}" for part in path)


def path_to(pointer: str) -> tuple[str, ...]:
    """The path of a JSON pointer; list indexes as text."""
    return tuple(part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:])


def told(problems: Iterable[Problem], most: int = MOST_TOLD) -> tuple[Problem, ...]:
    """What whoever sent the input is told: the first `most`, cut where they repeat too much of it, and how
    many more there are."""
    everything = tuple(problems)
    first = tuple(_cut(problem) for problem in everything[:most])
    rest = len(everything) - most
    return (*first, Problem(f"and {rest:,} more; fix these first")) if rest > 0 else first


def _cut(problem: Problem) -> Problem:
    message, pointer, file = problem.message, problem.pointer or "", problem.file or ""
    if len(message) > MOST_SIGNS:
        problem = replace(problem, message=f"{message[:MOST_SIGNS]}…")
    if len(pointer) > MOST_PLACE:
        problem = replace(problem, pointer=f"{pointer[:MOST_PLACE]}…")
    return replace(problem, file=f"{file[:MOST_PLACE]}…") if len(file) > MOST_PLACE else problem


class InputError(Exception):
    """Input that cannot be used; `problems` lists everything wrong with it, never only the first.

    Doors tell `told`, which repeats no more of a bad input than helps; its text is that, too.
    """

    def __init__(self, problems: Iterable[Problem] | str) -> None:
        self.problems: tuple[Problem, ...] = (
            (Problem(problems),) if isinstance(problems, str) else tuple(problems)
        )
        super().__init__("\n".join(str(problem) for problem in self.told))

    @property
    def told(self) -> tuple[Problem, ...]:
        """The problems as a door tells them."""
        return told(self.problems)


class RulebookError(InputError):
    """A rulebook that cannot be read; problems carry file, line and column."""


class NotFoundError(InputError):
    """What was asked for (a machine, a ticket) is not in the program's records."""


class ForbiddenError(InputError):
    """The caller's role may not do that; the message says who may."""


class ConflictError(InputError):
    """The input is well formed, but the state it was meant for has moved on."""


class UnavailableError(Exception):
    """The database does not serve now, which is no fault of the input; what was asked for was not stored.

    `retry_seconds` says when it is worth trying again; None: not before somebody has acted.
    """

    def __init__(self, why: str, retry_seconds: int | None) -> None:
        super().__init__(why)
        self.retry_seconds = retry_seconds
