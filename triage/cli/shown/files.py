"""What commands read: JSON files, times, the rulebook and the program."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from triage.config import Settings, read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_with_files, rulebook_from_data
from triage.rulebook_care.editing.sandbox import try_rulebook_folder
from triage.service.service import Service
from triage.store import Store, open_store
from triage.values.errors import InputError, Problem, RulebookError
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


@contextmanager
def opened_store(settings: Settings) -> Iterator[Store]:
    store = open_store(settings.database)
    try:
        yield store
    finally:
        store.close()


@contextmanager
def opened_service(
    settings: Settings | None = None, clock: Callable[[], datetime] = now
) -> Iterator[Service]:
    """The program that the settings describe, serving the live rulebook in its database.

    Where none is live yet, the one in the settings' folder is tried in a child process and made live;
    later the folder is a candidate, whatever state it is in. Raises InputError, and puts nothing live,
    where it is not good.
    """
    settings = settings or read_settings()
    compiled: Callable[[Rulebook], Engine] = partial(compile_rulebook, engine=settings.engine)
    with opened_store(settings) as store:
        kept = _live(store)
        if kept is None:
            _refuse_bad(settings)
        try:
            rulebook, files = read_with_files(settings.rulebook)
        except RulebookError:
            if kept is None:
                raise
            yield Service(store, kept, compiled(kept), clock, None, compiled, given=UNREADABLE)
            return
        if kept is not None and kept.version != rulebook.version:
            yield Service(store, kept, compiled(kept), clock, None, compiled, given=rulebook.version)
            return
        yield Service(store, rulebook, compiled(rulebook), clock, files, compiled)


UNREADABLE = "unreadable"
"""Stands for the version of a folder that cannot be read."""


def _live(store: Store) -> Rulebook | None:
    with store.read() as work:
        publication = work.rulebooks.live()
        files = None if publication is None else work.rulebooks.files(publication.version)
    return None if files is None else rulebook_from_data(files)


def _refuse_bad(settings: Settings) -> None:
    try:
        try_rulebook_folder(settings.rulebook, settings.engine)
    except InputError as error:
        kept = Problem(
            f"the rulebook in {settings.rulebook} was tried and may not serve; nothing was changed"
        )
        raise InputError([kept, *error.problems]) from None
