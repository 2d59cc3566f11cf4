"""A failing case of a list of words is told where it stands, and a file that is not edited is judged once."""

from __future__ import annotations

import shutil

from tests import RULES
from triage.rulebook_care.editing import check
from triage.rulebook_care.editing.check import FolderCheck

TEXT = b"""\
id: odd
title: Odd
symptom: not_freezing
en:
  - odd thing
es:
  - cosa rara
source: common practice, no source
cases:
  - {said: "an odd thing", heard: true}
  - {said: "an odd thing again", heard: false}
"""


def test_a_case_of_words_that_fails_is_told_where_it_stands(tmp_path):
    shutil.copytree(RULES, tmp_path / "rules")
    run = FolderCheck(tmp_path / "rules").run_cases("words/odd.yml", TEXT)
    assert run.rule_cases == 2
    (failed,) = [each for each in run.failures if each.file == "words/odd.yml"]
    assert (failed.case, failed.line) == ("odd", 11)
    assert failed.message == 'case 2: "an odd thing again" should not be heard'


def test_a_file_that_is_not_edited_is_told_the_same_without_being_judged_again(tmp_path, monkeypatch):
    shutil.copytree(RULES, tmp_path / "rules")
    file = "rulebook.yml"
    path = tmp_path / "rules" / file
    path.write_bytes(path.read_bytes().replace(b"near_certain: 0.9", b"near_certain: 0.999"))
    folder, times = FolderCheck(tmp_path / "rules"), []
    real = check.lint
    monkeypatch.setattr(check, "lint", lambda rulebook: times.append(rulebook) or real(rulebook))
    first = folder.check(file, path.read_bytes())
    assert {each.code for each in first.findings} == {"absurd-number"}
    assert first.findings[0].line is not None
    assert folder.check(file, path.read_bytes() + b"# the same\n") == first
    assert len(times) == 1
    edited = folder.check(file, path.read_bytes().replace(b"0.999", b"0.9"))
    assert (edited.findings, len(times)) == ((), 2)
