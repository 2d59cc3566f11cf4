"""A failing case of a list of words is told where it stands."""

from __future__ import annotations

import shutil

from tests import RULES
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
