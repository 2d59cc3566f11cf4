"""One small fault for each finding about numbers, names, texts and rules that contradict each other."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

import pytest

from tests.triage.builders import cause, check, fact, head, minimal_files
from tests.triage.rulebook_care.lint.linted import clean_files, evidence_file, findings, policy_file
from triage.rulebook_care.lint.findings import CODES

Files = dict[str, Any]


def put(file: str, value: object, *path: str | int) -> Callable[[Files], None]:
    def edit(files: Files) -> None:
        inside = files[file]
        for key in path[:-1]:
            inside = inside[key]
        inside[path[-1]] = value

    return edit


def new(file: str, data: Mapping[str, object]) -> Callable[[Files], None]:
    return lambda files: files.__setitem__(file, dict(data))


def derive(rule: str, value: bool, **more: object) -> dict[str, object]:
    sets = {"set": {"filter_neglected": value}}
    return head(rule, {"filter_days": "> 15"}, {"filter_days": 16}, {"filter_days": 1}, then=sets, **more)


def beside(rule: str) -> dict[str, object]:
    said = head(rule, {}, {}, {}, then={"text": "Mind the step."})
    return {**said, "with_checks": True, "cases": []}


FAULTS: list[tuple[str, str, Callable[[Files], None]]] = [
    ("absurd-number", "rulebook.yml", put("rulebook.yml", 0.999, "near_certain")),
    ("absurd-number", "rulebook.yml", put("rulebook.yml", {"filter_days": 3650}, "care")),
    ("absurd-number", "rates.yml", put("rates.yml", 0.7, "default", "tax")),
    ("absurd-number", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", 300, "minutes")),
    ("out-of-line", "parts.yml", put("parts.yml", 41200, "parts", "COMP-1", "price")),
    ("zero-price", "parts.yml", put("parts.yml", 0, "parts", "SEAL-1", "price")),
    ("zero-price", "rates.yml", put("rates.yml", 0, "default", "labor_hour")),
    ("terms-contradict", "rates.yml", put("rates.yml", 1, "default", "van_kg")),
    ("terms-contradict", "warranty/standard.yml", put("warranty/standard.yml", 6, "cap_months_from_ship")),
    ("care-band", "rulebook.yml", put("rulebook.yml", {"filter_days": 10}, "care")),
    ("said-twice", "symptoms/not_freezing.yml", put("symptoms/not_freezing.yml", "Leaking", "title")),
    ("said-twice", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", ["Do.", "Do."], "steps")),
    (
        "said-twice",
        "facts/seal_style.yml",
        put("facts/seal_style.yml", {"flat": "Flat", "grooved": "flat"}, "choices"),
    ),
    ("absurd-number", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", ["a"] * 60, "steps")),
    (
        "unsafe-order",
        "checks/rinse-filter.yml",
        put("checks/rinse-filter.yml", ["Switch it on.", "Wipe it.", "Switch it off."], "steps"),
    ),
    ("odd-text", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", ["R"], "steps")),
    ("odd-text", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", ["<b>Do</b> it."], "steps")),
    ("odd-text", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", ["Wait. " * 120], "steps")),
    (
        "language-left",
        "symptoms/not_freezing.yml",
        put("symptoms/not_freezing.yml", "It is soft", "title_es"),
    ),
    ("lookalike", "causes/mixed.yml", new("causes/mixed.yml", cause("mixed", "compresor"))),
    ("unit-differs", "facts/filter_days.yml", put("facts/filter_days.yml", "h", "unit")),
    ("no-range", "facts/fill_level.yml", lambda files: files["facts/fill_level.yml"].pop("range")),
    ("unused", "parts.yml", put("parts.yml", {"title": "Old", "price": 5, "kg": 1}, "parts", "OLD-1")),
    ("says-nothing", "cautions/step.yml", new("cautions/step.yml", beside("step"))),
    ("says-nothing", "evidence/hums.yml", put("evidence/hums.yml", "2026-01-05", "since")),
    ("says-nothing", "cases/nothing.yml", lambda files: files.update(_case_without_expectation(files))),
    ("says-otherwise", "policy/foot.yml", put("policy/foot.yml", "Go with priority 2.", "then", "text")),
    ("invisible-character", "causes/low_fill.yml", put("causes/low_fill.yml", "Too low\u200b", "why")),
    ("invisible-character", "causes/low_fill.yml", put("causes/low_fill.yml", "\u202eToo low", "why")),
    ("invisible-character", "causes/low_fill.yml", put("causes/low_fill.yml", "Too l\u043ew", "why")),
    ("blank-text", "causes/low_fill.yml", put("causes/low_fill.yml", "  ", "title")),
    ("to-fill-in-live", "causes/low_fill.yml", put("causes/low_fill.yml", "Low. TODO: more", "why")),
    ("to-fill-in-live", "checks/rinse-filter.yml", put("checks/rinse-filter.yml", ["TODO: rinse"], "steps")),
    ("derive-contradicts", "derive/not-so.yml", new("derive/not-so.yml", derive("not-so", False))),
    (
        "policy-tie-differs",
        "policy/again.yml",
        lambda files: files.update(_urgent_twin()),
    ),
    (
        "check-never-pays",
        "checks/rinse-filter.yml",
        put("checks/rinse-filter.yml", 9_000_000, "materials"),
    ),
    (
        "check-caution-silent",
        "checks/rinse-filter.yml",
        put("cautions/unplug-first.yml", "retired", "status"),
    ),
    (
        "name-unknown",
        "evidence/of-model.yml",
        lambda files: files.update(
            {
                "models.yml": {"models": {"A-1": _model()}},
                "evidence/of-model.yml": evidence_file("of-model", {"model": '"A-l"'}, low_fill=0.5),
            }
        ),
    ),
    (
        "name-unknown",
        "warranty/standard.yml",
        lambda files: (
            files.update({"models.yml": {"models": {"A-1": _model()}}}),
            put("warranty/standard.yml", ["A-2"], "models")(files),
        ),
    ),
    (
        "derive-unused",
        "derive/idle.yml",
        lambda files: files.update(
            {
                "facts/idle.yml": fact("idle", "flag", asked_of="computed"),
                "derive/idle.yml": derive("idle", True) | {"then": {"set": {"idle": True}}},
            }
        ),
    ),
    (
        "fact-unfilled",
        "facts/color_code.yml",
        lambda files: files.update(
            {
                "models.yml": {"models": {"A-1": _model()}},
                "facts/color_code.yml": fact("color_code", "text", asked_of="record"),
                "evidence/color.yml": evidence_file("color", {"color_code": '"red"'}, low_fill=0.5),
            }
        ),
    ),
]


def _model() -> dict[str, object]:
    return {"title": "A model", "facts": {"leg_depth_in": 15}, "source": "invented"}


def _urgent_twin() -> Files:
    first, again = (policy_file(rule, {"cord_damaged": True}, "dispatch", 5) for rule in ("after", "again"))
    first["then"], again["then"] = (
        {**each["then"], "visit_priority": n} for n, each in ((1, first), (2, again))
    )  # type: ignore[dict-item]
    return {"policy/after.yml": first, "policy/again.yml": again}


def _case_without_expectation(files: Files) -> Files:
    like = next(data for file, data in files.items() if file.startswith("cases/"))
    return {"cases/nothing.yml": {**like, "id": "nothing", "expect": {}}}


def _files() -> Files:
    files = deepcopy({**minimal_files(), **clean_files()})
    files["facts/leg_depth_in.yml"] = fact("leg_depth_in", "number", asked_of="record")
    return files


@pytest.mark.parametrize(("code", "file", "edit"), FAULTS)
def test_the_fault_is_found_where_it_stands(code, file, edit):
    sound = findings(_files())
    assert not any(each.file == file for each in sound.get(code, ()))
    files = _files()
    edit(files)
    found = [each for each in findings(files).get(code, ()) if each.file == file]
    assert found
    assert found[0].severity == CODES[code].severity
    assert found[0].fix


def test_fees_that_fall_with_the_distance_are_found():
    bands = [{"up_to_km": 50, "fee": 40}, {"up_to_km": 100, "fee": 35}]
    files = _files()
    put("rates.yml", bands, "default", "distance_bands")(files)
    (found,) = findings(files)["fee-falls"]
    assert found.path == ("default", "distance_bands", 1, "fee")


def test_response_times_in_the_wrong_order_are_found_where_they_can_be_compared():
    files = _files()
    times = {1: {"hours": 8, "clock": "elapsed"}, 2: {"hours": 4, "clock": "elapsed"}}
    files["service_hours.yml"] |= {"priorities": times, "default_priority": 2}
    assert [each.path for each in findings(files)["response-order"]] == [("priorities", "1")]
    files["service_hours.yml"] |= {"priorities": {**times, 2: {"hours": 4, "clock": "service"}}}
    assert "response-order" not in findings(files)


def test_a_calculated_fact_that_counts_another_twice_is_found():
    late = fact("filter_overdue_days", "number", unit="d", range="[0..3650]", asked_of="computed")
    files = _files()
    files["facts/filter_overdue_days.yml"] = late
    rule = evidence_file("late", {"filter_overdue_days": "> 5"}, dirty_filter=0.5)
    files["evidence/late.yml"] = rule
    (found,) = findings(files)["counted-twice-derived"]
    assert "filter_days" in found.message


def test_nobody_is_asked_for_more_than_the_own_ceiling():
    table = {
        "id": "who", "title": "Who", "kind": "authority", "hit_policy": "UNIQUE", "inputs": ["amount"],
        "outputs": ["authority"], "source": "invented",
        "rows": [
            {"when": {"amount": "<= 900"}, "then": {"authority": "lead"}},
            {"when": {"amount": "> 900"}, "then": {"authority": "owner"}},
        ],
        "authorities": {
            "lead": {"title": "Lead", "reach": "555-0110", "up_to": 600},
            "owner": {"title": "Owner", "reach": "555-0111"},
        },
    }  # fmt: skip
    files = {file: data for file, data in _files().items() if not file.startswith("limits/auth")}
    files = {**files, "limits/who.yml": table}
    found = [each for each in findings(files).get("ceiling-below-row", ()) if each.rule == "who"]
    assert [each.path for each in found] == [("rows", 0, "then", "authority")]


def test_a_check_that_must_come_first_need_not_pay():
    files = _files()
    files["checks/rinse-filter.yml"] = check("rinse-filter", {"symptom": '"leaking"'}, {"dirty_filter": 0.5})
    put("checks/rinse-filter.yml", 9_000_000, "materials")(files)
    put("cautions/damaged-cord.yml", ["rinse-filter"], "then", "first")(files)
    assert "check-never-pays" not in findings(files)
