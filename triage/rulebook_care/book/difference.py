"""What changed between two rulebooks, in words: `seen with dirty filter: 0.80 → 0.85`.

Works on the files' plain data, so that a candidate which cannot be read yet can be compared as well.
Comments, order of keys and spacing are no change; neither is 0.8 for 0.80.

Two rulebooks' files side by side as text: what `diff` shows, on data that has no comments.

A kept rulebook is data, so both sides are written out anew in one and the same way: the keys in the order
they have now, numbers without idle zeros. What differs then is a difference in what the file says.
"""

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import StringIO
from typing import Literal, TypeAlias

from ruamel.yaml import YAML
from ruamel.yaml.nodes import ScalarNode
from ruamel.yaml.representer import RoundTripRepresenter

from triage.rulebook_care.book.references import KINDS
from triage.values.plain_data import Path, canonical, plain

Files: TypeAlias = Mapping[str, object]

LONGEST = 160

_STATUS = {
    ("draft", "live"): "goes live",
    ("retired", "live"): "goes live again",
    ("live", "retired"): "is retired",
    ("live", "draft"): "goes back to draft",
    ("draft", "retired"): "is retired without having been live",
    ("retired", "draft"): "is a draft again",
}


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that changed. `title` is what people call the rule; `path` leads to the place in `file`."""

    file: str
    title: str
    what: Literal["added", "removed", "changed"]
    words: str
    path: Path = ()

    def __str__(self) -> str:
        return f"{self.file}: {self.title}: {self.words}"


def differences(before: Files, after: Files) -> tuple[Change, ...]:
    """Every change from one rulebook's files to another's (relative path -> data), by file and place."""
    old = {file: plain(data) for file, data in before.items()}
    new = {file: plain(data) for file, data in after.items()}
    titles = {**_titles(old), **_titles(new)}
    return tuple(
        change
        for file in sorted(old.keys() | new.keys())
        for change in _in_file(file, old.get(file), new.get(file), titles)
    )


def _titles(files: Files) -> dict[str, str]:
    """`causes/dirty_filter` -> `dirty filter`, as it reads within a sentence."""
    found = {}
    for file, data in files.items():
        if isinstance(data, dict) and isinstance(title := data.get("title"), str):
            found[file.removesuffix(".yml")] = title
    return found


def _in_file(file: str, old: object, new: object, titles: Mapping[str, str]) -> Iterator[Change]:
    kind, _, name = file.removesuffix(".yml").rpartition("/")
    title = titles.get(file.removesuffix(".yml"), name)
    noun = KINDS[kind][0] if kind in KINDS else "file"
    if old is None or new is None:
        there = new if old is None else old
        status = there.get("status") if isinstance(there, dict) else None
        state = f" ({status})" if isinstance(status, str) else ""
        what: Literal["added", "removed"] = "added" if old is None else "removed"
        words = f"new {noun}{state}" if old is None else f"the {noun}{state} is taken out"
        yield Change(file, title, what, words)
        return
    for path, was, now in _changes(old, new, ()):
        yield Change(file, title, "changed", _words(kind, path, was, now, titles), path)


_NOTHING = object()


def _changes(old: object, new: object, path: Path) -> Iterator[tuple[Path, object, object]]:
    """Path, old and new value of every difference; `_NOTHING` on the side where it is missing."""
    if old is _NOTHING or new is _NOTHING:
        yield path, old, new
    elif isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys((*old, *new)):
            yield from _changes(old.get(key, _NOTHING), new.get(key, _NOTHING), (*path, key))
    elif isinstance(old, list) and isinstance(new, list) and _of_mappings(old) and _of_mappings(new):
        for index in range(max(len(old), len(new))):
            here = [each[index] if index < len(each) else _NOTHING for each in (old, new)]
            yield from _changes(here[0], here[1], (*path, index))
    elif canonical(old) != canonical(new):
        yield path, old, new


def _of_mappings(values: Sequence[object]) -> bool:
    return all(isinstance(value, dict) for value in values)


def _words(kind: str, path: Path, was: object, now: object, titles: Mapping[str, str]) -> str:
    if path == ("status",) and (str(was), str(now)) in _STATUS:
        return _STATUS[str(was), str(now)]
    place = _place(path, titles)
    if was is _NOTHING:
        return f"{place}: {_shown(now)} is new"
    if now is _NOTHING:
        return f"{place}: {_shown(was)} is taken out"
    if isinstance(was, list) and isinstance(now, list):
        return f"{place}: {_lists(was, now)}"
    return f"{place}: {_shown(was)} → {_shown(now)}"


def _place(path: Path, titles: Mapping[str, str]) -> str:
    def named(folder: str, name: object) -> str:
        title = titles.get(f"{folder}/{name}")
        return f"{title[:1].lower()}{title[1:]}" if title else str(name).replace("_", " ")

    match path:
        case ("then", "seen_with", "others"):
            return "seen with any other cause"
        case ("then", "seen_with", cause):
            return f"seen with {named('causes', cause)}"
        case ("resolves", cause):
            return f"fixes {named('causes', cause)}"
        case ("shares", cause):
            return f"calls that end with {named('causes', cause)}"
        case ("when", *rest):
            return ", ".join(["when", *(_step(part, named) for part in rest)]).replace("when, ", "when ", 1)
        case ("then", ("set" | "otherwise") as side, fact):
            return f"{'sets' if side == 'set' else 'otherwise sets'} {named('facts', fact)}"
        case ("then", *rest) if rest:
            return ", ".join(_step(part, named) for part in rest)
        case ("rows", int() as index, "then", *rest) | ("rows", int() as index, *rest):
            return ", ".join([f"row {index + 1}", *(_step(part, named) for part in rest)])
        case ("cases", int() as index, *rest):
            return ", ".join([f"case {index + 1}", *(_step(part, named) for part in rest)])
        case ():
            return "the file"
        case _:
            return ", ".join(_step(part, named) for part in path)


def _step(part: str | int, named: object) -> str:
    if isinstance(part, int):
        return f"number {part + 1}"
    words = {"any_of": "any of", "none_of": "none of"}
    if part in words:
        return words[part]
    assert callable(named)
    return str(named("facts", part))


def _lists(was: list[object], now: list[object]) -> str:
    old, new = [_shown(value) for value in was], [_shown(value) for value in now]
    gone = [value for value in old if value not in new]
    come = [value for value in new if value not in old]
    if not gone and not come:
        return f"the order is now {', '.join(new)}"
    if len(gone) == len(come):
        return "; ".join(f"{one} → {other}" for one, other in zip(gone, come, strict=True))
    said = [f"{value} is taken out" for value in gone] + [f"{value} is new" for value in come]
    return "; ".join(said)


def _shown(value: object) -> str:
    match value:
        case None:
            return "nothing"
        case bool():
            return "yes" if value else "no"
        case str():
            return f"“{value if len(value) <= LONGEST else f'{value[: LONGEST - 1]}…'}”"
        case dict():
            return f"{{{', '.join(f'{key}: {_shown(part)}' for key, part in value.items())}}}"[: LONGEST * 2]
        case list():
            return f"[{', '.join(_shown(part) for part in value)}]"[: LONGEST * 2]
        case _:
            return str(value)


CONTEXT = 3
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


@dataclass(frozen=True, slots=True)
class DiffLine:
    what: Literal["place", "same", "removed", "added"]
    text: str


def changed_files(before: Mapping[str, object], after: Mapping[str, object]) -> tuple[str, ...]:
    """The files that say something else, were added or are gone."""
    return tuple(
        file
        for file in sorted({*before, *after})
        if (file in before) != (file in after)
        or canonical(plain(before[file])) != canonical(plain(after[file]))
    )


def file_diff(before: object, after: object) -> tuple[DiffLine, ...]:
    """The lines that differ, with some around them; None on the side where there is no such file."""
    old, new = _dated(plain(before)), _dated(plain(after))
    was, now = ([] if side is None else yaml_text(side).splitlines() for side in (_ordered(old, new), new))
    kinds: Mapping[str, Literal["place", "same", "removed", "added"]] = {
        "@": "place",
        " ": "same",
        "-": "removed",
        "+": "added",
    }
    lines = list(difflib.unified_diff(was, now, n=CONTEXT, lineterm=""))[2:]
    return tuple(DiffLine(kinds[line[0]], line if line[0] == "@" else line[1:]) for line in lines)


def yaml_text(data: object) -> str:
    """Plain data as YAML that reads back as the same."""
    writer, text = YAML(pure=True), StringIO()
    writer.Representer = _Exact
    writer.default_flow_style = False
    writer.allow_unicode = True
    writer.width = 100
    writer.dump(data, text)
    return text.getvalue()


class _Exact(RoundTripRepresenter):
    """Writes Decimals digit by digit."""


def _number(writer: _Exact, number: Decimal) -> ScalarNode:
    text = f"{number.normalize():f}"
    kind = "float" if "." in text else "int"
    return writer.represent_scalar(f"tag:yaml.org,2002:{kind}", text)


_Exact.add_representer(Decimal, _number)


def _dated(data: object) -> object:
    """Days as days on both sides: one that was kept as JSON is a text by now."""
    match data:
        case dict():
            return {key: _dated(value) for key, value in data.items()}
        case list():
            return [_dated(value) for value in data]
        case str() if _DATE.fullmatch(data):
            try:
                return date.fromisoformat(data)
            except ValueError:
                return data
        case _:
            return data


def _ordered(old: object, new: object) -> object:
    """`old` with the keys in the order of `new`, those that it alone has at the end."""
    if isinstance(old, dict) and isinstance(new, dict):
        keys = [*(key for key in new if key in old), *(key for key in old if key not in new)]
        return {key: _ordered(old[key], new.get(key)) for key in keys}
    if isinstance(old, list) and isinstance(new, list):
        rest = old[len(new) :]
        return [*(_ordered(was, now) for was, now in zip(old, new, strict=False)), *rest]
    return old
