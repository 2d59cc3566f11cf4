"""Reads a whole rulebook with one file's text replaced, fast enough while one types.

Files that did not change on disk are not parsed again. A text is bounded in size and depth by the reader.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from triage.errors import Problem, RulebookError
from triage.rulebook import Rulebook
from triage.rulebook_care.findings import Finding, located_in
from triage.rulebook_care.lint import lint
from triage.rulebook_reader import read_file, read_sources, rulebook_of_sources
from triage.yaml_source import Source, read_yaml


@dataclass(frozen=True, slots=True)
class Checked:
    """What is wrong with one file's text: in it, and elsewhere in the folder with it.

    `findings` are the lint's, of this file; there are none while the rulebook cannot be read.
    """

    rulebook: Rulebook | None
    problems: tuple[Problem, ...]
    elsewhere: tuple[Problem, ...]
    findings: tuple[Finding, ...]

    @property
    def ok(self) -> bool:
        """Whether the rulebook can be read with this text and the lint finds no error in it."""
        wrong = any(each.severity == "error" and each.silenced is None for each in self.findings)
        return not (self.problems or self.elsewhere or wrong)


class FolderCheck:
    """Checks texts against one folder. Safe between threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: dict[str, tuple[tuple[int, ...], Source | tuple[Problem, ...]]] = {}
        self._lock = Lock()

    def check(self, file: str, content: bytes | None) -> Checked:
        """The folder with `file` holding this content; None: without that file."""
        with self._lock:
            sources, broken = read_sources(self._folder, self._read)
        sources.pop(file, None)
        broken.pop(file, None)
        try:
            if content is not None:
                sources[file] = read_yaml(content, file)
        except RulebookError as error:
            broken[file] = error.problems
        try:
            rulebook = rulebook_of_sources(sources, broken)
        except RulebookError as error:
            mine = tuple(problem for problem in error.problems if problem.file == file)
            others = tuple(problem for problem in error.problems if problem.file != file)
            return Checked(None, mine, others, ())
        found = (each for each in lint(rulebook) if each.file == file)
        return Checked(rulebook, (), (), located_in(found, sources))

    def _read(self, path: Path, file: str) -> Source:
        try:
            state = path.stat()
        except OSError:
            return read_file(path, file)
        key = (state.st_mtime_ns, state.st_ctime_ns, state.st_size, state.st_ino)
        kept = self._kept.get(file)
        if kept is None or kept[0] != key:
            kept = (key, self._parsed(path, file))
            self._kept[file] = kept
        if isinstance(kept[1], tuple):
            raise RulebookError(kept[1])
        return kept[1]

    @staticmethod
    def _parsed(path: Path, file: str) -> Source | tuple[Problem, ...]:
        try:
            return read_file(path, file)
        except RulebookError as error:
            return error.problems
