"""What commands read: JSON files and times."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from triage.values.errors import InputError, Problem
from triage.values.json_text import read_strict

MOST_BYTES = 256 * 1024


def now() -> datetime:
    return datetime.now(UTC)


def read_json(path: Path) -> object:
    """A file of strict JSON. Raises InputError with file, line and column."""
    name = str(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError([Problem(f"the file cannot be read ({error.strerror})", file=name)]) from None
    if len(content) > MOST_BYTES:
        raise InputError([Problem(f"the file is larger than {MOST_BYTES // 1024} KiB", file=name)])
    return read_strict(content, name)


@contextmanager
def problems_of(path: Path) -> Iterator[None]:
    """Adds the file's name to problems that have only a place within the document."""
    try:
        yield
    except InputError as error:
        raise type(error)(
            Problem(
                f"{problem.pointer}: {problem.message}" if problem.pointer else problem.message,
                file=str(path),
            )
            if problem.file is None
            else problem
            for problem in error.problems
        ) from None


def read_time(text: str | None, option: str = "--at") -> datetime:
    """An RFC 3339 time with its offset; now, where none is given."""
    if text is None:
        return now()
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise InputError(
            f'{option} "{text}" is not a time with its offset, such as 2026-01-31T09:30:00-05:00'
        )
    return found
