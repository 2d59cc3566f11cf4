"""`barrelwise commission`: judges a checklist, stores it with a machine, and says "no" by its exit status."""
# ruff: noqa: F811 - a test takes a fixture by the name it was imported under

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests import ROOT
from tests.triage.cli.test_main import Run, here, run  # noqa: F401  (fixtures)
from tests.triage.machine.commissioning.test_judging import GOOD, checklist
from tests.triage.services import AGENT
from triage.cli.shown.opened import opened_service
from triage.service import machines

DEMO = ROOT / "demo" / "checklists"


def write(data: object) -> str:
    """The checklist as a file in the working folder; gives its name."""
    Path("checklist.json").write_text(json.dumps(data))
    return "checklist.json"


def for_machine(**changes: object) -> dict[str, Any]:
    return {**checklist(**changes), "machine": "LH20-1"}


def findings_of(out: str) -> dict[str, dict[str, str]]:
    return {finding["id"]: finding for finding in json.loads(out)["findings"]}


def test_a_good_checklist_passes_and_is_not_stored(run: Run, here: Path) -> None:
    status, out, err = run("commission", write(GOOD))
    assert (status, err) == (0, "")
    assert "14 passed, 0 failed, 0 missing; not stored" in out
    assert not list(here.glob("*.db*"))


def test_what_fails_is_said_with_its_numbers_and_the_status_is_1(run: Run) -> None:
    status, out, err = run("commission", write(checklist(clearance__behind_in=3.5, circuit__volts=111.5)))
    assert (status, err) == (1, "")
    for said in ("Free space behind: 3.5 in; wanted at least 6 in", "2.5 in short", "2.5 V too low"):
        assert said in out
    assert "12 passed, 2 failed, 0 missing" in out


def test_what_is_missing_is_said_and_fails_nothing(run: Run) -> None:
    status, out, _ = run("commission", write({}))
    assert status == 0
    assert "0 passed, 0 failed, 14 missing" in out
    assert "not written down: whether the shipping bolt was taken out" in out


def test_json_is_the_findings_alone(run: Run) -> None:
    status, out, err = run("commission", write(checklist(trained=[], seal=None)), "--json")
    answer = json.loads(out)
    assert (status, err) == (1, "")
    assert (answer["passed"], answer["failed"], answer["missing"]) == (12, 1, 1)
    assert (answer["machine"], answer["stored"]) == (None, False)
    assert findings_of(out)["training"] == {
        "id": "training",
        "title": "Staff trained",
        "result": "failed",
        "found": "nobody",
        "wanted": "at least one",
        "why": "nobody in the store knows filling, cleaning and the filter",
    }
    assert answer["facts"]["commissioning_failed"] == 1
    assert answer["facts"]["clearance_right_in"] == 3


def test_with_a_machine_it_is_stored_and_judged_by_its_site(run: Run) -> None:
    run("load", "records")
    wrong = for_machine(clock__timezone="America/Chicago", at="2026-03-02T10:00:00-05:00")
    status, out, err = run("commission", write(wrong), "--machine", "LH20-1", "--json")
    assert (status, err) == (1, "")
    assert json.loads(out)["stored"] is True
    assert "America/New_York" in findings_of(out)["clock"]["why"]
    with opened_service() as service:
        view = machines.machine(service, "LH20-1", AGENT)
    (kept,) = view.history.care
    assert (kept.kind, kept.by, dict(kept.details)) == (
        "commissioned",
        "installer",
        json.loads(json.dumps(wrong)),
    )
    assert view.machine.commissioned_on is not None
    assert view.machine.commissioned_on.isoformat() == "2026-03-02"
    assert {finding.id: finding.result for finding in view.findings}["clock"] == "failed"


def test_the_same_checklist_is_not_stored_twice(run: Run) -> None:
    run("load", "records")
    file = write(for_machine())
    assert run("commission", file, "--machine", "LH20-1")[0] == 0
    status, out, err = run("commission", file, "--machine", "LH20-1")
    assert (status, out) == (2, "")
    assert "in the care log already" in err


@pytest.mark.parametrize(
    ("data", "places"),
    [
        ([], ["checklist.json: a checklist is an object"]),
        ({"circuit": {"volts": "120"}}, ["checklist.json: /circuit/volts: write a number"]),
        (
            {"sael": {}, "clearance": {"behind_in": -1}},
            ['/sael: unknown key "sael"; did you mean "seal"', "/clearance/behind_in"],
        ),
        ({"at": "yesterday"}, ["checklist.json: /at: this is not a time; write RFC 3339 with an offset"]),
        ({"legs": {"front_left_in": 4}}, ["/legs/back_right_in", "leave all of this out"]),
    ],
)
@pytest.mark.parametrize("options", [(), ("--machine", "LH20-1")])
def test_a_bad_checklist_is_refused_with_its_places(
    run: Run, data: object, places: list[str], options: tuple[str, ...]
) -> None:
    run("load", "records")
    status, out, err = run("commission", write(data), *options)
    assert (status, out) == (2, "")
    for place in places:
        assert place in err
    with opened_service() as service:
        assert machines.machine(service, "LH20-1", AGENT).history.care == ()


def test_a_checklist_of_another_machine_is_refused(run: Run) -> None:
    run("load", "records")
    status, _, err = run("commission", write(checklist(machine="LH20-77")), "--machine", "LH20-1")
    assert status == 2
    assert 'checklist.json: /machine: the checklist is about "LH20-77", not about "LH20-1"' in err


def test_a_checklist_from_before_the_machine_was_made_is_refused_at_its_time(run: Run) -> None:
    run("load", "records")
    early = for_machine(at="2024-12-31T10:00:00-05:00")
    status, _, err = run("commission", write(early), "--machine", "LH20-1")
    assert status == 2
    assert "checklist.json: /at: the machine was shipped only on 2025-01-05" in err


def test_an_unknown_machine_and_an_unreadable_file_are_bad_input(run: Run) -> None:
    run("load", "records")
    assert run("commission", write(GOOD), "--machine", "LH20-9")[0] == 2
    Path("checklist.json").write_text('{"circuit": {}, "circuit": {}}')
    status, _, err = run("commission", "checklist.json")
    assert status == 2
    assert "stands twice" in err
    assert run("commission", "nowhere.json")[0] == 2


@pytest.mark.parametrize(("file", "status"), [("well-set-up.json", 0), ("set-up-in-a-hurry.json", 1)])
def test_the_demos_checklists_come_out_as_their_names_say(run: Run, file: str, status: int) -> None:
    assert run("commission", str(DEMO / file))[0] == status
