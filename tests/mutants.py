"""Mutation runs: small faults are put into a package one by one, and the share that tests find is printed.

    python -m tests.mutants                              every package of TESTS; hours
    python -m tests.mutants triage/repairs               one of them, or a package or module within one
    python -m tests.mutants --sample 300 --seed 1        300 faults drawn over them all; an hour or so

It takes the extra `mutation` (mutmut). Each run goes on in a copy under `var/mutants`, where a run that was
stopped is taken up again; a change to the code there takes the faults of the functions changed anew. mutmut
leaves out functions with decorators (properties, caches) and what stands outside of functions. Every fault
is tried in a fresh fork, so that no cache filled before hides it: on the tests of its own module first, then
on the others that reach it, the quick ones first, until one fails. Ends with 1 where fewer than LEAST_FOUND
are found, and prints those that are not; `mutmut show NAME` in the copy prints one. A sample is the same for
the same seed and code, and its share stands with Wilson's 95 % interval.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import Phase, settings

from tests import ROOT
from triage.repairs.statistics import wilson

LEAST_FOUND = 0.90
COPIED = ("triage", "api", "tests", "rules", "demo", "README.md", "DEVELOPERS.md")
FOUND = ("killed", "timeout", "segfault")
TRIED = (*FOUND, "survived", "no tests")
TESTS: Mapping[str, tuple[str, ...]] = {
    "triage/decide/spending": (
        "tests/triage/decide/spending",
        "tests/triage/repairs",
        "tests/api/v1/test_repairs.py",
    ),
    "triage/decide/causes": ("tests/triage/decide/causes",),
    "triage/decide": ("tests/triage/decide", "tests/triage/rulebook/test_validity.py"),
    "triage/repairs": (
        "tests/triage/repairs",
        "tests/triage/service/test_repairs.py",
        "tests/triage/service/test_two_people.py",
        "tests/api/v1/test_exports.py",
        "tests/api/v1/test_numbers.py",
    ),
    "triage/service": ("tests/triage/service", "tests/api/v1"),
}
"""The tests that a package's faults are tried on: few, since each fault runs all that reach it.

What is named here apart, such as `triage/decide/causes`, is no part of the package around it.
"""

HOOKS = "from tests.mutants import pytest_collection_modifyitems, pytest_configure  # noqa: F401"
SETTINGS = """
[tool.pytest.ini_options]
addopts = "-q --strict-markers --strict-config -p no:cacheprovider -m 'not postgresql'"
markers = ["nightly: long runs", "browser: drives a real Chromium", "postgresql: takes its server"]

[tool.mutmut]
source_paths = ["triage"]
only_mutate = {only}
do_not_mutate = {apart}
also_copy = {copied}
pytest_add_cli_args_test_selection = {tests}
process_isolation = "forkserver"
timeout_multiplier = 10.0
timeout_constant = 10.0
track_dependencies = false
use_git_change_detection = false
"""


def pytest_configure() -> None:
    """A fault that random cases find need not be found at its smallest."""
    settings.register_profile("mutants", phases=[Phase.explicit, Phase.generate])
    settings.load_profile("mutants")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Puts the tests of the fault's own module first, then the quick ones.

    Without a fault one test is enough: that all of them pass was seen when their times were taken.
    """
    fault, stats = os.environ.get("MUTANT_UNDER_TEST"), Path("mutmut-stats.json")
    if not stats.exists():
        return
    seconds = json.loads(stats.read_text(encoding="utf-8"))["duration_by_test"]
    folder, _, name = (fault or "").partition(".x")[0].replace(".", "/").rpartition("/")
    own = f"tests/{folder}/test_{name}.py::"
    items.sort(key=lambda item: (not item.nodeid.startswith(own), seconds.get(item.nodeid, 0.0)))
    if fault == "":
        del items[1:]


@dataclass(frozen=True, slots=True)
class Score:
    """How many faults were tried and found; `missed` are mutmut's names of the others, and their fate."""

    tried: int
    found: int
    missed: tuple[str, ...]

    @property
    def share(self) -> float:
        return self.found / self.tried if self.tried else 0.0

    def __str__(self) -> str:
        low, high = wilson(self.found, self.tried)
        return f"{self.found} of {self.tried} faults found, {self.share:.1%} ({low:.1%} to {high:.1%})"


def run(target: str, folder: Path, chosen: Collection[str] = ()) -> Score:
    """Tries the faults, or those chosen, of a package or module (such as `triage/repairs`) in `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.rmtree(folder / name, ignore_errors=True)
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copyfile(source, folder / name)
    (folder / "conftest.py").write_text(HOOKS + "\n", encoding="utf-8")
    only = sorted({_module(name) for name in chosen}) or [target if target.endswith(".py") else f"{target}/*"]
    copied = [name for name in (*COPIED, "conftest.py") if name not in ("triage", "tests")]
    lists = {"only": only, "apart": _apart(target), "copied": copied, "tests": _tests_of(target)}
    text = SETTINGS.format(**{name: json.dumps(items) for name, items in lists.items()})
    (folder / "pyproject.toml").write_text(text, encoding="utf-8")
    _mutmut(folder, "run", "--max-children", "1", *chosen)
    return score(folder, chosen)


def score(folder: Path, chosen: Collection[str] = ()) -> Score:
    """What the run in `folder` has found so far; of those chosen only, where some are."""
    lines = _mutmut(folder, "results", "--all", "true", quiet=True).splitlines()
    fates = dict(line.strip().rsplit(": ", 1) for line in lines if ": " in line)
    fates = {name: fate for name, fate in fates.items() if fate in TRIED and name in (chosen or fates)}
    missed = tuple(f"{name}: {fate}" for name, fate in fates.items() if fate not in FOUND)
    return Score(len(fates), len(fates) - len(missed), missed)


def faults_of(target: str, scratch: Path) -> list[str]:
    """mutmut's names of every fault of a package or module; `scratch` is a folder for its settings."""
    from mutmut.mutation.file_mutation import mutate_file_contents
    from mutmut.utils.format_utils import get_mutant_name

    scratch.mkdir(parents=True, exist_ok=True)
    (scratch / "pyproject.toml").write_text('[tool.mutmut]\nsource_paths = ["triage"]\n', encoding="utf-8")
    apart = tuple(each.removesuffix("*") for each in _apart(target))
    faults = []
    for path in [ROOT / target] if target.endswith(".py") else sorted((ROOT / target).rglob("*.py")):
        within = path.relative_to(ROOT)
        if not str(within).startswith(apart or "/"):
            with contextlib.chdir(scratch):
                made = mutate_file_contents(str(within), path.read_text(encoding="utf-8")).mutant_names
            faults += [get_mutant_name(within, name) for name in made]
    return faults


def _module(fault: str) -> str:
    return fault.partition(".x")[0].replace(".", "/") + ".py"


def _tests_of(target: str) -> tuple[str, ...]:
    return next(tests for package, tests in TESTS.items() if f"{target}/".startswith(f"{package}/"))


def _apart(target: str) -> list[str]:
    return [f"{package}/*" for package in TESTS if package.startswith(f"{target}/")]


def _mutmut(folder: Path, *arguments: str, quiet: bool = False) -> str:
    command = [sys.executable, "-m", "mutmut", *arguments]
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    output = subprocess.PIPE if quiet else None
    done = subprocess.run(command, cwd=folder, env=environment, stdout=output, text=True, check=True)
    return done.stdout or ""


def _run_of(target: str, chosen: Collection[str] = ()) -> Score:
    result = run(target, ROOT / "var" / "mutants" / target.replace("/", "-").removesuffix(".py"), chosen)
    print(*result.missed, sep="\n")
    print(f"{target}: {result}", flush=True)
    return result


def _sampled(targets: Sequence[str], size: int, seed: int) -> Score:
    faults = [
        (fault, each) for each in targets for fault in faults_of(each, ROOT / "var" / "mutants" / "names")
    ]
    sample = random.Random(seed).sample(faults, min(size, len(faults)))
    print(f"{len(sample)} of {len(faults)} faults, seed {seed}", flush=True)
    by_target = {each: sorted(fault for fault, of in sample if of == each) for each in targets}
    scores = [_run_of(each, chosen) for each, chosen in by_target.items() if chosen]
    whole = Score(sum(each.tried for each in scores), sum(each.found for each in scores), ())
    print(f"all: {whole}")
    return whole


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants")
    parser.add_argument("targets", nargs="*", help=f"packages or modules within {', '.join(TESTS)}")
    parser.add_argument("--sample", type=int, metavar="N", help="only N faults, drawn over all of them")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    asked = parser.parse_args(arguments)
    for target in asked.targets:
        if not f"{target}/".startswith(tuple(f"{each}/" for each in TESTS)):
            parser.error(f"{target} is not within {', '.join(TESTS)}")
    targets = asked.targets or list(TESTS)
    scores = (
        _sampled(targets, asked.sample, asked.seed) if asked.sample else [_run_of(each) for each in targets]
    )
    return int(any(score.share < LEAST_FOUND for score in scores))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
