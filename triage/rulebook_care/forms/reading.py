"""A form as it came back, put into the data of its file.

Names: a field `/title`; a cell `/rows/*|<row>|<column>`, with `|from` saying where the row stood and `|drop`
that it goes, and in a list `|place` which row it is to be; a line of a condition `/when|<number>|fact`,
`|asked`, `|values` and `|drop`, within groups `/when/any_of/0|…`. What was not sent stays as it is.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from typing import Any, TypeAlias

from triage.rulebook_care.forms.parts import GROUPS, MORE, STAR, Column, Field, Part, Table, found_at
from triage.rulebook_care.forms.unary import put_together, taken_apart
from triage.rulebook_care.forms.values import MISSING, read, read_flow
from triage.rulebook_care.forms.vocabulary import Vocabulary
from triage.values.errors import Problem, path_to, pointer_to
from triage.values.plain_data import Path

Sent: TypeAlias = Mapping[str, Sequence[str]]
Data: TypeAlias = dict[str, Any]


def filled(
    data: Mapping[str, Any], parts: Iterable[Part], sent: Sent, words: Vocabulary, file: str
) -> tuple[Data, list[Problem]]:
    """The data with what was sent, and what no data can hold: of two entries of one id the second is called
    "id (2)" there.
    """
    made: Data = deepcopy(dict(data))
    problems: list[Problem] = []
    for part in parts:
        if isinstance(part, Field):
            if part.name in sent:
                _put(made, part.path, read(part.kind, sent[part.name][0], found_at(data, part.path)))
        elif isinstance(part, Table):
            if part.name in sent:
                problems += put_rows(made, data, part, _sent_rows(part, sent, problems, file), file)
        elif part.name in sent:
            _put(made, part.path, _condition(part.path, data, sent, words, problems, file) or MISSING)
    return made, problems


def put_rows(
    made: Data, data: Mapping[str, Any], table: Table, rows: Iterable[tuple[str, Sequence[str]]], file: str
) -> list[Problem]:
    """Puts rows, each where it stood (a pointer; "" for a new one) and its texts, in place of the table's."""
    columns = table.columns
    groups: dict[tuple[str, ...], list[tuple[str, object]]] = {}
    problems = []
    for stood, texts in rows:
        if not any(text.strip() for text in texts):
            continue
        ids = [text.strip() for text in texts[: len(table.keys)]]
        old = found_at(data, _real(data, path_to(stood))) if stood else MISSING
        entry = _entry(old, columns, texts[len(table.keys) :])
        key = "" if table.is_list else ids[-1]
        if not table.is_list and any(key == other for other, _ in groups.get(tuple(ids[:-1]), ())):
            key = f"{key} (2)"
            message = f'{table.title}: "{ids[-1][:64]}" stands in two rows; make it one'
            where = _where(table.path[:-1], ids[:-1])
            problems.append(Problem(message, pointer_to((*where, key)), file))
        groups.setdefault(tuple(ids if table.is_list else ids[:-1]), []).append((key, entry))
    for place in _places(made, table.path[:-1], ()):
        groups.setdefault(place, [])
    for place, found in groups.items():
        where = _where(table.path[:-1], place)
        value: object = [entry for _, entry in found] if table.is_list else dict(found)
        if not found and not (table.wanted or found_at(data, where) in ([], {})):
            value = MISSING
        _put(made, where, value)
    return problems


def _sent_rows(table: Table, sent: Sent, problems: list[Problem], file: str) -> list[tuple[str, list[str]]]:
    """(where it stood, its texts) of each row, in the order of their places."""
    numbers = sorted(
        {
            int(found[1])
            for name in sent
            if (found := re.fullmatch(rf"{re.escape(table.name)}\|(\d+)\|from", name))
        }
    )
    rows = []
    for number in numbers:
        start = f"{table.name}|{number}|"
        if f"{start}drop" in sent:
            continue
        texts = [sent.get(f"{start}{index}", ("",))[0] for index in range(len(table.all_columns))]
        stood, place = sent[f"{start}from"][0], sent.get(f"{start}place", ("",))[0].strip()
        if place and not re.fullmatch(r"[1-9][0-9]{0,3}", place):
            message = f'row {number + 1}: its place is "{place[:20]}"; write a number such as 1'
            problems.append(Problem(message, table.name, file))
            place = ""
        wanted = int(place or number + 1)
        rows.append(((wanted, wanted - number - 1, number), (stood, texts)))
    return [row for _, row in sorted(rows, key=lambda each: each[0])]


def _entry(old: object, columns: Sequence[Column], texts: Sequence[str]) -> object:
    if len(columns) == 1 and not columns[0].path:
        value = read(columns[0].kind, texts[0], old)
        return "" if value is MISSING else value
    entry: Data = deepcopy(old) if isinstance(old, dict) else {}
    for column, text in zip(columns, texts, strict=True):
        if column.path[-1:] == (MORE,):
            more = read_flow(text if text.lstrip().startswith("{") else f"{{{text}}}") if text.strip() else {}
            pairs = more.items() if isinstance(more, dict) else ((text, ""),)
            for key, value in pairs:
                _put(entry, (*column.path[:-1], key), value)
        else:
            _put(entry, column.path, read(column.kind, text, found_at(entry, column.path)))
    return entry


def _condition(
    path: Path, data: Mapping[str, Any], sent: Sent, words: Vocabulary, problems: list[Problem], file: str
) -> Data:
    """All lines and groups that were sent of one mapping of a condition."""
    name = pointer_to(path)
    made: Data = {}
    for number in _numbers(sent, rf"{re.escape(name)}\|(\d+)\|fact"):
        start = f"{name}|{number}|"
        fact = sent[f"{start}fact"][0]
        asked = sent.get(f"{start}asked", ("",))[0]
        values = ", ".join(each.strip() for each in sent.get(f"{start}values", ()) if each.strip())
        if not fact or f"{start}drop" in sent:
            continue
        if asked in ("known", "unknown"):
            made.setdefault(asked, []).append(fact)
            continue
        known = words.facts.get(fact)
        if fact in made:
            message = f"{fact} stands twice where all lines hold; ask both in one line, or in a group"
            fact = f"{fact} (2)"
            problems.append(Problem(message, pointer_to((*path, fact)), file))
        old = found_at(data, _real(data, (*path, fact)))
        same = old is not MISSING and taken_apart(known, old) == (asked, values)
        made[fact] = old if same else put_together(known, asked or "is", values)
    for group in GROUPS:
        found = [
            inside
            for number in _numbers(sent, rf"{re.escape(name)}/{group}/(\d+)\|\d+\|fact")
            if (inside := _condition((*path, group, number), data, sent, words, problems, file))
        ]
        if found:
            made[group] = found
    return made


def _numbers(sent: Sent, pattern: str) -> list[int]:
    return sorted({int(found[1]) for name in sent if (found := re.fullmatch(pattern, name))})


def _real(data: object, path: Sequence[str | int]) -> Path:
    """The path with numbers where it goes through lists."""
    real: list[str | int] = []
    for part in path:
        value = found_at(data, real)
        number = isinstance(value, list) and str(part).isascii() and str(part).isdigit()
        real.append(int(part) if number else part)
    return tuple(real)


def _where(path: tuple[str, ...], ids: Sequence[str]) -> Path:
    """A table's path with its stars filled in."""
    left = iter(ids)
    return tuple(next(left) if part == STAR else part for part in path)


def _places(data: object, path: tuple[str, ...], ids: tuple[str, ...]) -> list[tuple[str, ...]]:
    """The ids of every collection of a table that is there."""
    if not path:
        return [ids]
    part, *rest = path
    if part != STAR:
        return _places(data[part], tuple(rest), ids) if isinstance(data, dict) and part in data else []
    if isinstance(data, dict):
        return [found for key, each in data.items() for found in _places(each, tuple(rest), (*ids, key))]
    each_of = enumerate(data, 1) if isinstance(data, list) else ()
    return [found for number, each in each_of for found in _places(each, tuple(rest), (*ids, str(number)))]


def _put(data: Any, path: Sequence[str | int], value: object) -> None:
    """Sets or takes out a value; mappings on the way are made when one is set."""
    *above, last = path
    for part in above:
        if isinstance(data, list):
            index = int(part) - 1 if str(part).isdigit() else -1
            if not 0 <= index < len(data):
                return
            data = data[index]
            continue
        if not isinstance(data.get(part), dict | list):
            if value is MISSING:
                return
            data[part] = {}
        data = data[part]
    if value is not MISSING:
        data[last] = value
    elif isinstance(data, dict):
        data.pop(last, None)
