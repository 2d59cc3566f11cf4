"""The default rulebook's dangers: each has its caution, none is unsaid, none sends a hand in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import pytest

from tests import RULES
from triage.decide.causes import inference
from triage.decide.causes.guards import near_facts
from triage.decide.pipeline import decide
from triage.inputs.report import read_machine, read_report
from triage.logic.conditions import facts_in
from triage.logic.engine import Engine
from triage.records.decision import Decision
from triage.records.report import History
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook

LIFTS = {"away-from-heat", "clear-vents", "level-machine"}
HANDS_IN = re.compile(
    r"\b(ladle|stir the|wipe the two pins|clear the nozzle|turn the foot|reach for the foot|plunger|seal out|"
    r"hopper off|barrel off|hopper, auger|filter out|pull the machine|lift one edge)\b",
    re.IGNORECASE,
)
UNPLUGGED = re.compile(r"\bunplug\b", re.IGNORECASE)
CALM_TRIP = {
    "burning_smell": False, "cord_damaged_seen": False, "washed_with_hose": False, "plug_hot": False,
    "tingle_felt": False, "sparks_seen": False, "wet_electrics": False, "trips_when": "with_others",
}  # fmt: skip


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


@pytest.fixture(scope="module")
def engine(rulebook: Rulebook) -> Engine:
    return inference.compile_rulebook(rulebook, "plain")


def decided(
    rulebook: Rulebook, engine: Engine, symptom: str, answers: Mapping[str, Any], **more: Any
) -> Decision:
    model = more.pop("model", None)
    data = {"symptoms": [symptom], "reported_at": "2026-06-10T14:30:00-04:00", "answers": answers, **more}
    report = read_report(data, rulebook)
    machine, history = None, History()
    if model is not None:
        made = {"serial": "LH-1", "model": model, "shipped_on": "2024-09-20", "price": "3150.00 USD"}
        machine, history = read_machine(made, rulebook)
    return decide(rulebook, engine, report, machine, history, report.reported_at)


def said(decision: Decision) -> set[str]:
    return {caution.rule for caution in decision.cautions}


def checks_of(decision: Decision) -> list[str]:
    return [step.check for step in decision.plan]


def test_every_danger_has_a_caution_that_stops_use_or_asks_for_a_check_first(rulebook: Rulebook) -> None:
    derived = {fact: set(rule.sets) for rule in rulebook.derive.values() for fact in facts_in(rule.head.when)}
    for fact in rulebook.facts.values():
        if fact.danger:
            looked_at = {fact.id} | derived.get(fact.id, set())
            found = [
                caution
                for caution in rulebook.cautions.values()
                if looked_at & facts_in(caution.head.when) and (caution.stop_use or caution.first)
            ]
            assert found, fact.id


def test_a_danger_alone_is_never_left_to_the_store(rulebook: Rulebook, engine: Engine) -> None:
    food = {"mold_seen"}
    for fact in rulebook.facts.values():
        if fact.danger:
            decision = decided(rulebook, engine, "cup_station", {fact.id: True})
            if fact.id in food:
                assert checks_of(decision)[0] == "full-clean"
            else:
                assert decision.dangers and not decision.plan, fact.id
                assert decision.outcome == "dispatch", fact.id


@pytest.mark.parametrize(
    ("symptom", "answers", "caution"),
    [
        ("leaking", {"liquid_at_plug": True, "wet_electrics": False}, "wet-electrics"),
        ("leaking", {"liquid_in_base": True, "wet_electrics": False}, "wet-electrics"),
        ("hot_to_touch", {"hot_where": "plug", "plug_hot": False}, "hot-plug"),
        ("tingling", {"tingle_felt": False}, "tingling-reported"),
        ("someone_hurt", {"person_hurt": False}, "person-hurt"),
        ("pests_at_machine", {"pests_seen": False}, "pests-seen"),
        ("leaking_behind_hopper", {"leak_rate": "stream", "wet_electrics": False}, "stream-behind"),
        ("leaking", {"leak_rate": "stream", "leak_where": "behind_hopper"}, "stream-behind"),
    ],
)
def test_a_no_does_not_unsay_a_danger(
    rulebook: Rulebook, engine: Engine, symptom: str, answers: dict[str, Any], caution: str
) -> None:
    decision = decided(rulebook, engine, symptom, answers)
    assert caution in said(decision)
    assert (decision.outcome, decision.plan) == ("dispatch", ())


@pytest.mark.parametrize(
    ("note", "cautions"),
    [
        ("there's smoke coming out of the back and sparks", {"burning-smell", "sparks-seen"}),
        ("me dio toques", {"shock-felt"}),
        ("a kid got his finger caught in it", {"person-hurt"}),
        ("it smells like gas", {"gas-smell", "flammable-refrigerant"}),
        ("la maquina se va a caer de la barra", {"about-to-tip"}),
    ],
)
def test_what_the_note_says_stops_use(
    rulebook: Rulebook, engine: Engine, note: str, cautions: set[str]
) -> None:
    decision = decided(rulebook, engine, "no_dispense", {}, note=note)
    assert cautions <= said(decision)
    assert (decision.outcome, decision.plan) == ("dispatch", ())


def test_a_stink_waits_until_nobody_smells_gas_or_burning(rulebook: Rulebook, engine: Engine) -> None:
    asked = decided(rulebook, engine, "bad_smell", {})
    assert (asked.plan, set(asked.waits_for)) == ((), {"burning_smell", "gas_smell"})
    calm = {"burning_smell": False, "gas_smell": False}
    assert checks_of(decided(rulebook, engine, "bad_smell", calm))[0] == "empty-tray"


def test_after_a_stop_no_question_sends_anybody_near(rulebook: Rulebook, engine: Engine) -> None:
    for symptom in rulebook.symptoms:
        decision = decided(rulebook, engine, symptom, {"tingle_felt": True})
        assert not near_facts(rulebook) & {question.fact for question in decision.questions}, symptom


@pytest.mark.parametrize(
    ("symptom", "answers", "first"),
    [
        ("not_freezing", {"product_warm_hours": 30}, "full-clean"),
        ("not_freezing", {"product_warm_hours": 4}, "full-clean"),
        ("off_taste", {"taste": "sour", "someone_ill": False}, "full-clean"),
        ("off_taste", {"taste": "chemical", "someone_ill": False}, "rinse-again"),
        ("no_dispense", {"mold_seen": True}, "full-clean"),
        ("off_color", {"color_look": "specks"}, "full-clean"),
        ("off_color", {"color_look": "mixed"}, "full-clean"),
    ],
)
def test_unfit_product_is_cleaned_out_before_anything_else_and_before_solved(
    rulebook: Rulebook, engine: Engine, symptom: str, answers: dict[str, Any], first: str
) -> None:
    assert checks_of(decided(rulebook, engine, symptom, answers))[0] == first
    cured = {"check": "top-up-hopper", "result": "cured"}
    still = decided(rulebook, engine, symptom, answers, checks=[cured])
    assert checks_of(still)[0] == first
    cleaned = {"check": first, "result": "cured"}
    assert decided(rulebook, engine, symptom, answers, checks=[cured, cleaned]).plan == ()


def test_an_ill_customers_product_is_kept(rulebook: Rulebook, engine: Engine) -> None:
    unknown = decided(rulebook, engine, "off_taste", {"taste": "sour"})
    assert unknown.plan == () and unknown.waits_for == ("someone_ill",)
    assert unknown.questions[0].fact == "someone_ill"
    ill = decided(rulebook, engine, "off_taste", {"taste": "sour", "someone_ill": True})
    assert ill.plan == () and "someone-ill" in said(ill)


@pytest.mark.parametrize("trips", [None, 2])
def test_no_reset_is_offered_while_the_trips_are_not_counted_or_several(
    rulebook: Rulebook, engine: Engine, trips: int | None
) -> None:
    counted = {} if trips is None else {"breaker_trips_hour": trips}
    decision = decided(rulebook, engine, "trips_breaker", {**CALM_TRIP, **counted})
    assert decision.plan == ()


def test_one_trip_is_reset_once(rulebook: Rulebook, engine: Engine) -> None:
    decision = decided(
        rulebook, engine, "trips_breaker", {**CALM_TRIP, "breaker_trips_hour": 1, "gfci_tripped": False}
    )
    assert decision.outcome == "fix_in_store"


def test_no_reset_on_a_live_outlet(rulebook: Rulebook, engine: Engine) -> None:
    calm = {"burning_smell": False, "cord_damaged_seen": False}
    for works, offered in ((True, False), (False, True)):
        decision = decided(rulebook, engine, "no_power", {**calm, "outlet_works": works})
        assert ("reset-breaker" in checks_of(decision)) is offered
        assert "press-gfci" not in checks_of(decision) or not works


def test_hands_go_in_or_under_a_machine_only_when_it_is_unplugged(rulebook: Rulebook) -> None:
    for check in rulebook.checks.values():
        touching = [index for index, step in enumerate(check.steps) if HANDS_IN.search(step)]
        if check.who == "clerk" and touching:
            unplugged = [index for index, step in enumerate(check.steps) if UNPLUGGED.search(step)]
            assert unplugged and unplugged[0] <= touching[0], check.id
            assert "unplug-first" in check.cautions, check.id


def test_what_lifts_or_moves_the_machine_waits_for_who_lifts(rulebook: Rulebook, engine: Engine) -> None:
    lifts = {check.id for check in rulebook.checks.values() if "two-people-lift" in check.cautions}
    assert lifts == LIFTS == rulebook.cautions["lifting-alone"].forbids
    rocking = {"rocks": True, "about_to_tip": False, "burning_smell": False, "metal_seen": False}
    two = {"clerk_alone": False, "clerk_minor": False}
    asked = decided(rulebook, engine, "noisy", rocking)
    assert not LIFTS & set(checks_of(asked))
    assert {question.fact for question in asked.questions if question.safety} == set(two)
    assert checks_of(decided(rulebook, engine, "noisy", {**rocking, **two}))[0] == "level-machine"
    for fact in two:
        alone = decided(rulebook, engine, "noisy", {**rocking, **two, fact: True})
        assert not LIFTS & set(checks_of(alone)) and alone.dangers == ()
        other = {each: no for each, no in two.items() if each != fact}
        assert not LIFTS & set(checks_of(decided(rulebook, engine, "noisy", {**rocking, **other})))


def test_who_lifts_is_not_asked_where_nothing_is_lifted(rulebook: Rulebook, engine: Engine) -> None:
    asked = {question.fact for question in decided(rulebook, engine, "no_dispense", {}).questions}
    assert not asked & {"clerk_alone", "clerk_minor"}


@pytest.mark.parametrize(("model", "burns"), [("LH-20", False), ("LH-30", True), (None, True)])
def test_a_refrigerant_that_burns_or_is_not_known_changes_what_is_said(
    rulebook: Rulebook, engine: Engine, model: str | None, burns: bool
) -> None:
    decision = decided(rulebook, engine, "not_freezing", {"oily_film_or_hiss": True}, model=model)
    assert "refrigerant-signs" in said(decision)
    assert ("flammable-refrigerant" in said(decision)) is burns
