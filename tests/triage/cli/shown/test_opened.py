"""A rulebook is tried in a child process before it serves, once for each version."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.triage.cli.test_main import Run, here, run, served
from triage.cli.shown.opened import opened_store
from triage.config import read_settings
from triage.values.errors import InputError

__all__ = ["here", "run"]

CRASH = (
    "the process trying the rulebook ended by itself "
    "(exit -11: segmentation fault, as where a condition is too wide for the engine)"
)


def answering(monkeypatch: pytest.MonkeyPatch, trial: Callable[[Path, str], None]) -> list[Path]:
    """Puts `trial` in place of the child process, and gives the folders it is asked to try."""
    tried = []

    def try_folder(folder: Path, engine: str) -> None:
        tried.append(folder)
        trial(folder, engine)

    monkeypatch.setattr("triage.cli.shown.opened.try_rulebook_folder", try_folder)
    return tried


def live() -> str | None:
    with opened_store(read_settings()) as store, store.read() as work:
        publication = work.rulebooks.live()
    return None if publication is None else publication.version


def test_a_rulebook_that_crashes_its_trial_does_not_serve(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(folder: Path, engine: str) -> None:
        raise InputError(CRASH)

    answering(monkeypatch, crash)
    status, out, err = run("serve")
    assert (status, out) == (2, "")
    assert "may not serve" in err
    assert CRASH in err
    assert live() is None


def test_a_rulebook_live_is_not_tried_again(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    tried = answering(monkeypatch, lambda folder, engine: None)
    for _ in range(2):
        served(run, monkeypatch)
    assert len(tried) == 1
    assert live() is not None


def test_the_engine_of_the_settings_is_the_one_tried(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    engines: list[str] = []
    monkeypatch.setenv("BARRELWISE_ENGINE", "plain")
    answering(monkeypatch, lambda folder, engine: engines.append(engine))
    served(run, monkeypatch)
    assert engines == ["plain"]
