"""rules/DMN.md: its example is taken in as it says, and goes out and in again unchanged."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests import RULES
from tests.triage.cli.test_main import write_rulebook
from tests.triage.services import rulebook_files
from triage.cli.main import run
from triage.rulebook.reading.reader import read_with_files
from triage.rulebook_care.dmn.exporting import export_model
from triage.rulebook_care.dmn.importing import import_tables
from triage.rulebook_care.dmn.write import write_model

NOTES = (RULES / "DMN.md").read_text(encoding="utf-8")


def block(language: str) -> str:
    found = re.findall(rf"```{language}\n(.*?)```", NOTES, flags=re.DOTALL)
    assert len(found) == 1
    return str(found[0])


def test_the_example_makes_the_file_it_says_and_comes_back_unchanged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, file = tmp_path / "rules", tmp_path / "ceilings.dmn"
    write_rulebook(folder, rulebook_files())
    shutil.copy(RULES / "DMN.md", folder)  # for people; the reader passes over it
    file.write_text(block("xml"), encoding="utf-8")
    assert run(["rulebook", "tables-in", str(file), str(folder)]) == 0
    assert capsys.readouterr().out == "limits/by_age.yml: By age: new limit table\n"
    assert (folder / "limits/by_age.yml").read_text(encoding="utf-8") == block("yaml")
    rulebook, files = read_with_files(folder)
    again = import_tables(write_model(export_model(rulebook, files)), "again.dmn", files)
    assert (again.changed, again.rulebook.version) == ({}, rulebook.version)
