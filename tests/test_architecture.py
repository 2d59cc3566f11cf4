"""Which module may import what, and how large a file may grow."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

from tests import ROOT

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "triage", "rules", "api", "tests", "demo"}

MOST_LINES = 300
MOST_MODULES = 14

ORDER = [
    "triage.values",
    "triage.logic",
    "triage.rulebook",
    "triage.rulebook.reading",
    "triage.records",
    "triage.records.installs",
    "triage.schedule",
    "triage.inputs",
    "triage.intake",
    "triage.machine.measures",
    "triage.machine.commissioning",
    "triage.machine.lifecycle",
    "triage.decide.spending",
    "triage.decide.causes",
    "triage.decide",
    "triage.repairs",
    "triage.what_if",
    "triage.store.tables",
    "triage.store",
    "triage.store.copies",
    "triage.rulebook_care.reasoning",
    "triage.rulebook_care.lint",
    "triage.rulebook_care.book",
    "triage.rulebook_care.safety",
    "triage.rulebook_care.editing",
    "triage.rulebook_care.release",
    "triage.rulebook_care.forms",
    "triage.rulebook_care.learning",
    "triage.rulebook_care.dmn",
    "triage.simulation",
    "triage.loading",
    "triage.service",
    "triage.service.outgoing",
    "triage.service.photos",
    "triage.service.fleet",
    "triage.service.installs",
    "api.http",
    "api.v1",
    "api.v1.installs",
    "api.pages",
    "api.help",
    "api.desk",
    "api.field",
    "api.life",
    "api.fleet",
    "api.ops",
    "api",
    "triage.cli.shown",
    "triage.cli.commands",
    "triage.cli.rulebook",
    "triage.cli",
]
"""A package imports from itself and from those before it; imports under TYPE_CHECKING count.

Free are `triage.config` and `triage.__main__`, which stand beside the packages.
"""

ONLY_IN = {
    "durable_rules_engine": ("triage/logic/engine_durable.py",),
    "sqlalchemy": ("triage/store/",),
    "alembic": ("triage/store/",),
    "flask": ("api/",),
    "flask_smorest": ("api/",),
    "marshmallow": ("api/",),
    "werkzeug": ("api/",),
    "waitress": ("api/",),
    "gunicorn": ("api/",),
    "jinja2": ("triage/rulebook_care/book/",),
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


def module_of(path: Path) -> str:
    return name_of(path).removesuffix(".py").removesuffix("/__init__").replace("/", ".")


MODULES = {module_of(path): path for path in python_files() if "migrations" not in path.parts}


def package_of(module: str) -> str | None:
    """The package in ORDER that holds a module."""
    inside = [package for package in ORDER if f"{module}.".startswith(f"{package}.")]
    return max(inside, key=len, default=None)


def imports_of(module: str) -> set[str]:
    """The modules of this repository that a module imports, by whichever way it names them."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(MODULES[module].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{module} imports relatively"
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= (whole & MODULES.keys()) | ({node.module} if whole - MODULES.keys() else set())
    return found & MODULES.keys()


def test_the_top_level_holds_what_it_is_to_hold() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    names = {path.split("/")[0] for path in listed.splitlines()}
    assert {name for name in names if not name.startswith(".")} == TOP


def test_every_package_stands_in_the_order() -> None:
    free = {"triage", "triage.config", "triage.__main__", "triage.machine", "triage.rulebook_care"}
    assert {module for module in MODULES if package_of(module) is None} == free
    assert {package for package in ORDER if package not in MODULES} == set()


@pytest.mark.parametrize("module", sorted(MODULES))
def test_a_module_imports_only_from_packages_before_its_own(module: str) -> None:
    own = package_of(module)
    if own is None:
        return
    later = ORDER[ORDER.index(own) + 1 :]
    assert {name for name in imports_of(module) if package_of(name) in later} == set()


def test_no_modules_import_each_other_in_a_circle() -> None:
    order = TopologicalSorter({module: imports_of(module) for module in MODULES})
    order.prepare()  # raises CycleError, which names the circle
    assert order.is_active()


@pytest.mark.parametrize("folder", sorted({path.parent for path in MODULES.values()}), ids=name_of)
def test_a_folder_holds_no_more_than_one_can_look_over(folder: Path) -> None:
    assert len([path for path in folder.glob("*.py") if path.name != "__init__.py"]) <= MOST_MODULES


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


def test_the_app_starts_without_what_is_slow_to_import() -> None:
    program = "import sys, api.app; print(*{'scipy', 'matplotlib', 'openpyxl'} & sys.modules.keys())"
    found = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == ""


def test_what_charts_take_is_imported_beside_the_requests() -> None:
    program = (
        "import sys, threading, api.pages.charts as charts; before = threading.active_count();"
        "charts.make_ready_aside(); assert threading.active_count() > before;"
        "[one.join() for one in threading.enumerate() if one.daemon];"
        "print(*sorted({'matplotlib', 'scipy.special', 'scipy.stats'} & sys.modules.keys()))"
    )
    found = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert found.stdout.split() == ["matplotlib", "scipy.special"]


def test_the_core_imports_the_api_only_inside_the_commands_that_need_pages() -> None:
    importers = {
        (name_of(path), node.col_offset > 0)
        for path in python_files()
        if name_of(path).startswith("triage/")
        for module, node in imported(path)
        if module.split(".")[0] == "api"
    }
    assert importers == {
        (f"triage/cli/{name}.py", True) for name in ("commands/report", "commands/serve", "rulebook/pages")
    }


@pytest.mark.parametrize(
    "module", sorted(name for name in MODULES if package_of(name) == "api" or name.startswith("api."))
)
def test_the_api_asks_only_the_service(module: str) -> None:
    """It opens no database, and reaches for nothing behind the service."""
    assert {name for name in imports_of(module) if name.startswith("triage.store")} == set()
    reached = {
        node.attr
        for node in ast.walk(ast.parse(MODULES[module].read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute)
        and (node.attr == "store" or (node.attr.startswith("_") and "service" in ast.unparse(node.value)))
    }
    assert reached - {"_service"} == set()


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
