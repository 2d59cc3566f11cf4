"""Severities, silencing with a reason, order and place of findings."""

from __future__ import annotations

import json

from tests.triage.builders import check, fact, minimal_files, minimal_rulebook
from tests.triage.rulebook_care.lint.linted import clean_files, evidence_file, findings
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.lint.findings import CODES, SEVERITIES, counts, located
from triage.rulebook_care.lint.lint import has_errors, lint

REASON = "Wanted: the second rule is on trial."
FULL = evidence_file("full", {"fill_level": "> 90"}, low_fill=0.05)


def test_every_code_has_a_severity_and_a_sentence():
    for code, about in CODES.items():
        assert about.severity in SEVERITIES, code
        assert about.means.endswith("."), code


def test_a_silenced_finding_keeps_its_reason_and_is_no_error():
    rulebook = minimal_rulebook(
        {**clean_files(), "evidence/full.yml": {**FULL, "lint_off": {"counted-twice": REASON}}}
    )
    (twice,) = lint(rulebook)
    assert (twice.code, twice.silenced) == ("counted-twice", REASON)
    assert not has_errors([twice])
    assert counts([twice]) == {"error": 0, "warning": 0, "note": 0}


def test_facts_checks_causes_and_tables_are_silenced_in_their_own_files():
    color = fact("color", "text", lint_off={"fact-unused": "It is shown to the technician."})
    never = check("never", {"fill_level": "> 100"}, {"low_fill": 0.5}, lint_off={"never-fires": "For later."})
    found = findings({"facts/color.yml": color, "checks/never.yml": never})
    assert {each.code: each.silenced for group in found.values() for each in group} == {
        "fact-unused": "It is shown to the technician.",
        "never-fires": "For later.",
    }


def test_silencing_what_is_not_there_is_a_note_and_what_does_not_exist_a_warning():
    off = {"covered": "x", "conted-twice": "y"}
    rule = evidence_file("hums", {"hums": True}, compressor_fault=0.6, lint_off=off)
    found = findings({"evidence/hums.yml": rule})
    (unused,) = found["silence-unused"]
    assert (unused.severity, unused.path) == ("note", ("lint_off", "covered"))
    (unknown,) = found["silence-unknown"]
    assert "counted-twice" in unknown.fix


def test_a_silence_in_one_file_does_not_reach_another():
    other = evidence_file("hums", {"hums": True}, compressor_fault=0.6, lint_off={"counted-twice": REASON})
    found = findings({"evidence/full.yml": FULL, "evidence/hums.yml": other})
    assert [each.silenced for each in found["counted-twice"]] == [None]


def test_findings_are_located_in_the_files_errors_first(tmp_path):
    files = minimal_files(
        {**clean_files(), "evidence/full.yml": FULL, "facts/color.yml": fact("color", "text")}
    )
    for name, data in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(json.dumps(data, indent=1))
    found = located(lint(read_rulebook(tmp_path)), tmp_path)
    assert [(each.code, each.severity) for each in found] == [
        ("counted-twice", "error"),
        ("fact-unused", "note"),
    ]
    lines = (tmp_path / found[0].file).read_text().splitlines()
    assert found[0].line is not None
    assert "fill_level" in lines[found[0].line - 1]
    assert str(found[0]).startswith(
        f"{found[0].file}:{found[0].line}:{found[0].column}: error counted-twice: "
    )


def test_without_files_a_finding_has_a_path_and_no_line():
    (twice,) = findings({"evidence/full.yml": FULL})["counted-twice"]
    assert (twice.line, twice.path, twice.where) == (None, ("when", "fill_level"), twice.file)


def test_the_same_rulebook_gives_the_same_findings_in_the_same_order():
    overrides = {"evidence/full.yml": FULL, "facts/color.yml": fact("color", "text"), "policy/foot.yml": None}
    once, again = (lint(minimal_rulebook({**clean_files(), **overrides})) for _ in range(2))
    assert once == again
    assert len(once) == 3
