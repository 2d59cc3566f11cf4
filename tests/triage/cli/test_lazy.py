"""The help lists every command in its own words, and none waits for the libraries of another."""

from __future__ import annotations

import subprocess
import sys

import click
import pytest

from tests import ROOT
from triage.cli.lazy import LazyGroup
from triage.cli.main import barrelwise, rulebook

HEAVY = ("numpy", "scipy", "pint", "sqlalchemy", "flask", "ruamel", "lark", "pydantic")


@pytest.mark.parametrize("group", [barrelwise, rulebook])
def test_the_help_says_of_each_command_what_it_says_itself(group: LazyGroup) -> None:
    context = click.Context(group)
    said = " ".join(group.get_help(context).split())
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        assert command.name == name
        assert f"{name} {command.get_short_help_str(30).removesuffix('...')}" in said
    assert group.get_command(context, "nothing") is None


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["rulebook", "--help"], ["nothing"]])
def test_no_library_is_imported_to_say_what_there_is(arguments: list[str]) -> None:
    script = f"""
import sys
from triage.cli.main import run
run({arguments!r})
print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stderr.splitlines()[-1] == "[]"
