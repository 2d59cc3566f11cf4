"""Whom the default rulebook sends: the machine's contractor, the store's electrician or the installer."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from io import StringIO
from typing import Any

import pytest
from rich.console import Console

from tests import RULES
from triage.cli.shown.show import show_decision
from triage.decide.causes.inference import CompiledRules, compile_rulebook
from triage.decide.decide_data import decide_inputs, read_inputs
from triage.records.decision import Decision
from triage.records.decision_json import as_json
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.what_if.diff import outcome_said

NOW = datetime(2026, 6, 10, 18, 30, tzinfo=UTC)
CALM = {"burning_smell": False, "cord_damaged_seen": False}
TRIED = ["push-plug-home", "press-gfci", "reset-breaker", "restart-machine"]


@cache
def rules() -> tuple[Rulebook, CompiledRules]:
    rulebook = read_rulebook(RULES)
    return rulebook, compile_rulebook(rulebook, "plain")


def decided(symptom: str, answers: dict[str, Any], *not_cured: str) -> Decision:
    checks = [{"check": check, "result": "not_cured"} for check in not_cured]
    report = {"symptoms": [symptom], "answers": answers, "checks": checks}
    rulebook, engine = rules()
    return decide_inputs(rulebook, engine, read_inputs(report, rulebook, NOW, lambda _: None))


@pytest.mark.parametrize(
    ("answers", "by"),
    [
        ({**CALM, "outlet_works": False, "display_lit": False, "store_dark": False}, "electrician"),
        ({**CALM, "power_comes_and_goes": True, "plug_home": True, "store_dark": False}, "electrician"),
        ({**CALM, "outlet_works": True, "plug_home": True, "store_dark": False}, "contractor"),
    ],
)
def test_a_fault_of_the_outlet_goes_to_the_stores_electrician(answers: dict[str, Any], by: str) -> None:
    decision = decided("no_power", answers, *TRIED)
    assert decision.outcome == "dispatch" and decision.visit is not None
    assert decision.visit.by == decision.computed_facts["fixed_by"] == by
    assert as_json(decision)["visit"].get("by", "contractor") == by
    said = {reason.rule for reason in decision.reasons}
    assert ("electrician-for-the-circuit" in said) is (by == "electrician")
    assert (decision.visit.kit == ()) is (by == "electrician")


def test_a_shipping_bolt_left_in_is_the_installers_call_back() -> None:
    decision = decided(
        "noisy", {"bolt_removed": False, "noise_kind": "rattle", "rocks": False}, "quiet-loose-part"
    )
    assert decision.causes[0].cause == "shipping_bolt_in"
    assert decision.reasons[0].rule == "installer-comes-back"
    assert decision.visit is not None and decision.visit.by == "installer"


def test_in_danger_of_a_refrigerant_the_contractors_specialist_comes_whatever_is_likely() -> None:
    answers = {"bolt_removed": False, "noise_kind": "rattle", "oily_film_or_hiss": True}
    decision = decided("noisy", answers)
    assert decision.visit is not None
    assert (decision.visit.by, decision.visit.skill) == ("contractor", "refrigeration")


def test_only_the_sealed_system_asks_for_the_certificate() -> None:
    rulebook, _ = rules()
    asked = {cause.id for cause in rulebook.causes.values() if cause.repair.skill == "refrigeration"}
    assert asked == {"compressor_worn", "refrigerant_low", "side_valve_stuck", "metering_clogged"}


@pytest.mark.parametrize(
    ("target", "thickness", "against"),
    [
        (None, "thick", "thicker"),
        (None, "middle", "at_target"),
        ("thick", "thick", "at_target"),
        ("thick", "middle", "thinner"),
        ("thin", "middle", "thicker"),
    ],
)
def test_a_thickness_is_judged_by_the_target_of_program_or_machine(
    target: str | None, thickness: str, against: str
) -> None:
    rulebook, engine = rules()
    machine = {"serial": "LH-1", "model": "LH-20", "shipped_on": "2024-09-20", "price": "3150.00 USD"}
    if target is not None:
        machine |= {"facts": {"thickness_target": target}}
    report = {"machine": "LH-1", "symptoms": ["too_thick"], "answers": {"thickness": thickness}}
    decision = decide_inputs(rulebook, engine, read_inputs(report, rulebook, NOW, lambda _: None, machine))
    assert decision.facts["thickness_off"].value == against
    by_cause = {cause.cause: cause for cause in decision.causes}
    held = {
        factor.rule: factor.factor for factor in by_cause["thickness_high"].factors if "set-" in factor.rule
    }
    assert (against == "thicker") is any(factor > 1 for factor in held.values())
    assert (against == "thicker") is (decision.plan[0].check == "thinner-setting")


def test_the_headline_and_its_reasons_name_who_comes() -> None:
    bolt = decided("noisy", {"bolt_removed": False, "noise_kind": "rattle", "rocks": False})
    outlet = {**CALM, "outlet_works": False, "display_lit": False, "store_dark": False}
    for decision, headline in (
        (bolt, "Send the installer back"),
        (decided("no_power", outlet, *TRIED), "Send the store's electrician"),
        (decided("no_power", {}), "Send a technician"),
    ):
        out = Console(file=StringIO(), width=200)
        show_decision(decision, rules()[0], out)
        shown = out.file.getvalue()  # type: ignore[attr-defined]
        assert f" {headline} " in shown.splitlines()[0]
        assert outcome_said(as_json(decision)) == headline
        assert not any("technician" in reason.text for reason in decision.reasons)


@pytest.mark.parametrize(
    ("symptoms", "answers", "check"),
    [
        (["no_power"], {"store_dark": True}, "wait-for-power"),
        (["request", "hot_to_touch"], {"request": "flavor"}, "guide-flavor-change"),
    ],
)
def test_nobody_switches_on_or_cleans_before_the_dangers_are_known(
    symptoms: list[str], answers: dict[str, Any], check: str
) -> None:
    rulebook, engine = rules()

    def plan(known: dict[str, Any]) -> list[str]:
        report = {"symptoms": symptoms, "answers": known}
        decision = decide_inputs(rulebook, engine, read_inputs(report, rulebook, NOW, lambda _: None))
        return [step.check for step in decision.plan]

    calm = {**CALM, "plug_hot": False, "clerk_alone": False, "clerk_minor": False, "tingle_felt": False}
    assert check not in plan(answers)
    assert check in plan({**answers, **calm})


def test_a_call_that_reports_no_fault_is_asked_first_what_it_wants() -> None:
    assert [question.fact for question in decided("request", {}).questions][:1] == ["request"]


def test_pests_go_to_the_stores_pest_control_and_a_shock_beside_them_to_the_contractor() -> None:
    pests = decided("pests_at_machine", {})
    assert pests.visit is not None and pests.visit.by == "pest_control"
    assert outcome_said(as_json(pests)) == "Send the store's pest control"
    assert "pest-control-first" in {reason.rule for reason in pests.reasons}
    shocked = decided("pests_at_machine", {"tingle_felt": True})
    assert shocked.visit is not None
    assert (shocked.visit.by, shocked.visit.skill) == ("contractor", "electrical")
