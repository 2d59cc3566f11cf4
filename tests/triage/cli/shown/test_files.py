"""A rulebook is tried in a child process before it serves, once for each version."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.triage.cli.test_main import Run, here, run, served
from triage.cli.shown.files import opened_store
from triage.config import read_settings
from triage.rulebook_care.editing.sandbox import Trial
from triage.values.errors import Problem

__all__ = ["here", "run"]

CRASH = Problem("the process that tried the rulebook ended by itself (exit -11)")


def answering(monkeypatch: pytest.MonkeyPatch, trial: Callable[[Path, str], Trial]) -> list[Path]:
    """Puts `trial` in place of the child process, and gives the folders it is asked to try."""
    tried = []

    def try_folder(folder: Path, engine: str) -> Trial:
        tried.append(folder)
        return trial(folder, engine)

    monkeypatch.setattr("triage.cli.shown.files.try_rulebook_folder", try_folder)
    return tried


def live() -> str | None:
    with opened_store(read_settings()) as store, store.read() as work:
        publication = work.rulebooks.live()
    return None if publication is None else publication.version


def test_a_rulebook_that_crashes_its_trial_does_not_serve(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    answering(monkeypatch, lambda folder, engine: Trial((CRASH,)))
    status, out, err = run("serve")
    assert (status, out) == (2, "")
    assert "may not serve" in err
    assert CRASH.message in err
    assert live() is None


def test_a_rulebook_live_is_not_tried_again(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    tried = answering(monkeypatch, lambda folder, engine: Trial(()))
    for _ in range(2):
        served(run, monkeypatch)
    assert len(tried) == 1
    assert live() is not None


def test_the_engine_of_the_settings_is_the_one_tried(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    engines: list[str] = []
    monkeypatch.setenv("BARRELWISE_ENGINE", "plain")
    answering(monkeypatch, lambda folder, engine: engines.append(engine) or Trial(()))
    served(run, monkeypatch)
    assert engines == ["plain"]
