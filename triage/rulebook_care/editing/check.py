"""Reads a whole rulebook with one file's text replaced, fast enough while one types.

Files that did not change on disk are not parsed again. A text is bounded in size and depth by the reader, but
not in time: `check_process` runs this where a text cannot hold a server up.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from threading import Lock

from triage.decide.causes.inference import compile_rulebook
from triage.decide.whole_cases import IF_MEANT, run_whole_cases
from triage.inputs.heard import run_words_cases
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_file, read_sources, rulebook_of_sources
from triage.rulebook.reading.table_shapes import Shape
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.editing.retire import Retirement, retire
from triage.rulebook_care.editing.scaffold import scaffold
from triage.rulebook_care.lint.findings import Finding, located_in
from triage.rulebook_care.lint.lint import has_errors, lint
from triage.values.errors import InputError, Problem, RulebookError
from triage.values.yaml_source import Source, read_yaml

_UNSAVED = "unsaved"
_Broken = Mapping[str, tuple[Problem, ...]]


@dataclass(frozen=True, slots=True)
class Checked:
    """What is wrong with one file's text: in it, and elsewhere in the folder because of it.

    `standing` are faults of other files that are there without this edit, too. `findings` are the lint's: all
    of this file, and of others those that this edit adds. There are none while the rulebook cannot be read.
    """

    problems: tuple[Problem, ...] = ()
    elsewhere: tuple[Problem, ...] = ()
    findings: tuple[Finding, ...] = ()
    standing: tuple[Problem, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether this text breaks nothing: it and what uses it can be read, and the lint finds no error."""
        return not (self.problems or self.elsewhere or has_errors(self.findings))


@dataclass(frozen=True, slots=True)
class FailedCase:
    """One case that came out otherwise than it says; `line` is where it stands in `file`."""

    file: str
    case: str
    message: str
    line: int | None = None
    column: int | None = None


@dataclass(frozen=True, slots=True)
class CasesRun:
    """How many cases of rules and whole reports were run, and which failed.

    None was run where there are `problems`: the rulebook cannot be read.
    """

    rule_cases: int = 0
    whole_cases: int = 0
    failures: tuple[FailedCase, ...] = ()
    problems: tuple[Problem, ...] = ()


class FolderCheck:
    """Checks texts against one folder. Safe between threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: dict[str, tuple[tuple[int, ...], Source | tuple[Problem, ...]]] = {}
        self._on_disk: tuple[Mapping[str, Source], frozenset[Finding] | None] = ({}, None)
        self._shapes: dict[str, tuple[Source, Shape]] = {}
        self._lock = Lock()

    def check(self, file: str, content: bytes | None) -> Checked:
        """The folder with `file` holding this content; None: without that file."""
        sources, broken = self._sources()
        edited = _edited(sources, broken, file, content)
        if edited == (sources, broken) and (as_it_is := self._found_on_disk(sources, broken)) is not None:
            return Checked(findings=located_in((each for each in as_it_is if each.file == file), sources))
        try:
            rulebook = self._read_whole(*edited)
        except RulebookError as error:
            mine = tuple(problem for problem in error.problems if problem.file == file)
            others = tuple(problem for problem in error.problems if problem.file != file)
            before = self._problems_of(sources, broken) if others else frozenset()
            return Checked(
                mine,
                tuple(problem for problem in others if problem not in before),
                standing=tuple(problem for problem in others if problem in before),
            )
        found = lint(rulebook)
        on_disk = self._found_on_disk(sources, broken)
        shown = (each for each in found if each.file == file or each not in (on_disk or found))
        return Checked(findings=located_in(shown, edited[0]))

    def rulebook(self, file: str, content: bytes) -> Rulebook:
        """The folder's, with `file` holding this content. Raises RulebookError."""
        return self._read_whole(*_edited(*self._sources(), file, content))

    def run_cases(self, file: str | None = None, content: bytes | None = None) -> CasesRun:
        """Runs the cases of this file's rule and the whole reports, with the file holding this content.

        Without a file: all cases of the folder as it is.
        """
        sources, broken = self._sources()
        if file is not None:
            sources, broken = _edited(sources, broken, file, content)
        return _cases_of(sources, broken, file)

    def new_file(self, kind: str, name: str, today: date) -> tuple[str, str]:
        """The path and text of a new file that fits this folder. Raises InputError as `scaffold` does, and
        where the folder cannot be read."""
        return scaffold(self._read_whole(*self._sources()), kind, name, today)

    def retirement(self, kind: str, name: str, tried: bool = True) -> Retirement:
        """What retiring an entry takes; where it is `tried`, what is then still wrong: what cannot be read,
        cases that fail.

        Raises NotFoundError and InputError as `retire` does.
        """
        sources, broken = self._sources()
        found = retire(sources, kind, name)
        if not tried:
            return found
        after = {**sources, **{file: replace(sources[file], data=data) for file, data in found.files.items()}}
        done = _cases_of(after, broken)
        failed = (
            Problem(f"{each.case}: {each.message}", file=each.file, line=each.line) for each in done.failures
        )
        return replace(found, problems=(*done.problems, *failed))

    def _found_on_disk(self, sources: Mapping[str, Source], broken: _Broken) -> frozenset[Finding] | None:
        """The lint's findings of the folder as it is; None where it cannot be read."""
        with self._lock:
            known, found = self._on_disk
        if known != sources:
            try:
                found = frozenset(lint(self._read_whole(sources, broken)))
            except RulebookError:
                found = None
            with self._lock:
                self._on_disk = dict(sources), found
        return found

    def _read_whole(self, sources: Mapping[str, Source], broken: _Broken) -> Rulebook:
        return rulebook_of_sources(sources, broken, _UNSAVED, self._shapes)

    def _problems_of(self, sources: Mapping[str, Source], broken: _Broken) -> frozenset[Problem]:
        try:
            self._read_whole(sources, broken)
        except RulebookError as error:
            return frozenset(error.problems)
        return frozenset()

    def _sources(self) -> tuple[dict[str, Source], dict[str, tuple[Problem, ...]]]:
        with self._lock:
            return read_sources(self._folder, self._read)

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


def _cases_of(sources: Mapping[str, Source], broken: _Broken, file: str | None = None) -> CasesRun:
    try:
        rulebook = rulebook_of_sources(sources, broken)
        engine = compile_rulebook(rulebook, "plain")
    except InputError as error:
        return CasesRun(problems=error.problems)
    failures = []
    for each in (*run_rule_cases(rulebook), *run_words_cases(rulebook, file)):
        if file in (None, each.file):
            place = sources[each.file].values.get(("cases", each.case))
            where = (None, None) if place is None else (place.line, place.column)
            failures.append(FailedCase(each.file, each.rule, each.message, *where))
    for whole in run_whole_cases(rulebook, engine):
        place = sources[whole.file].keys.get(("expect",))
        where = (None, None) if place is None else (place.line, place.column)
        failures.append(FailedCase(whole.file, whole.case, f"{whole.message}{IF_MEANT}", *where))
    return CasesRun(_count_rule_cases(rulebook, file), len(rulebook.cases), tuple(failures))


def _edited(
    sources: Mapping[str, Source], broken: _Broken, file: str, content: bytes | None
) -> tuple[dict[str, Source], dict[str, tuple[Problem, ...]]]:
    good, bad = dict(sources), dict(broken)
    good.pop(file, None)
    bad.pop(file, None)
    if content is not None:
        try:
            good[file] = read_yaml(content, file)
        except RulebookError as error:
            bad[file] = error.problems
    return good, bad


def _count_rule_cases(rulebook: Rulebook, file: str | None) -> int:
    kinds = (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy)
    heads = (rule.head for kind in kinds for rule in kind.values())
    of_rules = sum(len(head.cases) for head in heads if file in (None, head.file))
    return of_rules + sum(len(words.cases) for words in rulebook.words.values() if file in (None, words.file))
