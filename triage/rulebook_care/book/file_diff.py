"""Two rulebooks' files side by side as text: what `diff` shows, on data that has no comments.

A kept rulebook is data, so both sides are written out anew in one and the same way: the keys in the order
they have now, numbers without idle zeros. What differs then is a difference in what the file says.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import StringIO
from typing import Literal

from ruamel.yaml import YAML
from ruamel.yaml.nodes import ScalarNode
from ruamel.yaml.representer import RoundTripRepresenter

from triage.values.plain_data import canonical, plain

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
