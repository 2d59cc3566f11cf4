"""YAML changed where its content changed, and nowhere else."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from triage.rulebook_care.editing.files import WorkFolder
from triage.rulebook_care.editing.saving import save_changed, with_data
from triage.values.plain_data import canonical
from triage.values.yaml_source import read_yaml

TABLE = """\
# Who may spend what.
id: nte
inputs: [contractor]   # one column
rows:
  - {when: {contractor: '"a"'}, then: {amount: 400.00}}   # agreed in spring
  - {when: {contractor: '"b"'}, then: {amount: 50.00}}
  # the rest
  - {then: {amount: 20.00}}
source: >-
  a long story,
  told in two lines
"""


def changed(edit: object) -> str:
    data = read_yaml(TABLE.encode(), "nte.yml").data
    assert callable(edit)
    edit(data)
    text = with_data(TABLE, data, "nte.yml")
    assert canonical(read_yaml(text.encode(), "nte.yml").data) == canonical(data)
    return text


def test_like_content_gives_the_very_same_text() -> None:
    assert changed(lambda data: None) == TABLE
    assert changed(lambda data: data["rows"][0]["then"].update(amount=Decimal("400"))) == TABLE


def test_a_number_keeps_its_decimal_places() -> None:
    found = changed(lambda data: data["rows"][1]["then"].update(amount=Decimal("425")))
    assert found == TABLE.replace("amount: 50.00", "amount: 425.00")


def test_a_new_row_is_written_like_its_neighbor_and_comments_stay() -> None:
    row = {"when": {"contractor": '"c"'}, "then": {"amount": Decimal("31.5")}}
    found = changed(lambda data: data["rows"].insert(1, row))
    assert """  - {when: {contractor: '"c"'}, then: {amount: 31.50}}\n""" in found
    assert [line for line in found.splitlines() if "#" in line] == [
        line for line in TABLE.splitlines() if "#" in line
    ]


def test_a_row_taken_out_leaves_the_others_as_they_are() -> None:
    found = changed(lambda data: data["rows"].pop(1))
    left = [line for line in found.splitlines() if "amount" in line]
    assert left == [line for line in TABLE.splitlines() if "amount" in line and '"b"' not in line]


def test_keys_come_and_go() -> None:
    found = changed(lambda data: (data.pop("source"), data.update(title="Limit: new"))[0])
    assert "told in two lines" not in found
    assert "title: 'Limit: new'\n" in found


@pytest.fixture
def folder(tmp_path: Path) -> WorkFolder:
    (tmp_path / "limits").mkdir()
    (tmp_path / "limits/nte.yml").write_text(TABLE)
    return WorkFolder(tmp_path)


def test_files_are_made_changed_and_taken_out(folder: WorkFolder) -> None:
    save_changed(folder, {"limits/nte.yml": None, "limits/new.yml": {"id": "new", "rows": []}})
    assert folder.paths() == ("limits/new.yml",)
    assert folder.read("limits/new.yml").text == "id: new\nrows: []\n"


def test_a_file_that_is_gone_already_need_not_be_taken_out(folder: WorkFolder) -> None:
    save_changed(folder, {"limits/other.yml": None})
    assert folder.paths() == ("limits/nte.yml",)
