"""Writes changed data into the files of a rulebook's folder: the rest stays to the letter."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from io import StringIO
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq

from triage.rulebook_care.editing.files import WorkFolder
from triage.values.errors import InputError, NotFoundError, Problem
from triage.values.plain_data import canonical
from triage.values.yaml_source import read_yaml

_WIDTH = 4096  # lines that are long stay as they are; those folded stay folded


def save_changed(folder: WorkFolder, changed: Mapping[str, object | None]) -> None:
    """Writes, makes or takes out each file; all texts are made before the first is written.

    Raises InputError where one cannot be written; ChangedOnDisk where one changed meanwhile.
    """
    plans: list[tuple[str, str | None, str | None]] = []
    for path, data in changed.items():
        try:
            there = folder.read(path)
        except NotFoundError:
            there = None
        text = None if data is None else with_data("" if there is None else there.text, data, path)
        plans.append((path, text, None if there is None else there.sha256))
    for path, text, opened in plans:
        if text is not None:
            folder.save(path, text, opened)
        elif opened is not None:
            folder.delete(path, opened)


def with_data(text: str, data: object, file: str) -> str:
    """The YAML text with this plain data in it; the text itself where it says the same already."""
    if text and canonical(read_yaml(text.encode(), file).data) == canonical(data):
        return text
    yaml, out = _yaml(), StringIO()
    try:  # this reader takes less than the one that the program decides by, and raises as it likes
        root = yaml.load(text) if text else CommentedMap()
        yaml.dump(_merged(root, data), out)
        changed = out.getvalue()
        is_right = canonical(read_yaml(changed.encode(), file).data) == canonical(data)
    except Exception:
        is_right = False
    if not is_right:
        raise InputError([Problem("it cannot be changed safely; change it by hand", file=file)])
    return changed


def _yaml() -> YAML:
    yaml = YAML(typ="rt", pure=True)
    yaml.preserve_quotes = True
    yaml.width = _WIDTH
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml


def _merged(node: Any, data: object) -> Any:
    """`node` with the content of `data`; parts that are alike already are left as they are written."""
    if isinstance(node, CommentedMap) and isinstance(data, Mapping):
        for key in [key for key in node if str(key) not in data]:
            del node[key]
        spelled = {str(key): key for key in node}
        for key, value in data.items():
            own = spelled.get(key, key)
            beside = node[list(node)[-1]] if node and isinstance(value, Mapping | list) else None
            node[own] = _merged(node[own], value) if own in node else _fresh(value, beside)
        return node
    if isinstance(node, CommentedSeq) and isinstance(data, list):
        return _merged_list(node, data)
    if _same(node, data):
        return node
    return _fresh(data, node)


def _merged_list(node: CommentedSeq, data: list[object]) -> CommentedSeq:
    """Items stay where they are when the list grows or shrinks in one place."""
    start = 0
    while start < min(len(node), len(data)) and _same(node[start], data[start]):
        start += 1
    end = 0
    while end < min(len(node), len(data)) - start and _same(node[-1 - end], data[-1 - end]):
        end += 1
    old, new = len(node) - start - end, data[start : len(data) - end]
    for index in range(min(old, len(new))):
        node[start + index] = _merged(node[start + index], new[index])
    for _ in range(old - len(new)):
        del node[start + len(new)]
    for index in range(old, len(new)):
        like = node[start + index - 1] if start + index else None
        node.insert(start + index, _fresh(new[index], like))
    return node


def _same(node: object, data: object) -> bool:
    if isinstance(node, Mapping) and isinstance(data, Mapping):
        return {str(key) for key in node} == set(data) and all(
            _same(value, data[str(key)]) for key, value in node.items()
        )
    if isinstance(node, list) and isinstance(data, list):
        return len(node) == len(data) and all(map(_same, node, data))
    if isinstance(node, bool) or isinstance(data, bool):
        return node is data
    if isinstance(node, int | float) and isinstance(data, Decimal):
        return Decimal(repr(float(node))) == data if isinstance(node, float) else node == data
    if isinstance(node, date) or isinstance(data, date):
        return str(node) == str(data)
    return type(data) is not Decimal and node == data


def _fresh(data: object, like: Any = None) -> Any:
    """`data` as nodes to write; in the style of `like`, what stood there or stands beside it."""
    match data:
        case Mapping():
            made = CommentedMap()
            for key, value in data.items():
                made[key] = _fresh(value, like.get(key) if isinstance(like, CommentedMap) else None)
            _take_style(made, like)
            return made
        case list():
            items = CommentedSeq([_fresh(value) for value in data])
            _take_style(items, like)
            return items
        case Decimal():
            places = max(_places(like), -int(data.as_tuple().exponent), 0)
            return YAML(typ="rt", pure=True).load(format(data, f".{places}f"))
        case _:
            return data


def _places(like: object) -> int:
    """Decimal places a number was written with."""
    width, precision = getattr(like, "_width", None), getattr(like, "_prec", None)
    if not isinstance(like, float) or width is None or precision is None or precision < 0:
        return 0
    return max(int(width) - int(precision) - 1, 0)


def _take_style(made: CommentedMap | CommentedSeq, like: Any) -> None:
    if isinstance(like, CommentedMap | CommentedSeq) and type(like) is type(made) and like.fa.flow_style():
        made.fa.set_flow_style()
