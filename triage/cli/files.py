"""What commands read: JSON files, times, the rulebook and the programme."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from triage.config import Settings, read_settings
from triage.errors import InputError, Problem
from triage.inference import compile_rulebook
from triage.inference_engine import Engine
from triage.plain_data import exact_number
from triage.programme import Programme
from triage.rulebook import Rulebook
from triage.rulebook_reader import read_with_files
from triage.store import Store, open_store

MOST_BYTES = 256 * 1024


def now() -> datetime:
    return datetime.now(UTC)


def read_json(path: Path) -> object:
    """Strict JSON: exact numbers; no NaN, no key twice. Raises InputError with file, line and column."""
    name = str(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise InputError([Problem(f"the file cannot be read ({error.strerror})", file=name)]) from None
    if len(content) > MOST_BYTES:
        raise InputError([Problem(f"the file is larger than {MOST_BYTES // 1024} KiB", file=name)])
    try:
        return json.loads(
            content.decode("utf-8-sig"),
            parse_float=exact_number,
            parse_int=_integer,
            parse_constant=_no_constant,
            object_pairs_hook=_no_repeats,
        )
    except UnicodeDecodeError:
        raise InputError([Problem("the file is not UTF-8 text; save it as UTF-8", file=name)]) from None
    except json.JSONDecodeError as error:
        message = f"this is not JSON: {error.msg}"
        raise InputError([Problem(message, file=name, line=error.lineno, column=error.colno)]) from None
    except ValueError as error:
        raise InputError([Problem(str(error), file=name)]) from None
    except RecursionError:
        raise InputError([Problem("the document is nested too deeply", file=name)]) from None


def _integer(text: str) -> int | Decimal:
    exact_number(text)
    return int(text)


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number that can be used; write a finite number")


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f'the key "{key}" stands twice in one object; keep one')
        found[key] = value
    return found


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


def read_time(text: str | None) -> datetime:
    """An RFC 3339 time with its offset; now, where none is given."""
    if text is None:
        return now()
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise InputError(f'--at "{text}" is not a time with its offset, such as 2026-01-31T09:30:00-05:00')
    return found


@contextmanager
def opened_store(settings: Settings) -> Iterator[Store]:
    store = open_store(settings.database)
    try:
        yield store
    finally:
        store.close()


@contextmanager
def opened_programme(
    settings: Settings | None = None, clock: Callable[[], datetime] = now
) -> Iterator[Programme]:
    """The programme that the settings describe."""
    settings = settings or read_settings()
    rulebook, files = read_with_files(settings.rulebook)
    compiled: Callable[[Rulebook], Engine] = partial(compile_rulebook, engine=settings.engine)
    engine = compiled(rulebook)
    with opened_store(settings) as store:
        yield Programme(store, rulebook, engine, clock, files, compiled)
