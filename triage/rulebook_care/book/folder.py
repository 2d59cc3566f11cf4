"""The rulebook's folder as a book, read again only as far as files changed."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock
from typing import TypeAlias

from triage.rulebook.reading.reader import read_file, read_sources, rulebook_of_sources, version_of
from triage.rulebook_care.book.book import Book, book_of
from triage.rulebook_care.lint.findings import Finding, located_in
from triage.rulebook_care.lint.lint import lint
from triage.values.errors import Problem, RulebookError
from triage.values.yaml_source import Source

Stamp: TypeAlias = tuple[int, ...]
_CASE = re.compile(r": case (\d+)\b")


@dataclass(frozen=True, slots=True)
class FolderState:
    """What a folder says now.

    `sources` are the files that can be read by themselves; `book` is None, and `problems` say why, where the
    whole cannot be read. `version` is None where a file cannot.
    """

    version: str | None
    sources: Mapping[str, Source]
    broken: frozenset[str]
    problems: tuple[Problem, ...]
    book: Book | None

    @property
    def files(self) -> Mapping[str, object]:
        """Path -> plain data, as a candidate travels."""
        return {file: source.data for file, source in self.sources.items()}

    def placed(self, problems: Iterable[Problem]) -> tuple[Problem, ...]:
        """Problems of a candidate's check with the line, where it can be told."""
        lines: dict[tuple[str, str], Finding] = {}
        for found in () if self.book is None else self.book.findings.values():
            lines |= {(each.file, f"{each.message}. {each.fix}"): each for each in found}
        placed = []
        for problem in problems:
            each = lines.get((problem.file or "", problem.message))
            case = _CASE.search(problem.message)
            if each is not None:
                problem = replace(problem, line=each.line, column=each.column)
            elif case is not None and (source := self.sources.get(problem.file or "")) is not None:
                place = source.values.get(("cases", int(case[1]) - 1))
                problem = problem if place is None else replace(problem, line=place.line, column=place.column)
            placed.append(problem)
        return tuple(placed)


class FolderBook:
    """Reads one folder; a file is parsed again when it is another on disk. Safe between threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: dict[str, tuple[Stamp, Source | tuple[Problem, ...]]] = {}
        self._last: tuple[object, FolderState] | None = None
        self._lock = Lock()

    def state(self) -> FolderState:
        """What the folder says now; never raises for what stands in it."""
        with self._lock:
            seen: dict[str, Stamp] = {}

            def read_one(path: Path, file: str) -> Source:
                seen[file] = _stamp(path)
                return self._read(path, file, seen[file])

            try:
                sources, broken = read_sources(self._folder, read_one)
            except RulebookError as error:
                return FolderState(None, {}, frozenset(), error.problems, None)
            self._kept = {file: kept for file, kept in self._kept.items() if file in seen}
            if self._last is None or self._last[0] != seen or not all(seen.values()):
                self._last = seen, _state(sources, broken)
            return self._last[1]

    def _read(self, path: Path, file: str, stamp: Stamp) -> Source:
        kept = self._kept.get(file)
        if kept is None or kept[0] != stamp or not stamp:
            try:
                kept = (stamp, read_file(path, file))
            except RulebookError as error:
                kept = (stamp, error.problems)
            self._kept[file] = kept
        if isinstance(kept[1], tuple):
            raise RulebookError(kept[1])
        return kept[1]


def _stamp(path: Path) -> Stamp:
    """Changes whenever the file does; empty where it cannot be told."""
    try:
        state = path.stat()
    except OSError:
        return ()
    return state.st_mtime_ns, state.st_ctime_ns, state.st_size, state.st_ino


def _state(sources: Mapping[str, Source], broken: Mapping[str, tuple[Problem, ...]]) -> FolderState:
    version = None if broken else version_of({file: source.data for file, source in sources.items()})
    try:
        rulebook = rulebook_of_sources(sources, broken)
    except RulebookError as error:
        return FolderState(version, sources, frozenset(broken), error.problems, None)
    book = book_of(rulebook, located_in(lint(rulebook), sources))
    return FolderState(version, sources, frozenset(), (), book)
