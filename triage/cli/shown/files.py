"""What commands read: JSON files and times."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import click

from triage.values.errors import InputError, Problem
from triage.values.json_text import read_strict

MOST_BYTES = 256 * 1024
MOST_LINES = 64 * 1024 * 1024
JSON_FILE = click.Path(exists=True, dir_okay=False, path_type=Path, allow_dash=True)


def now() -> datetime:
    return datetime.now(UTC)


def read_json(path: Path) -> object:
    """A file of strict JSON, or standard input as `-`. Raises InputError with file, line and column."""
    return read_strict(_content(path, MOST_BYTES), str(path))


def read_several(path: Path) -> list[tuple[int, bytes]]:
    """The documents of a file (or `-`), each with its line: one, or one a line (JSON lines)."""
    content = _content(path, MOST_LINES)
    lines = [(number, line) for number, line in enumerate(content.splitlines(), start=1) if line.strip()]
    if len(lines) < 2 or not _is_json(lines[0][1]):
        return [(1, content)]
    return lines


def _is_json(line: bytes) -> bool:
    try:
        read_strict(line)
    except InputError:
        return False
    return True


def _content(path: Path, most: int) -> bytes:
    name = str(path)
    try:
        if name == "-":
            content = sys.stdin.buffer.read(most + 1)
        else:
            with path.open("rb") as stream:
                content = stream.read(most + 1)
    except OSError as error:
        raise InputError([Problem(f"the file cannot be read ({error.strerror})", file=name)]) from None
    if len(content) > most:
        raise InputError([Problem(f"the file is larger than {most // 1024} KiB", file=name)])
    return content


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
