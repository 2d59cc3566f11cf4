"""What a wheel holds runs from an empty folder; and what is set up where no C compiler is."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pytest

from tests import ROOT, RULES
from tests.api.test_serve import ended, free_port
from triage.rulebook.reading.reader import read_rulebook

FAKE_PYTHON = """#!/bin/sh
case "$*" in
*sys.version_info*) echo 3.11 ;;
--version) echo "Python 3.11" ;;
"-m venv "*) mkdir -p "$3/bin" && cp "$0" "$3/bin/python" ;;
*durable*) echo "error: command 'cc' failed" >&2; exit 1 ;;
*) echo "$*" >>"$ASKED" ;;
esac
"""
"""Stands for a Python that has no compiler beside it."""


Command = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The packages of a wheel made now, without those it depends on."""
    made, site = tmp_path_factory.mktemp("wheel"), tmp_path_factory.mktemp("site")
    source = tmp_path_factory.mktemp("source")  # a build writes beside what it reads
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, source)
    for name in ("triage", "api", "rules"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    subprocess.run([*pip, "wheel", "--no-deps", "-w", str(made), str(source)], check=True)
    (wheel,) = made.glob("barrelwise-*.whl")
    subprocess.run([*pip, "install", "--no-deps", "--target", str(site), str(wheel)], check=True)
    return site


@pytest.fixture
def command(installed: Path, tmp_path: Path) -> Command:
    """Starts a command of the installed program in an empty folder."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("BARRELWISE_")}

    def start(*arguments: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-m", "triage", *arguments],
            cwd=tmp_path, env=kept | {"PYTHONPATH": str(installed)}, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip

    return start


def test_a_wheel_decides_from_an_empty_folder_by_the_rulebook_inside(
    command: Command, installed: Path
) -> None:
    assert read_rulebook(installed / "triage" / "default_rules").version == read_rulebook(RULES).version
    out, err = command("triage", str(ROOT / "demo" / "readme-report.json"), "--json").communicate()
    decision = json.loads(out)
    assert (decision["outcome"], decision["rulebook"]) == ("fix_in_store", read_rulebook(RULES).version)
    assert "Traceback" not in err


def test_a_wheel_serves_from_an_empty_folder(command: Command) -> None:
    port = free_port()
    with ended(command("serve", "--port", str(port), "--workers", "1")) as process:
        assert process.stderr is not None
        said = next(line for line in process.stderr if line.startswith("serving on"))
        with urllib.request.urlopen(f"http://{said.split('//')[1].strip()}/healthz") as answer:
            health = json.load(answer)
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in") as answer:
            page = answer.read().decode()
    assert health["rulebook"] == read_rulebook(RULES).version
    assert '<link rel="stylesheet"' in page


def test_the_rulebook_inside_is_copied_out_to_be_edited(command: Command, tmp_path: Path) -> None:
    made = command("rulebook", "copy", "mine")
    assert made.communicate() == ("", "BARRELWISE_RULEBOOK=mine makes it the one at hand\n")
    assert read_rulebook(tmp_path / "mine").version == read_rulebook(RULES).version
    again = command("rulebook", "copy", "mine")
    said = again.communicate()[1]
    assert (again.returncode, said) == (2, "mine: it is there already; name a new folder\n")


def test_set_up_goes_on_without_a_compiler_and_says_so(tmp_path: Path) -> None:
    (tmp_path / "demo").mkdir()
    for name in ("demo/setup.sh", "demo/constraints.txt", "pyproject.toml"):
        (tmp_path / name).write_text((ROOT / name).read_text())
    python = tmp_path / "python"
    python.write_text(FAKE_PYTHON)
    python.chmod(0o755)
    environment = os.environ | {"PYTHON": str(python), "ASKED": str(tmp_path / "asked")}
    for _ in range(2):  # the second finds everything set up
        done = subprocess.run(
            ["sh", "-euc", '. ./demo/setup.sh; set_up "test"; echo "$BIN"'],
            cwd=tmp_path, env=environment, capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert done.stdout.endswith("/.venv-3.11/bin\n")
        assert ("plain engine alone" in done.stderr) == (not (tmp_path / "seen").exists())
        (tmp_path / "seen").touch()
    assert (tmp_path / "asked").read_text() == "-m pip install --quiet --editable .[test]\n"
    assert "cc" in (tmp_path / ".venv-3.11" / "durable.log").read_text()
