"""Drafts do not apply, what is retired no longer does, and nothing live hangs on either."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.triage.builders import cause, check, evidence, fact, minimal_files
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.rulebook.reading.reader import rulebook_from_data
from triage.values.errors import RulebookError

NOW = datetime(2026, 3, 2, 10, tzinfo=UTC)


def with_status(file: str, status: str, **more: object) -> dict[str, object]:
    files = minimal_files()
    files[file] = {**files[file], "status": status, **more}  # type: ignore[dict-item]
    return files


@pytest.mark.parametrize("status", ["draft", "retired"])
def test_a_check_that_is_not_live_is_in_no_plan(status):
    report = {"symptoms": ["not_freezing"], "answers": {"filter_days": 40}}

    def plan(files: dict[str, object]) -> list[str]:
        rulebook = rulebook_from_data(files)
        engine = compile_rulebook(rulebook, "plain")
        inputs = read_inputs(report, rulebook, NOW, lambda _: None, None)
        return [step.check for step in decide_inputs(rulebook, engine, inputs).plan]

    assert "rinse-filter" in plan(minimal_files())
    assert "rinse-filter" not in plan(with_status("checks/rinse-filter.yml", status))


def test_a_retired_symptom_is_not_taken_in_a_report():
    files = with_status("symptoms/leaking.yml", "retired")
    files["checks/reseat-seal.yml"] |= {"status": "retired"}  # type: ignore[operator]
    rulebook = rulebook_from_data(files)
    assert "leaking" not in rulebook.symptoms
    assert rulebook.set_aside == {"symptoms": {"leaking"}, "checks": {"reseat-seal"}}


@pytest.mark.parametrize("status", ["draft", "retired"])
@pytest.mark.parametrize(
    ("file", "name", "where"),
    [
        ("causes/dirty_filter.yml", 'the cause "dirty_filter"', "symptoms/not_freezing.yml"),
        ("facts/fill_level.yml", 'the fact "fill_level"', "evidence/fill-low.yml"),
        ("symptoms/leaking.yml", 'the symptom "leaking"', "checks/reseat-seal.yml"),
    ],
)
def test_nothing_live_hangs_on_what_is_not_live(status, file, name, where):
    with pytest.raises(RulebookError) as raised:
        rulebook_from_data(with_status(file, status))
    said = [each for each in raised.value.problems if each.file == where]
    assert name in said[0].message
    assert f"is {status} by {file}" in said[0].message


def test_drafts_may_look_at_drafts():
    files = minimal_files(
        {
            "facts/hums.yml": fact("hums", "flag", status="draft"),
            "causes/loose.yml": cause("loose") | {"status": "draft"},
            "symptoms/humming.yml": {
                "id": "humming", "title": "Humming", "status": "draft", "source": "our estimate",
                "shares": {"loose": 5, "other": 5},
            },
            "checks/press.yml": check("press", {"symptom": '"humming"'}, {"loose": 0.5}, status="draft"),
            "evidence/hums.yml": evidence(
                "hums", {"hums": True}, {"hums": True}, {"hums": False}, {"loose": 0.6, "others": 0.2}
            ) | {"status": "draft"},
        }
    )  # fmt: skip
    rulebook = rulebook_from_data(files)
    assert rulebook.set_aside["causes"] == {"loose"}
    files["evidence/hums.yml"] |= {"status": "live"}  # type: ignore[operator]
    with pytest.raises(RulebookError, match="make it live there, or this a draft"):
        rulebook_from_data(files)


def test_a_name_that_leads_nowhere_says_how_to_be_rid_of_it():
    files = minimal_files({"causes/compressor_fault.yml": None})
    with pytest.raises(RulebookError, match="retire causes compressor_fault"):
        rulebook_from_data(files)
