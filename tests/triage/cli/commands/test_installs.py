"""`barrelwise install`: an installation planned, stepped and shown on the command line."""
# ruff: noqa: F811 - a test takes a fixture by the name it was imported under

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.installs import PLAN, SURVEY, install_files
from tests.triage.cli.test_main import Run, here, run, write_rulebook  # noqa: F401  (fixtures)


@pytest.fixture(autouse=True)
def records(run: Run, here: Path) -> None:
    write_rulebook(here / "rules", install_files())
    assert run("load", "records")[0] == 0


def write(data: object) -> str:
    Path("step.json").write_text(json.dumps(data))
    return "step.json"


def test_an_installation_is_planned_stepped_and_shown(run: Run, here: Path) -> None:
    status, out, _ = run("install", "plan", write(PLAN), "--json")
    name = json.loads(out)["install"]
    assert (status, json.loads(out)["state"]) == (0, "planned")
    status, out, _ = run("install", "step", name, write({"step": "survey", "answers": SURVEY}))
    assert (status, "Next: survey, date, cancel" in out) == (0, True)
    status, out, _ = run("install", "show", name.lower())
    assert (status, "blocks: Shipping bolt: wanted taken out" in out) == (0, True)
    status, out, _ = run("install", "list", "--state", "planned")
    assert (status, name in out) == (0, True)


def test_what_is_wrong_is_said_with_file_and_place(run: Run, here: Path) -> None:
    _, out, _ = run("install", "plan", write(PLAN), "--json")
    name = json.loads(out)["install"]
    status, _, err = run("install", "step", name, write({"step": "survey", "answers": {"circuit/amp": 20}}))
    assert (status, "step.json: /answers/circuit~1amp" in err.replace("\n", " ")) == (2, True)
    assert run("install", "step", name, write({"step": "finish"}))[0] == 2
    assert run("install", "step", name, write([]))[0] == 2
    assert run("install", "show", "I-NONE00")[0] == 2


NOTED = {
    "site": "halt-001",
    "people": ["Ana Ruiz"],
    "topics": ["fill", "filter", "clean", "set_up", "dangers"],
    "signed": "Ana Ruiz",
}


def test_training_is_noted_listed_ended_and_erased(run: Run, here: Path) -> None:
    status, out, _ = run("training", "note", write(NOTED), "--json")
    (person,) = json.loads(out)["people"]
    assert (status, json.loads(out)["standing"]) == (0, "kept")
    status, out, _ = run("training", "list", "--view", "all", "--site", "halt-001", "--json")
    assert json.loads(out)[0]["people"] == [person]
    assert "kept" in run("training", "list", "--view", "all")[1]
    status, out, _ = run("training", "left", str(person["training"]))
    assert (status, "due; nobody is trained on fill, filter" in out) == (0, True)
    assert run("training", "note", write({**NOTED, "topics": ["polish"]}))[0] == 2
    assert run("training", "list", "--site", "nowhere")[0] == 2
    assert run("forget", "--name", "Ana Ruiz", "--phone", "555-0101", "--yes")[0] == 2
    status, out, _ = run("forget", "--name", "ana ruiz", "--yes", "--json")
    assert (status, json.loads(out)["trainings"]) == (0, 1)
    assert run("forget", "--name", "Ana Ruiz", "--yes")[0] == 2
    assert "Ana" not in run("training", "list", "--view", "all", "--json")[1]
