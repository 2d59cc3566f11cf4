"""A file's text as a form, and the text again that the form makes of it; comments and order stay."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from triage.rulebook_care.editing.saving import with_data
from triage.rulebook_care.forms.layout import parts_of
from triage.rulebook_care.forms.parts import Field, Part, Table, When
from triage.rulebook_care.forms.reading import Sent, filled, put_rows
from triage.rulebook_care.forms.sheets import rows_of
from triage.rulebook_care.forms.vocabulary import Vocabulary
from triage.values.errors import InputError, Problem
from triage.values.yaml_source import read_yaml

_ROOT = "/"


@dataclass(frozen=True, slots=True)
class Sheet:
    """Rows that came from a spreadsheet, for the table of this name; `instead` of its own, or below them."""

    table: str
    rows: list[list[str]]
    instead: bool


def data_of(file: str, text: str) -> Mapping[str, Any]:
    """The text's plain data. Raises InputError where it is no mapping: there is no form for such a text."""
    data = read_yaml(text.encode("utf-8", "replace"), file).data
    if not isinstance(data, dict):
        raise InputError([Problem("the file is not made of `key: value` lines", file=file)])
    return data


def form_of(file: str, text: str, words: Vocabulary) -> tuple[Part, ...]:
    """The parts of a file's form. Raises InputError where the text cannot be shown as one."""
    return parts_of(file, data_of(file, text), words)


def text_of(
    file: str, text: str, sent: Sent, words: Vocabulary, sheets: Iterable[Sheet] = ()
) -> tuple[str, list[Problem]]:
    """The text with what was sent in it, and what is wrong that no text can say.

    Raises InputError where the text it was made from cannot be read, or cannot be changed safely.
    """
    data = data_of(file, text)
    made, problems = filled(data, parts_of(file, data, words), sent, words, file)
    for sheet in sheets:
        for table in parts_of(file, made, words):
            if isinstance(table, Table) and table.name == sheet.table:
                try:
                    new = rows_of(table, sheet.rows, sheet.instead)
                except InputError as error:
                    problems += [Problem(each.message, table.name, file) for each in error.problems]
                    continue
                own = [] if sheet.instead else [(row.name, row.texts) for row in table.rows]
                before = dict(made)
                problems += put_rows(made, before, table, [*own, *new], file)
    return with_data(text, made, file), problems


def marks(parts: Iterable[Part], problems: Iterable[Problem], file: str) -> Mapping[str, list[str]]:
    """What is wrong, by the field, row, cell (`row|column`), line or table that it is said beside."""
    places = dict(_places(parts))
    found: dict[str, list[str]] = {}
    for problem in problems:
        if problem.file not in (None, file):
            continue
        pointer = problem.pointer or ""
        within = [
            place for place in places if pointer == place or pointer.startswith(f"{place.rstrip('/')}/")
        ]
        name = places[max(within, key=len)] if within else _ROOT
        found.setdefault(name, []).append(problem.message)
    return found


def _places(parts: Iterable[Part]) -> Iterator[tuple[str, str]]:
    """(pointer, name)."""
    for part in parts:
        if isinstance(part, Field):
            yield part.name, part.name
        elif isinstance(part, Table):
            yield part.name.partition("/*")[0], part.name
            for row in part.rows:
                yield row.name, row.name
                for column in part.columns:
                    yield "/".join((row.name, *column.path)), f"{row.name}|{column.name}"
        else:
            yield from _lines(part)


def _lines(when: When) -> Iterator[tuple[str, str]]:
    yield when.name, when.name
    for line in when.lines:
        yield line.name, line.name
    for _, inside in when.groups:
        for each in inside:
            yield from _lines(each)
