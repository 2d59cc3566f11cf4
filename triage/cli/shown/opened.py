"""The database and the program that the settings describe, opened for one command."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from typing import Any

from triage.cli.shown.files import now
from triage.cli.shown.remembered import read_remembered
from triage.config import Settings, read_settings
from triage.decide.causes.inference import compile_rulebook
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.editing.sandbox import try_rulebook_folder
from triage.service.service import Service
from triage.store import Store, open_store
from triage.values.errors import InputError, Problem, RulebookError


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
    more: Any = {"outgoing": settings.outgoing, "two_people": settings.two_people}
    more["photos"] = settings.photos
    with opened_store(settings) as store:
        kept = _live(store)
        if kept is None:
            _refuse_bad(settings)
        try:
            rulebook, files = read_remembered(settings.rulebook)
        except RulebookError:
            if kept is None:
                raise
            yield Service(store, kept, compiled(kept), clock, None, compiled, given=UNREADABLE, **more)
            return
        if kept is not None and kept.version != rulebook.version:
            given = rulebook.version
            yield Service(store, kept, compiled(kept), clock, None, compiled, given=given, **more)
            return
        yield Service(store, rulebook, compiled(rulebook), clock, files, compiled, **more)


UNREADABLE = "unreadable"
"""Stands for the version of a folder that cannot be read."""


def _live(store: Store) -> Rulebook | None:
    with store.read() as work:
        publication = work.rulebooks.live()
        files = None if publication is None else work.rulebooks.files(publication.version)
    return None if publication is None or files is None else rulebook_from_data(files, publication.version)


def _refuse_bad(settings: Settings) -> None:
    try:
        try_rulebook_folder(settings.rulebook, settings.engine)
    except InputError as error:
        kept = Problem(
            f"the rulebook in {settings.rulebook} was tried and may not serve; nothing was changed"
        )
        raise InputError([kept, *error.problems]) from None
