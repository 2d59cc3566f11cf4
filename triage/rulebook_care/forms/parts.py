"""What a form is made of: fields, tables and conditions, and where in a file's data each stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from triage.rulebook_care.forms.values import MISSING, Kind
from triage.values.errors import pointer_to
from triage.values.plain_data import Path

STAR = "*"
"""In a table's path: every entry there."""
MORE = "more"
"""The last column of facts by name: those that have no column of their own yet, as `fact: value`."""
GROUPS = ("any_of", "none_of")


@dataclass(frozen=True, slots=True)
class Field:
    path: Path
    title: str
    kind: Kind
    text: str

    @property
    def name(self) -> str:
        return pointer_to(self.path)


@dataclass(frozen=True, slots=True)
class Column:
    """`path` is within a row's entry; () is the entry itself."""

    path: tuple[str, ...]
    title: str
    kind: Kind

    @property
    def name(self) -> str:
        return ".".join(self.path) or "value"


@dataclass(frozen=True, slots=True)
class Row:
    """One entry: where it stands, and its texts, those of the keys first."""

    path: Path
    texts: tuple[str, ...]

    @property
    def name(self) -> str:
        return pointer_to(self.path)


@dataclass(frozen=True, slots=True)
class Table:
    """Every entry at `path`, a row each. `keys` are the columns of the ids on the way; a list has none at its
    end, for there the order counts. `wanted` says that the collection may not be left out."""

    path: tuple[str, ...]
    title: str
    keys: tuple[Column, ...]
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    is_list: bool
    wanted: bool

    @property
    def name(self) -> str:
        return pointer_to(self.path)

    @property
    def all_columns(self) -> tuple[Column, ...]:
        return (*self.keys, *self.columns)


@dataclass(frozen=True, slots=True)
class Line:
    """One test of a condition. `asks` are what may be asked of its fact, in words."""

    path: Path
    fact: str
    asked: str
    values: str
    asks: tuple[tuple[str, str], ...]
    choices: Mapping[str, str]
    unit: str

    @property
    def name(self) -> str:
        return pointer_to(self.path)


@dataclass(frozen=True, slots=True)
class When:
    """All lines hold, and of each group any or none of its conditions."""

    path: Path
    title: str
    lines: tuple[Line, ...]
    groups: tuple[tuple[str, tuple[When, ...]], ...]

    @property
    def name(self) -> str:
        return pointer_to(self.path)


Part: TypeAlias = Field | Table | When


def entries_at(data: object, table: tuple[str, ...]) -> Iterator[tuple[Path, tuple[str, ...], object]]:
    """(path, ids on the way, entry) of every entry at a table's path; a place in its last list is no id."""
    found: list[tuple[Path, tuple[str, ...], object]] = [((), (), data)]
    for depth, part in enumerate(table, 1):
        after: list[tuple[Path, tuple[str, ...], object]] = []
        for path, ids, value in found:
            if part != STAR:
                if isinstance(value, dict) and part in value:
                    after.append(((*path, part), ids, value[part]))
            elif isinstance(value, dict):
                after += [((*path, key), (*ids, key), each) for key, each in value.items()]
            elif isinstance(value, list):
                last = depth == len(table)
                after += [
                    ((*path, index), ids if last else (*ids, str(index + 1)), each)
                    for index, each in enumerate(value)
                ]
        found = after
    yield from found


def found_at(data: object, path: Sequence[str | int]) -> object:
    """What stands at a path; MISSING where nothing does."""
    for part in path:
        within = (
            part in data if isinstance(data, dict) else isinstance(data, list) and part in range(len(data))
        )
        if not within:
            return MISSING
        data = data[part]  # type: ignore[index]
    return data
