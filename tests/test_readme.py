"""The README says what the program says."""

from __future__ import annotations

import re

import pytest

from tests.readme import README, ROOT, filled
from triage.cli.main import barrelwise, rulebook


def test_the_readme_is_fresh(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    text = README.read_text(encoding="utf-8")
    assert filled(text) == text, "run `python -m tests.readme`"


def test_every_command_the_readme_names_exists() -> None:
    text = README.read_text(encoding="utf-8")
    named = set(re.findall(r"`barrelwise ([a-z-]+)", text))
    assert named
    assert named <= set(barrelwise.places)
    listed = re.findall(r"`(?:barrelwise )?rulebook ([a-z-]+(?:\\\|[a-z-]+)*)", text)
    assert {name for names in listed for name in names.split("\\|")} == set(rulebook.places)


def test_every_local_file_the_readme_names_exists() -> None:
    for name in re.findall(r"\]\(([^)#:]+)\)", README.read_text(encoding="utf-8")):
        assert (ROOT / name).exists(), name
