"""What if: no change is no move, a change moves what it should, and nothing is stored."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.triage.services import AGENT, FOGLINE, NOON, OPS, REPORT, TERN, Clock, rulebook_files
from tests.triage.services import running_service as running
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import Inputs, inputs_as_data, inputs_from_data, read_inputs
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.service import requests, tickets
from triage.service.service import Service
from triage.service.what_if import Rules, WhatIf, what_if
from triage.values.errors import InputError, NotFoundError
from triage.what_if.changes import Changes, changed_inputs, changes_as_data, changes_from_data
from triage.what_if.diff import decision_changes
from triage.what_if.redecide import decided

MACHINE: dict[str, Any] = {
    "serial": "LH20-1",
    "model": "LH-20",
    "shipped_on": "2025-01-05",
    "commissioned_on": "2025-02-01",
    "facts": {"seal_style": "flat"},
    "care": [{"kind": "filter_cleaned", "at": "2026-01-20T10:00:00-05:00", "by": "store", "details": {}}],
}
FILTER_RULE = "evidence/filter-overdue.yml"
WRONG_YAML = """id: filter-overdue
title: Filter overdue
then:
  seen_with: {dirty_filter: 1.4}
"""


@cache
def small() -> tuple[Rulebook, Engine]:
    rulebook = rulebook_from_data(rulebook_files())
    return rulebook, compile_rulebook(rulebook, "plain")


def recorded(answers: dict[str, Any] | None = None) -> Inputs:
    data = {**REPORT, "answers": answers if answers is not None else {"fill_level": 70}}
    return read_inputs(data, small()[0], NOON, lambda _: None, MACHINE)


def moved_by(inputs: Inputs, changes: Changes) -> list[tuple[str, str, Any, Any]]:
    rulebook, engine = small()
    before = decided(rulebook, engine, inputs_as_data(inputs), Changes())
    after = decided(rulebook, engine, inputs_as_data(inputs), changes)
    found = decision_changes(before.decision, after.decision, after.titles)
    return [(each.part, each.id, each.before, each.after) for each in found]


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running(tmp_path, Clock()) as started:
        yield started


@pytest.fixture
def ticket(service: Service) -> str:
    return tickets.open_ticket(service, REPORT, AGENT).id


def asked(service: Service, ticket: str, rules: Rules | None = None, **changes: Any) -> WhatIf:
    return what_if(service, ticket, Changes(**changes), OPS, rules=rules)


def in_part(found: WhatIf, part: str) -> dict[str, tuple[Any, Any]]:
    return {each.id: (each.before, each.after) for each in found.changed if each.part == part}


def filter_rule_as_yaml(chance: float) -> str:
    """JSON is YAML."""
    data: Any = rulebook_files()[FILTER_RULE]
    return json.dumps({**data, "then": {"seen_with": {"dirty_filter": chance, "others": 0.30}}}, indent=1)


def test_without_a_change_both_decisions_are_the_recorded_one_to_the_bit(
    service: Service, ticket: str
) -> None:
    found = asked(service, ticket)
    assert found.as_recorded
    assert found.before == found.after == tickets.ticket(service, ticket, OPS).decision
    assert found.changed == ()


def test_nothing_is_stored(service: Service, ticket: str) -> None:
    before = tickets.ticket(service, ticket, OPS)
    asked(service, ticket, facts={"cord_damaged": True}, at="2026-04-01T12:00:00-05:00")
    assert tickets.ticket(service, ticket, OPS) == before


def test_a_fact_that_is_set_moves_the_outcome_and_all_that_hangs_on_it(service: Service, ticket: str) -> None:
    found = asked(service, ticket, facts={"cord_damaged": True})
    assert in_part(found, "outcome") == {"outcome": ("Fix in store", "Send a technician")}
    assert in_part(found, "facts") == {"cord_damaged": (None, True)}
    assert "damaged-cord" in in_part(found, "cautions")
    assert in_part(found, "rules")["cord-dispatch"] == (False, True)
    assert in_part(found, "plan") == {"rinse-filter": (1, None), "fill-hopper": (2, None)}
    assert found.changed[0].words == "Outcome: Fix in store → Send a technician."
    assert found.after["visit"]["priority"] == 1


def test_a_clean_filter_moves_the_chances_with_the_factor_that_did_it(service: Service, ticket: str) -> None:
    found = asked(service, ticket, facts={"filter_days": 3})
    cause = next(each for each in found.changed if each.part == "causes" and each.id == "dirty_filter")
    assert cause.after < cause.before
    assert {(each.id, each.before is None) for each in cause.factors} == {
        ("filter-overdue", True),
        ("filter-overdue", False),
    }
    assert in_part(found, "facts") == {"filter_days": (41, 3), "filter_neglected": (True, False)}


def test_an_observation_is_negated_in_words_only_where_its_text_does_not_say_so(
    service: Service, ticket: str
) -> None:
    found = asked(service, ticket, forget=("fill_level",), facts={"filter_days": 3})
    cause = next(each for each in found.changed if each.id == "dirty_filter" and each.part == "causes")
    said = {factor.title for factor in cause.factors}
    assert said == {"Filter overdue", "not: Filter overdue", "none of the bands of fill"}


def test_a_forgotten_fact_of_the_care_log_is_not_known(service: Service, ticket: str) -> None:
    found = asked(service, ticket, forget=("filter_days",))
    assert in_part(found, "facts") == {"filter_days": (41, None), "filter_neglected": (True, None)}
    assert in_part(found, "rules") == {"filter-neglected": (True, False), "filter-overdue": (True, False)}


def test_a_check_that_cured_solves_it_and_one_taken_back_was_never_done(
    service: Service, ticket: str
) -> None:
    assert in_part(asked(service, ticket, checks={"rinse-filter": "cured"}), "outcome") == {
        "outcome": ("Fix in store", "Fixed in store")
    }
    tickets.record_check(service, ticket, "rinse-filter", "not_cured", AGENT)
    back = asked(service, ticket, checks={"rinse-filter": "not_done"})
    assert in_part(back, "plan")["rinse-filter"] == (None, 1)


def test_another_day_moves_warranty_and_the_days_since(service: Service, ticket: str) -> None:
    found = asked(service, ticket, at="2026-01-25T12:00:00-05:00")
    assert in_part(found, "facts")["filter_days"] == (41, 5)
    assert in_part(found, "warranty")["parts"] == ("not covered (air_side)", "covered (cooling)")
    reported = datetime.fromisoformat(found.after["decided_at"])
    assert reported == datetime.fromisoformat("2026-01-25T12:00:00-05:00")


def test_what_was_spent_moves_the_headroom(service: Service, ticket: str) -> None:
    found = asked(service, ticket, spent="300.00 USD")
    assert in_part(found, "limit")["headroom"] == ("350.00", "50.00")


def test_an_edited_rule_moves_the_decision_in_a_child_process(service: Service, ticket: str) -> None:
    found = asked(service, ticket, Rules(texts={FILTER_RULE: filter_rule_as_yaml(0.05)}))
    cause = next(each for each in found.changed if each.part == "causes" and each.id == "dirty_filter")
    assert cause.after < 0.2 < cause.before
    assert [(each.id, round(each.before, 3) > 1 > round(each.after, 3)) for each in cause.factors] == [
        ("filter-overdue", True)
    ]
    assert found.before["rulebook"] != found.after["rulebook"]
    with service.store.read() as work:
        assert work.rulebooks.versions() == (service.rulebook.version,)


def test_what_is_wrong_in_an_edit_has_its_file_line_and_column(service: Service, ticket: str) -> None:
    with pytest.raises(InputError) as error:
        asked(service, ticket, Rules(texts={FILTER_RULE: WRONG_YAML}))
    places = {problem.where for problem in error.value.problems}
    assert f"{FILTER_RULE}:4:29" in places


@pytest.mark.parametrize("text", ["a: &x [*x]", "x: " + "[" * 5000, "\x00", "a: !!python/object:os.system x"])
def test_a_hostile_edit_is_refused_and_the_service_goes_on(service: Service, ticket: str, text: str) -> None:
    with pytest.raises(InputError):
        asked(service, ticket, Rules(texts={FILTER_RULE: text}))
    assert requests.health(service)["status"] == "ok"


def test_a_kept_version_can_stand_on_the_other_side(service: Service, ticket: str) -> None:
    other = dict(rulebook_files())
    del other["policy/fix-first.yml"]
    version = rulebook_from_data(other).version
    with service.store.write() as work:
        work.rulebooks.keep(version, other)
    found = asked(service, ticket, Rules(version=version[:20]))
    assert in_part(found, "rules")["fix-first"] == (True, False)
    with pytest.raises(NotFoundError, match="no kept rulebook"):
        asked(service, ticket, Rules(version="sha256:ffff"))


def test_a_file_taken_out_is_a_change_of_the_rules(service: Service, ticket: str) -> None:
    found = asked(service, ticket, Rules(texts={"policy/fix-first.yml": None}))
    assert in_part(found, "rules")["fix-first"] == (True, False)
    with pytest.raises(InputError, match="no such file"):
        asked(service, ticket, Rules(texts={"policy/never-was.yml": None}))


def test_a_technician_asks_about_tickets_of_the_own_contractor_only(service: Service, ticket: str) -> None:
    assert what_if(service, ticket, Changes(), FOGLINE).changed == ()
    with pytest.raises(NotFoundError):
        what_if(service, ticket, Changes(), TERN)


@pytest.mark.parametrize(
    ("changes", "pointer", "said"),
    [
        (Changes(facts={"fill_levl": 3}), "/set/fill_levl", 'did you mean "fill_level"'),
        (Changes(facts={"fill_level": 300}), "/set/fill_level", "out of range"),
        (Changes(facts={"filter_neglected": True}), "/set/filter_neglected", "worked out"),
        (Changes(facts={"age_months": 3}), "/set/age_months", "worked out"),
        (Changes(facts={"symptom": ["leakin"]}), "/set/symptom/0", 'did you mean "leaking"'),
        (Changes(forget=("fill_level", "fil_level")), "/forget/1", 'did you mean "fill_level"'),
        (Changes(forget=("filter_neglected",)), "/forget/0", "worked out from other facts"),
        (Changes(forget=("age_months",)), "/forget/0", "cannot be forgotten"),
        (Changes({"fill_level": 1}, ("fill_level",)), "/forget/0", "set as well"),
        (Changes(checks={"rinse": "cured"}), "/checks/rinse", "no check"),
        (Changes(checks={"rinse-filter": "perhaps"}), "/checks/rinse-filter", "not_done"),
        (Changes(at="yesterday"), "/at", "not a time"),
        (Changes(at="2020-01-01T00:00:00Z"), "/at", "before the machine was made"),
        (Changes(spent="much"), "/spent", "USD"),
        (Changes(spent="-3.00 USD"), "/spent", "not below zero"),
    ],
)
def test_a_change_that_cannot_be_made_is_refused_at_its_place(
    changes: Changes, pointer: str, said: str
) -> None:
    with pytest.raises(InputError) as error:
        changed_inputs(recorded(), *small(), changes)
    assert (error.value.problems[0].pointer, said in str(error.value)) == (pointer, True), str(error.value)


def test_changes_come_back_from_json_as_they_were() -> None:
    changes = Changes({"fill_level": 3}, ("filter_days",), {"rinse-filter": "cured"}, "2026-01-01", "1 USD")
    assert changes_from_data(changes_as_data(changes)) == changes


ANSWERS = st.fixed_dictionaries(
    {},
    optional={
        "fill_level": st.integers(0, 100),
        "filter_days": st.integers(0, 400),
        "seal_style": st.sampled_from(["flat", "grooved"]),
        "cord_damaged": st.booleans(),
    },
)


@settings(deadline=None, max_examples=60)
@given(ANSWERS)
def test_setting_every_fact_to_its_own_value_moves_nothing(answers: dict[str, Any]) -> None:
    inputs = recorded(answers)
    rulebook, engine = small()
    facts = decided(rulebook, engine, inputs_as_data(inputs), Changes()).decision["facts"]
    own = {
        fact: known["value"]
        for fact, known in facts.items()
        if fact in rulebook.facts and rulebook.facts[fact].asked_of != "computed"
    }
    assert changed_inputs(inputs, rulebook, engine, Changes(own)) == inputs
    assert moved_by(inputs, Changes(own)) == []


@settings(deadline=None, max_examples=60)
@given(ANSWERS, st.sampled_from(["fill_level", "filter_days", "seal_style", "cord_damaged"]))
def test_forgetting_a_fact_and_setting_it_back_is_no_change(answers: dict[str, Any], fact: str) -> None:
    rulebook, engine = small()
    inputs = recorded(answers)
    facts = decided(rulebook, engine, inputs_as_data(inputs), Changes()).decision["facts"]
    without = changed_inputs(inputs, rulebook, engine, Changes(forget=(fact,)))
    if fact not in facts:
        assert without == inputs
        return
    assert without != inputs
    back = changed_inputs(without, rulebook, engine, Changes({fact: facts[fact]["value"]}))
    assert back.report == inputs.report


def test_a_setting_that_pins_what_another_change_would_move_is_kept() -> None:
    later = (NOON + timedelta(days=10)).isoformat()
    rulebook, engine = small()
    pinned = changed_inputs(recorded(), rulebook, engine, Changes({"filter_days": 41}, at=later))
    assert pinned.report.answers["filter_days"] == 41
    idle = changed_inputs(recorded(), rulebook, engine, Changes({"filter_days": 51}, at=later))
    assert "filter_days" not in idle.report.answers


def test_recorded_inputs_that_another_rulebook_cannot_take_are_said_to_be_so() -> None:
    files = {name: data for name, data in rulebook_files().items() if "fill" not in name}
    files["symptoms/not_freezing.yml"] = {
        **files["symptoms/not_freezing.yml"],  # type: ignore[dict-item]
        "shares": {"dirty_filter": 30, "other": 12},
    }
    rulebook = rulebook_from_data(files)
    with pytest.raises(InputError, match="does not fit this rulebook"):
        decided(rulebook, compile_rulebook(rulebook, "plain"), inputs_as_data(recorded()), Changes())


def test_the_decision_of_the_recorded_data_is_that_of_the_inputs() -> None:
    rulebook, engine = small()
    again = inputs_from_data(inputs_as_data(recorded()), rulebook)
    assert replace(again, report_data={}) == replace(recorded(), report_data={})
    assert changed_inputs(again, rulebook, engine, Changes()) == again
