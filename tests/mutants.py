"""Mutation runs: small faults are put into a package one by one, and the share that tests find is printed.

    python -m tests.mutants                              every package of TESTS; hours
    python -m tests.mutants triage/repairs               one of them, or a package or module within one

It takes the extra `mutation` (mutmut). Each run goes on in a copy under `var/mutants`, where a run that was
stopped is taken up again; a change to the code there takes the faults of the functions changed anew. mutmut
leaves out functions with decorators (properties, caches) and what stands outside of functions. Every fault
is tried in a fresh fork, so that no cache filled before hides it. Ends with 1 where fewer than LEAST_FOUND
are found, and prints those that are not; `mutmut show NAME` in the copy prints one.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests import ROOT

LEAST_FOUND = 0.90
COPIED = ("triage", "api", "tests", "rules", "demo", "README.md", "DEVELOPERS.md")
FOUND = ("killed", "timeout", "segfault")
TESTS: Mapping[str, tuple[str, ...]] = {
    "triage/decide/spending": (
        "tests/triage/decide/spending",
        "tests/triage/repairs",
        "tests/api/v1/test_repairs.py",
    ),
    "triage/decide/causes": ("tests/triage/decide/causes",),
    "triage/decide": ("tests/triage/decide",),
    "triage/repairs": (
        "tests/triage/repairs",
        "tests/triage/service/test_repairs.py",
        "tests/api/v1/test_exports.py",
        "tests/api/v1/test_numbers.py",
    ),
    "triage/service": ("tests/triage/service", "tests/api/v1"),
}
"""The tests that a package's faults are tried on: few, since each fault runs all that reach it.

What is named here apart, such as `triage/decide/causes`, is no part of the package around it.
"""

SETTINGS = """
[tool.pytest.ini_options]
addopts = "-q --strict-markers --strict-config -p no:cacheprovider"
markers = ["nightly: long runs", "browser: drives a real Chromium"]

[tool.mutmut]
source_paths = ["triage"]
only_mutate = {only}
do_not_mutate = {apart}
also_copy = {copied}
pytest_add_cli_args_test_selection = {tests}
process_isolation = "forkserver"
track_dependencies = false
use_git_change_detection = false
"""


@dataclass(frozen=True, slots=True)
class Score:
    """How many faults were tried and found; `missed` are mutmut's names of the others, and their fate."""

    tried: int
    found: int
    missed: tuple[str, ...]

    @property
    def share(self) -> float:
        return self.found / self.tried if self.tried else 0.0


def run(target: str, folder: Path) -> Score:
    """Tries the faults of a package or module (a path such as `triage/repairs`) in `folder`."""
    tests = next(tests for package, tests in TESTS.items() if f"{target}/".startswith(f"{package}/"))
    folder.mkdir(parents=True, exist_ok=True)
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.rmtree(folder / name, ignore_errors=True)
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copyfile(source, folder / name)
    only = [target if target.endswith(".py") else f"{target}/*"]
    apart = [f"{package}/*" for package in TESTS if package.startswith(f"{target}/")]
    copied = [name for name in COPIED if name not in ("triage", "tests")]
    lists = {"only": only, "apart": apart, "copied": copied, "tests": tests}
    settings = SETTINGS.format(**{name: json.dumps(items) for name, items in lists.items()})
    (folder / "pyproject.toml").write_text(settings, encoding="utf-8")
    _mutmut(folder, "run", "--max-children", "1")
    return score(folder)


def score(folder: Path) -> Score:
    """What the run in `folder` has found so far."""
    _mutmut(folder, "export-cicd-stats", quiet=True)
    numbers = json.loads((folder / "mutants" / "mutmut-cicd-stats.json").read_text(encoding="utf-8"))
    results = _mutmut(folder, "results", quiet=True)
    lines = [line.strip() for line in results.splitlines()]
    missed = tuple(line for line in lines if line.endswith((": survived", ": no tests")))
    found = sum(numbers[kind] for kind in FOUND)
    return Score(found + len(missed), found, missed)


def _mutmut(folder: Path, *arguments: str, quiet: bool = False) -> str:
    command = [sys.executable, "-m", "mutmut", *arguments]
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    output = subprocess.PIPE if quiet else None
    done = subprocess.run(command, cwd=folder, env=environment, stdout=output, text=True, check=True)
    return done.stdout or ""


def main(targets: list[str]) -> int:
    known = [target for target in targets if f"{target}/".startswith(tuple(f"{each}/" for each in TESTS))]
    if known != targets:
        print(f"name packages or modules within {', '.join(TESTS)}", file=sys.stderr)
        return 2
    fell_short = False
    for target in targets or list(TESTS):
        result = run(target, ROOT / "var" / "mutants" / target.replace("/", "-").removesuffix(".py"))
        print(*result.missed, sep="\n")
        print(f"{target}: {result.found} of {result.tried} faults found, {result.share:.1%}")
        fell_short = fell_short or result.share < LEAST_FOUND
    return int(fell_short)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
