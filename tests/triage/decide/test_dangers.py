"""Dangers of one report: who can raise one, who can lift it, and what waits while nobody knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any

import pytest

from tests import RULES
from tests.triage.builders import check, fact, head, minimal_rulebook, policy
from triage.decide.causes.inference import CompiledRules, compile_rulebook
from triage.decide.pipeline import decide
from triage.records.danger import CALM, Danger, DangerState, MadeSafe
from triage.records.decision import Decision
from triage.records.report import CheckResult, EstimateTotal, History, Machine, Report
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.values.money import as_money

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
EARLIER = NOW - timedelta(hours=2)


@lru_cache(maxsize=1)
def default_rules() -> tuple[Rulebook, CompiledRules]:
    rulebook = read_rulebook(RULES)
    return rulebook, compile_rulebook(rulebook, "plain")


def by_default_rules(
    symptom: str,
    answers: Mapping[str, Any] | None = None,
    note: str = "",
    on_record: Mapping[str, Any] | None = None,
    state: DangerState = CALM,
) -> Decision:
    rulebook, engine = default_rules()
    machine = None if on_record is None else Machine("LH-1", "LH-20", date(2025, 9, 10), facts=on_record)
    report = Report((symptom,), NOW, answers=answers or {}, note=note)
    return decide(rulebook, engine, report, machine, History(), NOW, True, state)


SMOKE_EN = "there's smoke coming out of the back and sparks"
SMOKE_ES = "le sale humo por atrás y echa chispas"
DRY = {"wet_electrics": False}


@pytest.mark.parametrize(
    ("symptom", "answers", "note", "on_record", "danger", "source"),
    [
        ("leaking", {"liquid_at_plug": True, **DRY}, "", None, "wet-electrics", "caller"),
        ("leaking", {"liquid_in_base": True, **DRY}, "", None, "wet-electrics", "caller"),
        ("leaking", DRY, "", {"wet_electrics": True}, "wet-electrics", "record"),
        ("leaking", DRY, "", {"liquid_in_base": True}, "wet-electrics", "record"),
        ("hot_to_touch", {"hot_where": "plug", "plug_hot": False}, "", None, "hot-plug", "caller"),
        ("tingling", {"tingle_felt": True}, "", None, "shock-felt", "caller"),
        ("tingling", {"tingle_felt": False}, "I got a little shock", None, "shock-felt", "words"),
        ("noisy", {"tingle_felt": False}, "me dio toques al tocarla", None, "shock-felt", "words"),
        ("no_dispense", {}, SMOKE_EN, None, "burning-smell", "words"),
        ("no_dispense", {}, SMOKE_ES, None, "burning-smell", "words"),
        ("no_dispense", {"burning_smell": False}, SMOKE_EN, None, "burning-smell", "words"),
        ("noisy", {"plug_hot": False}, "la clavija está caliente", None, "hot-plug", "words"),
    ],
)
def test_one_source_is_enough_whatever_another_denies(
    symptom: str,
    answers: Mapping[str, Any],
    note: str,
    on_record: Mapping[str, Any] | None,
    danger: str,
    source: str,
) -> None:
    found = by_default_rules(symptom, answers, note, on_record)

    assert (danger, source) in [(each.caution, each.source) for each in found.dangers]
    assert found.outcome not in ("fix_in_store", "approve")
    assert found.plan == ()
    assert (found.priority, found.skill) == (1, "electrical")
    assert danger in {caution.rule for caution in found.cautions}
    rulebook, _ = default_rules()
    assert not any(rulebook.facts[question.fact].near for question in found.questions)


def test_a_danger_heard_is_quoted_and_one_denied_is_not_heard() -> None:
    (danger,) = [
        each for each in by_default_rules("noisy", note=SMOKE_EN).dangers if each.caution == "burning-smell"
    ]
    assert danger.quote is not None and "smoke" in danger.quote
    assert danger.since == NOW
    assert by_default_rules("noisy", note="no smoke, no smell").dangers == ()
    assert by_default_rules("noisy", note="no hay humo ni huele a quemado").dangers == ()


def test_an_answer_in_words_is_heard_as_the_note_is() -> None:
    found = by_default_rules(
        "noisy", {"tingle_felt": False}, state=DangerState(said=("it's zapping people",))
    )

    assert [(each.caution, each.source) for each in found.dangers] == [("shock-felt", "words")]


def flag(id_: str, **more: object) -> dict[str, object]:
    return fact(id_, "flag", danger=True, **more)


def caution(id_: str, when: object, fires: object, silent: object, **then: object) -> dict[str, object]:
    return head(id_, when, fires, silent, then={"text": "Keep clear.", **then})


def words(danger: str, *heard: str) -> dict[str, object]:
    return {
        "id": danger.replace("_", "-"),
        "title": danger.replace("_", " ").capitalize(),
        "danger": danger,
        "en": list(heard),
        "es": ["humo" if danger == "smoke_seen" else "chispas"],
        "source": "common practice, no source",
        "cases": [
            {"said": f"there is {heard[0]}", "heard": True},
            {"said": "hay humo" if danger == "smoke_seen" else "hay chispas", "heard": True},
            {"said": f"no {heard[0]}", "heard": False},
            {"said": "no hay humo" if danger == "smoke_seen" else "no hay chispas", "heard": False},
        ],
    }


NEAR = {"near": True}
FILES: Mapping[str, object] = {
    "facts/smoke_seen.yml": flag("smoke_seen", near=False),
    "facts/sparks_seen.yml": flag("sparks_seen"),
    "facts/burning.yml": flag("burning", asked_of="computed"),
    "facts/cord_damaged.yml": flag("cord_damaged"),
    "words/smoke-seen.yml": words("smoke_seen", "smoke"),
    "words/sparks-seen.yml": words("sparks_seen", "sparks"),
    "derive/burning-by-smoke.yml": head(
        "burning-by-smoke", {"smoke_seen": True}, {"smoke_seen": True}, {"smoke_seen": False},
        then={"set": {"burning": True}, "otherwise": {"burning": False}}, priority=9,
    ),
    "derive/burning-by-sparks.yml": head(
        "burning-by-sparks", {"sparks_seen": True}, {"sparks_seen": True}, {"sparks_seen": False},
        then={"set": {"burning": True}, "otherwise": {"burning": False}}, priority=1,
    ),
    "cautions/fire.yml": caution(
        "fire", {"burning": True}, {"burning": True}, {"burning": False},
        stop_use=True, forbids="all", visit_skill="electrical", visit_priority=1,
    ),
    "cautions/no-reach.yml": caution(
        "no-reach", {"sparks_seen": True}, {"sparks_seen": True}, {"sparks_seen": False},
        forbids=["fill-hopper"], visit_skill="refrigeration", visit_priority=2,
    ),
    "checks/rinse-filter.yml": check(
        "rinse-filter", {"symptom": '"not_freezing"'}, {"dirty_filter": 0.85}, **NEAR
    ),
    "checks/fill-hopper.yml": check(
        "fill-hopper", {"symptom": '"not_freezing"'}, {"low_fill": 0.90}, minutes=5, wait_minutes=45, **NEAR
    ),
    "checks/sanitize.yml": check(
        "sanitize", {"symptom": '"leaking"'}, {"other": 0.01}, wait_minutes=0, **NEAR
    ),
}  # fmt: skip
SAFE = {"smoke_seen": False, "sparks_seen": False, "cord_damaged": False, "filter_days": 40}


def book(**more: object) -> Rulebook:
    """Smoke and sparks are heard; either means burning, which stops use; sparks keep hands off the hopper."""
    return minimal_rulebook({**FILES, **more})


def decided(
    rulebook: Rulebook,
    answers: Mapping[str, Any] = SAFE,
    state: DangerState = CALM,
    note: str = "",
    on_record: Mapping[str, Any] | None = None,
    **more: Any,
) -> Decision:
    report = Report(("not_freezing",), EARLIER, answers=answers, note=note, **more)
    machine = None if on_record is None else Machine("LH-1", "LH-20", date(2019, 9, 10), facts=on_record)
    engine = compile_rulebook(rulebook, "checked")
    return decide(rulebook, engine, report, machine, History(), NOW, True, state)


def open_in(found: Decision) -> list[str]:
    return [danger.caution for danger in found.dangers]


def plan_of(found: Decision) -> list[str]:
    return [step.check for step in found.plan]


def test_what_is_known_to_be_safe_is_fixed_in_the_store() -> None:
    found = decided(book())

    assert (found.outcome, found.dangers, found.waits_for) == ("fix_in_store", (), ())
    assert plan_of(found)[0] == "rinse-filter"


def test_a_rule_that_says_no_does_not_silence_another_that_says_danger() -> None:
    found = decided(book(), {**SAFE, "sparks_seen": True})

    assert found.facts["burning"].value is True
    assert found.facts["burning"].rule == "burning-by-sparks"
    assert open_in(found) == ["fire", "no-reach"]


def test_a_danger_is_not_ruled_out_while_a_rule_that_may_raise_it_is_undecided() -> None:
    answers = {fact: value for fact, value in SAFE.items() if fact != "sparks_seen"}

    found = decided(book(), answers)

    assert "burning" not in found.facts
    assert set(found.waits_for) >= {"burning"}
    assert plan_of(found) == []


def test_of_two_records_the_one_that_says_danger_counts() -> None:
    models = {
        "models": {"LH-20": {"title": "LH-20", "facts": {"cord_damaged": True}, "source": "common practice"}}
    }
    files = {"models.yml": models, "facts/cord_damaged.yml": flag("cord_damaged", asked_of="record")}
    found = decided(book(**files), {"filter_days": 40}, on_record={"cord_damaged": False})

    assert "damaged-cord" in open_in(found)
    assert found.facts["cord_damaged"].source == "record"


@pytest.mark.parametrize("unknown", [(), ("cord_damaged",)])
def test_nobody_goes_near_while_it_is_not_known_or_not_to_be_known(unknown: tuple[str, ...]) -> None:
    answers = {fact: value for fact, value in SAFE.items() if fact != "cord_damaged"}

    found = decided(book(), answers, unknown=unknown)

    assert (found.waits_for, plan_of(found)) == (("cord_damaged",), [])
    assert found.outcome == "dispatch"
    assert [question.fact for question in found.questions if question.safety] == (
        [] if unknown else ["cord_damaged"]
    )
    assert any(note.startswith("Nobody goes near") for note in found.notes)


def test_a_check_that_takes_nobody_near_does_not_wait() -> None:
    far = check("rinse-filter", {"symptom": '"not_freezing"'}, {"dirty_filter": 0.85}, near=False)
    answers = {fact: value for fact, value in SAFE.items() if fact != "cord_damaged"}

    assert plan_of(decided(book(**{"checks/rinse-filter.yml": far}), answers)) == ["rinse-filter"]


YES = policy(
    "yes", {"filter_days": "> 0"}, {"filter_days": 1}, {"filter_days": 0}, "approve", 990, "Worth it."
)


def test_nothing_is_approved_unseen_while_it_is_not_known_whether_it_is_safe() -> None:
    rulebook = book(**{"policy/yes.yml": YES})
    answers = {fact: value for fact, value in SAFE.items() if fact != "cord_damaged"}
    amount = as_money(90, "USD")

    assert decided(rulebook).outcome == "approve"
    assert decided(rulebook, answers).outcome == "dispatch"
    assert decided(rulebook, answers, estimate=EstimateTotal(amount, amount)).outcome == "approve"


@pytest.mark.parametrize("outcome", ["approve", "hold", "swap", "dispatch"])
def test_every_outcome_keeps_the_most_urgent_priority_and_the_strongest_skill(outcome: str) -> None:
    then = {"outcome": outcome, "priority": 990, "text": "So."}
    rule = {**YES, "then": then}
    both = {**SAFE, "cord_damaged": True, "sparks_seen": True}

    amount = as_money(90, "USD")  # within the limit, though someone comes after hours
    found = decided(book(**{"policy/yes.yml": rule}), both, estimate=EstimateTotal(amount, amount))

    assert found.outcome == outcome
    assert (found.priority, found.skill) == (1, "refrigeration")
    if found.visit is not None:
        assert (found.visit.priority, found.visit.skill) == (1, "refrigeration")


def test_a_rule_that_lost_still_makes_it_urgent() -> None:
    late = {**YES, "id": "late", "then": {"outcome": "dispatch", "priority": 1, "text": "So.",
                                          "visit_priority": 1}}  # fmt: skip
    amount = as_money(90, "USD")  # within the limit, though someone comes after hours
    rulebook = book(**{"policy/yes.yml": YES, "policy/late.yml": late})
    found = decided(rulebook, estimate=EstimateTotal(amount, amount))

    assert (found.outcome, found.priority) == ("approve", 1)


def test_after_stop_only_what_can_be_told_from_afar_is_asked() -> None:
    answers = {"cord_damaged": True}

    found = decided(book(), answers)

    assert "damaged-cord" in open_in(found)
    assert {question.fact for question in found.questions} == {"smoke_seen"}


def raised(id_: str, ticket: str | None = None) -> Danger:
    return Danger(id_, "caller", EARLIER, ticket=ticket)


@pytest.mark.parametrize(
    "state",
    [DangerState(open=(raised("fire"),)), DangerState(elsewhere=(raised("fire", "T-9"),))],
)
def test_a_danger_raised_before_or_on_another_ticket_stands_whatever_is_answered(state: DangerState) -> None:
    found = decided(book(), state=state, checks=(CheckResult("rinse-filter", "cured"),))

    assert found.dangers == (*state.open, *state.elsewhere)
    assert (found.outcome, found.solved, plan_of(found)) == ("dispatch", False, [])
    assert (found.priority, found.skill) == (1, "electrical")
    assert "fire" in {each.rule for each in found.cautions}


def test_what_is_raised_here_as_well_stands_here_by_itself() -> None:
    state = DangerState(elsewhere=(raised("fire", "T-9"),))

    (danger, _) = decided(book(), {**SAFE, "sparks_seen": True}, state).dangers

    assert (danger.caution, danger.ticket, danger.since) == ("fire", None, NOW)


def test_a_retired_caution_lifts_no_danger_that_stands_open() -> None:
    retired = {**FILES["cautions/fire.yml"], "status": "retired"}  # type: ignore[dict-item]
    state = DangerState(open=(raised("fire"),))

    found = decided(book(**{"cautions/fire.yml": retired}), state=state)

    assert (open_in(found), plan_of(found), found.outcome) == (["fire"], [], "dispatch")
    assert "fire" in {each.rule for each in found.cautions}


def test_a_danger_of_a_caution_that_is_gone_stands_and_keeps_everybody_away() -> None:
    found = decided(book(), state=DangerState(open=(raised("gone"),)))

    assert (open_in(found), plan_of(found), found.outcome) == (["gone"], [], "dispatch")
    assert any("not in this rulebook" in note for note in found.notes)


def test_what_was_made_safe_is_lifted_and_nothing_else() -> None:
    answers = {**SAFE, "sparks_seen": True}

    found = decided(book(), answers, DangerState(safe=(MadeSafe("fire", 1),)))

    assert open_in(found) == ["no-reach"]
    assert "fill-hopper" not in plan_of(found)
    assert found.outcome != "fix_in_store"
    both = decided(book(), answers, DangerState(safe=(MadeSafe("fire", 1), MadeSafe("no-reach", 1))))
    assert (both.dangers, both.outcome) == ((), "fix_in_store")
    elsewhere = DangerState(safe=(MadeSafe("fire", 1),), elsewhere=(raised("fire", "T-9"),))
    assert "fire" in open_in(decided(book(), state=elsewhere))


def test_words_misread_raise_nothing_and_are_not_taken_for_a_fact() -> None:
    heard = decided(book(), note="there is smoke")
    misread = decided(book(), note="there is smoke", state=DangerState(misread={"smoke_seen": 1}))

    assert open_in(heard) == ["fire"]
    assert (misread.dangers, misread.outcome) == ((), "fix_in_store")
    assert misread.facts["smoke_seen"].value is False


def test_words_misread_of_one_danger_leave_another_heard_and_what_is_said_later() -> None:
    state = DangerState(misread={"smoke_seen": 1})

    assert "no-reach" in open_in(decided(book(), note="there are sparks", state=state))
    later = replace(state, said=("now there is smoke",))
    assert open_in(decided(book(), note="there is smoke", state=later)) == ["fire"]


def test_words_misread_do_not_unsay_what_another_source_says() -> None:
    state = DangerState(misread={"smoke_seen": 1})

    found = decided(book(), {**SAFE, "smoke_seen": True}, state, note="there is smoke")

    assert open_in(found) == ["fire"]
    assert open_in(decided(book(), SAFE, state, "there is smoke", {"smoke_seen": True})) == ["fire"]


def test_a_caution_that_denies_the_fact_does_not_keep_misread_words_alive() -> None:
    odd = caution(
        "odd", {"symptom": '"leaking"', "none_of": [{"smoke_seen": True}]},
        {"symptom": ["leaking"], "smoke_seen": False}, {"symptom": ["leaking"], "smoke_seen": True},
        stop_use=True,
    )  # fmt: skip
    state = DangerState(misread={"smoke_seen": 1})

    assert decided(book(**{"cautions/odd.yml": odd}), note="there is smoke", state=state).dangers == ()


WARM = caution(
    "warm",
    {"fill_level": "> 50"},
    {"fill_level": 60},
    {"fill_level": 10},
    first=["sanitize"],
    visit_priority=2,
)


def with_first(
    done: Sequence[tuple[str, str]] = (), then: Mapping[str, object] | None = None, **more: object
) -> Decision:
    rulebook = book(**{"cautions/warm.yml": {**WARM, **({"then": then} if then else {})}, **more})
    results = tuple(CheckResult(check, result) for check, result in done)  # type: ignore[arg-type]
    return decided(rulebook, {**SAFE, "fill_level": 60}, checks=results)


def test_what_must_be_done_first_leads_the_plan_and_comes_before_any_cure() -> None:
    assert plan_of(with_first())[0] == "sanitize"
    assert len(with_first().plan) > 1

    early = with_first([("rinse-filter", "cured")])
    assert not early.solved
    assert plan_of(early)[0] == "sanitize"
    assert with_first([("rinse-filter", "cured"), ("sanitize", "not_cured")]).solved


def test_what_must_be_done_first_and_could_not_be_leaves_nothing_to_do_in_the_store() -> None:
    found = with_first([("rinse-filter", "cured"), ("sanitize", "could_not_do")])

    assert (found.solved, plan_of(found), found.outcome) == (False, [], "dispatch")


def test_a_first_check_that_is_forbidden_or_a_technicians_is_not_passed_over() -> None:
    forbidden = caution(
        "hands-off", {"fill_level": "> 50"}, {"fill_level": 60}, {"fill_level": 10}, forbids=["sanitize"]
    )
    theirs = check("sanitize", {"symptom": '"leaking"'}, {"other": 0.01}, who="technician")

    assert plan_of(with_first(**{"cautions/hands-off.yml": forbidden})) == []
    assert plan_of(with_first(**{"checks/sanitize.yml": theirs})) == []


@pytest.mark.parametrize("fact", ["burning_smell", "plug_hot", "gas_smell", "tingle_felt", "wet_electrics"])
def test_a_danger_that_nobody_can_tell_keeps_people_away_whatever_the_symptom(fact: str) -> None:
    rulebook, engine = default_rules()
    report = Report(("no_dispense",), NOW, unknown=(fact,))
    found = decide(rulebook, engine, report, None, History(), NOW, True)

    assert fact in found.waits_for
    assert found.outcome not in ("fix_in_store", "approve")
    assert not [step for step in found.plan if rulebook.checks[step.check].near]
