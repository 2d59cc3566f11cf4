"""`barrelwise serve` as a process of its own, beside a folder that must not serve."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.triage.cli.test_main import here, write_rulebook
from tests.triage.rulebook_care.release.test_publishing import wide_rule
from tests.triage.services import rulebook_files
from triage.cli import main as command_line
from triage.cli.shown.opened import opened_service
from triage.logic.engine_checked import engine_note

__all__ = ["here"]

PATIENCE_SECONDS = 120
"""Only a broken test waits so long."""


def too_wide(folder: Path) -> None:
    rule = {**wide_rule("wide", 0), "when": {"any_of": [{"fill_level": level / 10} for level in range(150)]}}
    write_rulebook(folder, rulebook_files(**{"evidence/wide.yml": rule}))


def nested_too_deep(folder: Path) -> None:
    write_rulebook(folder, rulebook_files(**{"evidence/deep.yml": wide_rule("deep", 60)}))


def broken(folder: Path) -> None:
    write_rulebook(folder, rulebook_files())
    (folder / "causes" / "half.yml").write_text("id: half\ntitle: [\n")


Hostile = Callable[[Path], None]
HOSTILE = [
    pytest.param(
        too_wide,
        'rule "wide" has more than 100 alternatives',
        marks=pytest.mark.skipif(engine_note() is not None, reason="the plain engine takes any width"),
    ),
    (nested_too_deep, "nested more than"),
    (broken, "causes/half.yml:"),
]


@contextmanager
def serving(here: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    """`serve` with the folder `hostile` and the engine that serves by default."""
    environment = {
        **os.environ,
        "PYTHONPATH": str(Path(command_line.__file__).parents[2]),
        "BARRELWISE_RULEBOOK": "hostile",
        "BARRELWISE_ENGINE": "checked",
    }
    with subprocess.Popen(
        [sys.executable, "-m", "triage", "serve", "--port", str(port)],
        cwd=here,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            yield process
        finally:
            process.terminate()
            process.wait(PATIENCE_SECONDS)


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def said_until_it_listens(process: subprocess.Popen[str]) -> str:
    """What it says on stderr up to "serving on", which it says when it listens."""
    assert process.stderr is not None
    said = ""
    for line in process.stderr:
        said += line
        if line.startswith("serving on"):
            return said
    raise AssertionError(f"it ended without serving: {said}")


def health(port: int) -> dict[str, object]:
    """What the server says of itself."""
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz") as response:
        found: dict[str, object] = json.load(response)
        return found


@pytest.mark.parametrize(("hostile", "says"), HOSTILE)
def test_on_an_empty_database_a_folder_that_is_not_good_ends_serve_with_the_reason(
    here: Path, hostile: Hostile, says: str
) -> None:
    hostile(here / "hostile")
    with serving(here, free_port()) as process:
        out, err = process.communicate(timeout=PATIENCE_SECONDS)
    assert (process.returncode, out) == (2, "")
    assert "the rulebook in hostile was tried and may not serve; nothing was changed" in err
    assert says in err
    assert "Traceback" not in err


@pytest.mark.parametrize(("hostile", "says"), HOSTILE)
def test_with_a_live_version_serve_goes_on_with_it_and_says_so(
    here: Path, hostile: Hostile, says: str
) -> None:
    with opened_service() as service:  # puts the folder `rules` in force
        live = service.rulebook.version
    hostile(here / "hostile")
    port = free_port()
    with serving(here, port) as process:
        err = said_until_it_listens(process)
        found = health(port)
        process.terminate()
        err += process.communicate(timeout=PATIENCE_SECONDS)[1]
    assert found["rulebook"] == live
    assert f"rulebook {live}" in err
    assert "the rulebook in hostile " in err
    assert "is another, not live" in err or "cannot be read" in err
    assert "Traceback" not in err
    assert process.returncode == 0
