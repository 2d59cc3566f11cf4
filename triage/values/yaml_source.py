"""Reads one YAML 1.2 file into plain data, and remembers the line and column of every value and key.

Built on a parser's event stream rather than its constructors: nothing in a file is ever made into an
object, numbers stay exact, nesting and size are bounded, and aliases (by which a small file unfolds into a
huge one) are refused. A plain file without faults is read by libyaml (PyYAML), some eight times as fast; any
other, and any in which libyaml's YAML 1.1 might read something else, by ruamel.yaml, whose words the problems
are in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import yaml
from ruamel.yaml import YAML
from ruamel.yaml import events as whole
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.reader import ReaderError

from triage.values.errors import Problem, RulebookError
from triage.values.plain_data import MOST_DEPTH, Path, exact_number

MOST_BYTES = 256 * 1024

_DOCUMENT = (whole.DocumentStartEvent, yaml.DocumentStartEvent)
_ALIAS = (whole.AliasEvent, yaml.AliasEvent)
_SCALAR = (whole.ScalarEvent, yaml.ScalarEvent)
_MAPPING = (whole.MappingStartEvent, yaml.MappingStartEvent)
_START = (whole.CollectionStartEvent, yaml.CollectionStartEvent)
_END = (whole.CollectionEndEvent, yaml.CollectionEndEvent)
_SURELY_ALIKE = re.compile(r"[\n -~\u00a0-\u2027\u202a-\ud7ff\ue000-\ufefe]*")
"""Texts without tabs, bare carriage returns and the line breaks of YAML 1.1 alone."""
_READ_APART = re.compile(r"^[%|>]|[|>][-+\d]*#", re.MULTILINE)
"""Directives, and heads of blocks that only libyaml takes."""

_NO_ALIAS = "anchors and aliases (& and *) are not used in a rulebook; write it out"
_NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?", re.ASCII)
_ODD_NUMBER = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)|0x[0-9a-fA-F]+|0o[0-7]+")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_HALF_SIGN = re.compile("[\ud800-\udfff]")  # JSON and terminals refuse lone surrogates
_NULLS = frozenset({"", "~", "null", "Null", "NULL"})
_TRUE, _FALSE = frozenset({"true", "True", "TRUE"}), frozenset({"false", "False", "FALSE"})


@dataclass(frozen=True, slots=True)
class Place:
    """1-based line and column of a value. `text_column` is where a one-line text's first character stands."""

    line: int
    column: int
    text_column: int | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """A file's plain data with the places of its values and keys, by path."""

    data: object
    values: Mapping[Path, Place] = field(default_factory=dict)
    keys: Mapping[Path, Place] = field(default_factory=dict)


@dataclass(slots=True)
class _Open:
    """A collection whose end has not been read yet."""

    value: dict[str, object] | list[object]
    path: Path
    key: str | None = None


def read_yaml(content: bytes, file: str) -> Source:
    """Parses a file's content. Raises RulebookError with every problem located in `file`."""
    if len(content) > MOST_BYTES:
        raise _refused(file, f"the file has {len(content):,} bytes; at most {MOST_BYTES:,} are read")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _refused(file, "the file is not UTF-8 text; save it as UTF-8", line, 1) from None
    return _read_fast(text, file) or _read_whole(text, file)


def _read_fast(text: str, file: str) -> Source | None:
    """What libyaml reads; None where the other parser had better look."""
    if not _SURELY_ALIKE.fullmatch(text) or _READ_APART.search(text):
        return None
    reader = _Reader(file)
    try:
        for event in yaml.parse(text, Loader=yaml.CSafeLoader):
            reader.take(event)
    except Exception:  # it is found again, and said, by the other parser
        return None
    return None if reader.problems else reader.source()


def _read_whole(text: str, file: str) -> Source:
    reader = _Reader(file)
    try:
        for event in YAML(typ="safe", pure=True).parse(text):
            reader.take(event)
    except MarkedYAMLError as error:
        reader.problems.append(_broken(error, file, text))
    except ReaderError as error:
        line, column = _line_and_column(text, error.position)
        message = "a control character stands here, which YAML does not allow; take it out"
        reader.problems.append(Problem(message, file=file, line=line, column=column))
    except (YAMLError, ValueError) as error:
        reader.problems.append(Problem(_one_line(str(error)), file=file, line=1, column=1))
    except Exception as error:  # whatever else the parser meets in a file is a finding about that file
        reader.problems.append(_not_foreseen(error, file, reader.line))
    if reader.problems:
        raise RulebookError(reader.problems)
    return reader.source()


class _Reader:
    """Builds data from events on a stack of its own, so that depth never meets Python's recursion limit."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.values: dict[Path, Place] = {}
        self.keys: dict[Path, Place] = {}
        self.root: object = None
        self.documents = 0
        self.line = 1  # of what was read last
        self.stack: list[_Open] = []

    def source(self) -> Source:
        return Source(self.root, self.values, self.keys)

    def take(self, event: Any) -> None:
        self.line = event.start_mark.line + 1
        if isinstance(event, _SCALAR):
            self._scalar(event)
        elif isinstance(event, _START):
            self._start(event)
        elif isinstance(event, _END):
            self.stack.pop()
        elif isinstance(event, _ALIAS):
            raise _Stop.at(event, _NO_ALIAS)
        elif isinstance(event, _DOCUMENT):
            self.documents += 1
            if self.documents > 1:
                raise _Stop.at(event, "a file holds one document; take the second `---` out")

    def _start(self, event: Any) -> None:
        if len(self.stack) >= MOST_DEPTH:
            raise _Stop.at(event, f"the file is nested more than {MOST_DEPTH} deep")
        if self._wants_key():
            raise _Stop.at(event, "a key is a word, not a list or mapping; is a quote or colon missing?")
        self._check_plainness(event)
        value: dict[str, object] | list[object] = {} if isinstance(event, _MAPPING) else []
        path = self._put(value, _place(event))
        self.stack.append(_Open(value, path))

    def _scalar(self, event: Any) -> None:
        self._check_plainness(event)
        if self._wants_key():
            top = self.stack[-1]
            assert isinstance(top.value, dict)
            path, place = (*top.path, event.value), _place(event)
            if event.value in top.value:
                first = self.keys[path].line
                self._problem(event, f'"{event.value}" is written twice, first on line {first}; keep one')
            self.keys.setdefault(path, place)
            top.key = event.value
            return
        try:
            value = _value(event)
        except ValueError as error:
            self._problem(event, str(error))
            value = None
        self._put(value, _place(event))

    def _wants_key(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1].value, dict) and self.stack[-1].key is None

    def _put(self, value: object, place: Place) -> Path:
        if not self.stack:
            path: Path = ()
            self.root = value
        else:
            top = self.stack[-1]
            if isinstance(top.value, list):
                path = (*top.path, len(top.value))
                top.value.append(value)
            else:
                assert top.key is not None
                path = (*top.path, top.key)
                top.value.setdefault(top.key, value)
                top.key = None
        self.values.setdefault(path, place)
        return path

    def _check_plainness(self, event: Any) -> None:
        if isinstance(event, _SCALAR) and _HALF_SIGN.search(event.value):
            raise _Stop.at(event, "an escape in this text stands for half a character; take it out")
        if event.anchor is not None:
            self._problem(event, _NO_ALIAS)
        if event.tag is not None:
            self._problem(
                event, f"tags such as {str(event.tag)[:40]} are not used in a rulebook; take it out"
            )

    def _problem(self, event: Any, message: str) -> None:
        place = _place(event)
        self.problems.append(Problem(message, file=self.file, line=place.line, column=place.column))


class _Stop(MarkedYAMLError):
    """Reading cannot go on after this."""

    @classmethod
    def at(cls, event: Any, message: str) -> _Stop:
        return cls(problem=message, problem_mark=event.start_mark)


def _value(event: Any) -> object:
    text = event.value
    if event.style not in (None, ""):
        return text
    if text in _NULLS:
        return None
    if text in _TRUE or text in _FALSE:
        return text in _TRUE
    if _NUMBER.fullmatch(text):
        return exact_number(text)
    if _ODD_NUMBER.fullmatch(text):
        raise ValueError(f"{text[:40]} is not a number a rulebook can use; write it in decimal digits")
    if _DATE.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise ValueError(f"{text} is not a day of the calendar ({error})") from None
    return text


def _place(event: Any) -> Place:
    start, end = event.start_mark, event.end_mark
    text_column = None
    if isinstance(event, _SCALAR) and start.line == end.line:
        quotes = 0 if event.style in (None, "") else 2
        if end.column - start.column == len(event.value) + quotes:  # no escapes: columns map one to one
            text_column = start.column + 1 + quotes // 2
    return Place(start.line + 1, start.column + 1, text_column)


def _line_and_column(text: str, position: int) -> tuple[int, int]:
    before = text[:position]
    return before.count("\n") + 1, position - before.rfind("\n")


def _broken(error: MarkedYAMLError, file: str, text: str) -> Problem:
    mark = error.problem_mark or error.context_mark
    message = _one_line(error.problem or error.context or "this is not YAML")
    line, column = (1, 1) if mark is None else (mark.line + 1, mark.column + 1)
    if isinstance(error, _Stop):
        return Problem(message, file=file, line=line, column=column)
    lines = text.splitlines()
    written = lines[line - 1] if line <= len(lines) else ""
    if "\t" in written[: len(written) - len(written.lstrip())] or "\\t" in message:
        message = "a tab stands where YAML wants spaces; indent with spaces"
    elif re.search(r':\s*(".*"|\'.*\')\s*\S', written):
        message = (
            f"broken YAML: {message}; a value that goes on after a quote needs quotes around the whole, "
            """such as '"a","b"'"""
        )
    elif re.search(r":\s*([\[>@|&*!%`{\]]|-\s*$)", written):
        message = (
            f'broken YAML: {message}; a test that starts with such a character needs quotes, such as "> 15"'
        )
    else:
        message = f"broken YAML: {message}; look for a missing quote, colon or bracket before this place"
    return Problem(message, file=file, line=line, column=column)


def _not_foreseen(error: Exception, file: str, line: int) -> Problem:
    message = f"the file cannot be read from here on ({type(error).__name__}); look for an odd mark"
    return Problem(message, file=file, line=line, column=1)


def _one_line(message: str) -> str:
    return " ".join(message.split())[:300]


def _refused(file: str, message: str, line: int | None = None, column: int | None = None) -> RulebookError:
    return RulebookError([Problem(message, file=file, line=line, column=column)])
