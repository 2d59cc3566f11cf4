"""Which module may import what, and how large a file may grow."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import ROOT

MOST_LINES = 400

ONLY_IN = {
    "durable_rules_engine": ("triage/logic/engine_durable.py",),
    "sqlalchemy": ("triage/store/",),
    "alembic": ("triage/store/",),
    "flask": ("api/",),
    "flask_smorest": ("api/",),
    "marshmallow": ("api/",),
    "werkzeug": ("api/",),
    "waitress": ("api/",),
    "click": ("triage/cli/",),
    "rich": ("triage/cli/",),
    "lxml": ("triage/rulebook_care/dmn/",),
}
"""Package -> the only places that import it."""


def python_files() -> list[Path]:
    return sorted(path for folder in ("triage", "api") for path in (ROOT / folder).rglob("*.py"))


def imported(path: Path) -> Iterator[tuple[str, ast.AST]]:
    """Every module a file imports, wherever in the file it does."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module, node


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("package", ONLY_IN)
def test_a_heavy_import_stays_in_its_place(package: str) -> None:
    importers = {
        name_of(path)
        for path in python_files()
        for module, _ in imported(path)
        if module.split(".")[0] == package
    }
    assert importers, f"nothing imports {package}; is the rule out of date?"
    assert {name for name in importers if not name.startswith(ONLY_IN[package])} == set()


def test_the_core_imports_the_api_only_inside_the_serve_command() -> None:
    importers = {
        (name_of(path), node.col_offset > 0)
        for path in python_files()
        if name_of(path).startswith("triage/")
        for module, node in imported(path)
        if module.split(".")[0] == "api"
    }
    assert importers == {("triage/cli/commands/serve.py", True)}


def test_the_environment_is_read_in_one_place() -> None:
    readers = {
        name_of(path)
        for path in python_files()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in ("environ", "getenv")
    }
    # The start of the command line sets what numpy reads while it is imported; it asks nothing.
    assert readers - {"triage/__main__.py"} == {"triage/config.py"}


def reached_from(start: str) -> set[str]:
    """Every module that is imported on the way from a module of this repository, itself included."""
    reached: set[str] = set()
    waiting = [start]
    while waiting:
        module = waiting.pop()
        if module in reached:
            continue
        reached.add(module)
        path = ROOT / (module.replace(".", "/") + ".py")
        if not path.is_file():
            path = ROOT / module.replace(".", "/") / "__init__.py"
        if path.is_file() and module.split(".")[0] in ("triage", "api"):
            waiting += [name for name, _ in imported(path)]
    return reached


@pytest.mark.parametrize(
    "start", ["triage.decide.pipeline", "triage.inputs.report", "triage.rulebook.reading.reader"]
)
def test_the_core_reaches_no_database_no_door_and_no_setting(start: str) -> None:
    reached = reached_from(start)
    assert "triage.rulebook.model" in reached
    forbidden = (
        "triage.store",
        "triage.cli",
        "triage.config",
        "triage.service.service",
        "api",
        "sqlalchemy",
        "flask",
    )
    assert {name for name in reached if name in forbidden or name.startswith("triage.store.")} == set()


@pytest.mark.parametrize("path", python_files(), ids=name_of)
def test_a_file_stays_readable_in_one_sitting(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize(
    "package",
    sorted({path.parent for path in python_files() if (path.parent / "__init__.py").is_file()}),
    ids=name_of,
)
def test_a_package_says_what_lives_in_it(package: Path) -> None:
    assert ast.get_docstring(ast.parse((package / "__init__.py").read_text(encoding="utf-8")))
