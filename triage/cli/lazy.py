"""A group of commands that imports each only when it is called: none waits for the libraries of another."""

import ast
from collections.abc import Mapping
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click


class LazyGroup(click.Group):
    """`places` says where each command is: "module:name"."""

    def __init__(self, *args: Any, places: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = places

    def list_commands(self, context: click.Context) -> list[str]:
        return sorted(self.places)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        place = self.places.get(name)
        if place is None:
            return None
        module, _, attribute = place.partition(":")
        found: click.Command = getattr(import_module(module), attribute)
        return found

    def format_commands(self, context: click.Context, formatter: click.HelpFormatter) -> None:
        """The list in the help, read from the docstrings without importing anything."""
        width = formatter.width - 6 - max(map(len, self.places))
        rows = [(name, _short_help(self.places[name], width)) for name in self.list_commands(context)]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


def _short_help(place: str, width: int) -> str:
    module, _, name = place.partition(":")
    spec = find_spec(module)
    assert spec is not None
    assert spec.origin is not None
    tree = ast.parse(Path(spec.origin).read_text(encoding="utf-8"))
    (function,) = [each for each in tree.body if isinstance(each, ast.FunctionDef) and each.name == name]
    return click.Command(name, help=ast.get_docstring(function)).get_short_help_str(width)
