"""An entry is retired: every place that names it is fixed, or told."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.triage.builders import cause, minimal_files
from tests.triage.rulebook.reading.test_reader import write
from triage.cli.main import barrelwise
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook_care.editing.check import FolderCheck
from triage.rulebook_care.editing.files import WorkFolder
from triage.rulebook_care.editing.retire import Retirement
from triage.rulebook_care.editing.saving import save_changed
from triage.values.errors import InputError, NotFoundError


def retired(folder: Path, kind: str, name: str, overrides: Mapping[str, object] | None = None) -> Retirement:
    write(folder, minimal_files({**(overrides or {})}))
    found = FolderCheck(folder).retirement(kind, name)
    save_changed(WorkFolder(folder), found.files)
    return found


def says(found: Retirement, file: str) -> str:
    return "; ".join(each.says for each in found.touched if each.file == file)


def test_a_retired_cause_leaves_its_calls_to_the_rest_and_what_spoke_of_it_alone(tmp_path):
    found = retired(tmp_path, "causes", "dirty_filter")
    rulebook = read_rulebook(tmp_path)
    assert rulebook.causes["dirty_filter"].status == "retired"
    shares = rulebook.symptoms["not_freezing"].shares
    assert (shares.get("dirty_filter"), shares["other"]) == (None, 42)
    assert rulebook.evidence["filter-overdue"].head.status == "retired"
    assert "rinse-filter" not in rulebook.checks
    assert "its 30 calls are counted to `other`" in says(found, "symptoms/not_freezing.yml")
    assert "`top_cause` is taken out" in says(found, "cases/overdue-filter.yml")


def test_the_last_cause_of_a_symptom_takes_it_along_and_all_that_needs_it(tmp_path):
    found = retired(tmp_path, "causes", "seal_wrong")
    rulebook = read_rulebook(tmp_path)
    assert rulebook.set_aside["symptoms"] == {"leaking"}
    assert rulebook.set_aside["checks"] == {"reseat-seal"}
    assert found.problems == ()


def test_a_retired_fact_takes_the_rules_that_cannot_hold_without_it(tmp_path):
    rule: Any = minimal_files()["evidence/fill-low.yml"]
    either = {"any_of": [{"fill_level": "< 20"}, {"filter_days": "> 90"}]}
    cases = [
        {"facts": {"fill_level": 10}, "fires": True},
        {"facts": {"filter_days": 100}, "fires": True},
        {"facts": {"filter_days": 1, "fill_level": 90}, "fires": False},
        {"facts": {"filter_days": 1}, "fires": False},
    ]
    found = retired(
        tmp_path, "facts", "fill_level", {"evidence/fill-low.yml": {**rule, "when": either, "cases": cases}}
    )
    rulebook = read_rulebook(tmp_path)
    assert rulebook.evidence["fill-half"].head.status == "retired"
    assert rulebook.evidence["fill-low"].head.status == "live"
    assert "what cannot hold without it is taken out" in says(found, "evidence/fill-low.yml")
    assert [case.fires for case in rulebook.evidence["fill-low"].head.cases] == [True, False]


def test_a_fact_that_a_table_decides_by_is_left_to_people(tmp_path):
    found = retired(tmp_path, "facts", "seal_style")
    assert {each.file for each in found.by_hand} == {"limits/standing.yml", "limits/authority.yml"}
    assert found.problems


def test_an_exception_that_goes_is_told(tmp_path):
    rule: Any = minimal_files()["evidence/fill-half.yml"]
    when = {"fill_level": "[20..50)", "none_of": [{"cord_damaged": True}]}
    overrides = {"evidence/fill-half.yml": {**rule, "when": when}}
    found = retired(tmp_path, "facts", "cord_damaged", overrides)
    assert "without it the rule holds more often" in says(found, "evidence/fill-half.yml")


def test_a_retired_symptom_leaves_conditions_that_name_others_too(tmp_path):
    check: Any = minimal_files()["checks/rinse-filter.yml"]
    both = {**check, "when": {"symptom": '"not_freezing","leaking"'}}
    retired(tmp_path, "symptoms", "leaking", {"checks/rinse-filter.yml": both})
    assert "leaking" not in (tmp_path / "checks/rinse-filter.yml").read_text()
    assert "rinse-filter" in read_rulebook(tmp_path).checks


@pytest.mark.parametrize(
    ("kind", "name", "error"),
    [
        ("causes", "dirty_fliter", NotFoundError),
        ("limits", "standing", InputError),
        ("causes", "other", InputError),
    ],
)
def test_what_cannot_be_retired_is_said(tmp_path, kind, name, error):
    write(tmp_path, minimal_files())
    with pytest.raises(error):
        FolderCheck(tmp_path).retirement(kind, name)


def test_the_command_shows_the_places_and_changes_nothing_when_only_asked(tmp_path):
    write(tmp_path, minimal_files({"causes/spare.yml": cause("spare")}))
    before = read_rulebook(tmp_path).version
    command = ["rulebook", "retire", "checks", "rinse-filter", "--rulebook", str(tmp_path)]
    shown = CliRunner().invoke(barrelwise, [*command, "--dry-run"], standalone_mode=False)
    assert "checks/rinse-filter.yml:1: retired" in shown.output
    assert read_rulebook(tmp_path).version == before
    done = CliRunner().invoke(barrelwise, command, standalone_mode=False)
    assert "files changed" in done.output
    assert "rinse-filter" not in read_rulebook(tmp_path).checks
    with pytest.raises(InputError, match="retired already"):
        FolderCheck(tmp_path).retirement("checks", "rinse-filter")


def test_pairs_of_symptoms_and_what_is_done_together_are_followed_too(tmp_path):
    leaking: Any = minimal_files()["symptoms/leaking.yml"]
    pair = {"not_freezing": {"seal_wrong": 3, "low_fill": 4, "other": 2}}
    manifest: Any = minimal_files()["rulebook.yml"]
    overrides = {
        "symptoms/leaking.yml": {**leaking, "together_with": pair},
        "rulebook.yml": {**manifest, "together": [["rinse-filter", "fill-hopper"]]},
    }
    found = retired(tmp_path, "causes", "low_fill", overrides)
    assert found.problems == ()
    assert "its 4 calls are counted to `other`" in says(found, "symptoms/leaking.yml")
    assert "fill-hopper is taken out" in says(found, "rulebook.yml")
    assert "fill-hopper" not in read_rulebook(tmp_path).checks
