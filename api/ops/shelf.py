"""What the pages of the rulebook read: the live version and the folder, each kept while it stays."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from threading import Thread
from typing import cast

from flask import Flask, current_app

from api.http.auth import service
from api.http.work_folder import checks
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.book.book import Book, book_of
from triage.rulebook_care.book.difference import changed_files
from triage.rulebook_care.book.folder import FolderBook, FolderState
from triage.rulebook_care.safety.loss import Loss
from triage.rulebook_care.safety.weakening import weakened
from triage.service.rulebooks import Publication, files_of, publications
from triage.values.errors import NotFoundError, RulebookError

SHELF = "barrelwise_book_shelf"
_book = once_per_rulebook(partial(book_of, findings=None))


@dataclass(frozen=True, slots=True)
class LiveView:
    """The live version and its files; without a publication, what this server serves, without files."""

    version: str
    publication: Publication | None
    files: Mapping[str, object] | None


class Shelf:
    """Of one app; `folder` is None where there are no files to edit."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = None if folder is None else FolderBook(folder)
        self._live: LiveView | None = None
        self._changed: tuple[str, FolderState, tuple[str, ...]] | None = None
        self._losses: tuple[str, FolderState, tuple[Loss, ...]] | None = None

    def serving(self) -> Book:
        """The book of the rulebook that this request is served with."""
        return _book(service().rulebook)

    @property
    def has_folder(self) -> bool:
        return self._folder is not None

    def folder(self) -> FolderState | None:
        return None if self._folder is None else self._folder.state()

    def live(self) -> LiveView:
        publication = next(iter(publications(service())), None)
        version = service().rulebook.version if publication is None else publication.version
        kept = self._live
        if kept is None or (kept.version, kept.publication) != (version, publication):
            try:
                files = files_of(service(), version)
            except NotFoundError:
                files = None
            kept = self._live = LiveView(version, publication, files)
        return kept

    def changed(self, live: LiveView, state: FolderState) -> tuple[str, ...]:
        """The folder's files that say something else than the live version; those unreadable included."""
        if live.files is None or state.version == live.version:
            return ()
        kept = self._changed
        if kept is None or kept[0] != live.version or kept[1] is not state:
            before = {file: data for file, data in live.files.items() if file not in state.broken}
            found = {*changed_files(before, state.files), *state.broken}
            kept = self._changed = (live.version, state, tuple(sorted(found)))
        return kept[2]

    def losses(self, live: LiveView, state: FolderState) -> tuple[Loss, ...]:
        """What the folder takes away from people's safety; nothing is told while it cannot be read."""
        if live.files is None or state.problems or state.version in (None, live.version):
            return ()
        kept = self._losses
        if kept is None or kept[0] != live.version or kept[1] is not state:
            try:
                before, after = rulebook_from_data(live.files), rulebook_from_data(state.files)
            except RulebookError:  # a live version of long ago
                return ()
            kept = self._losses = (live.version, state, weakened(before, after))
        return kept[2]


def make_ready_aside(app: Flask) -> None:
    """Reads the folder, here and in the process that checks it, in a thread of its own, so that no page waits
    for it; whoever asks meanwhile waits for this reading and not for another."""
    Thread(target=_make_ready, args=(app,), daemon=True).start()


def _make_ready(app: Flask) -> None:
    with app.app_context():
        if shelf().has_folder:
            checks().start()
            state = shelf().folder()
            if state is not None and state.book is not None:
                len(state.book.words)  # what a search looks through


def shelf() -> Shelf:
    """The one of this app."""
    folder = cast("Path | None", current_app.extensions.get("barrelwise_folder"))
    return cast(Shelf, current_app.extensions.setdefault(SHELF, Shelf(folder)))
