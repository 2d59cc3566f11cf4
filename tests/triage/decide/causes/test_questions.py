"""The next question is the one that saves most, net of asking, by the same ranking and the same plans.

Source: value of information one step ahead, made here from whole rankings and plans, answer by answer
Status: computed with this program's own ranking and plan, each checked elsewhere
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from decimal import Decimal
from itertools import product

import numpy as np
import pytest

from tests.triage.small_rulebooks import (
    check_of,
    clerk_fact,
    evidence_rule,
    flag_is,
    rule_head,
    small_rulebook,
    store_rates,
)
from triage.decide.causes.answer_effects import answers_to, reaches
from triage.decide.causes.answer_values import try_values
from triage.decide.causes.checks import best_plan
from triage.decide.causes.questions import next_questions
from triage.decide.causes.ranking import rank
from triage.logic.conditions import AllOf, AnyOf, Compare, Condition, FactTest, FactValue, Interval, evaluate
from triage.records.decision import Question
from triage.rulebook.model import Caution, DeriveRule, EvidenceRule, Rulebook
from triage.rulebook.terms import Tolerances

TWO_CAUSES = {"s": {"a": 45, "b": 45, "other": 10}}
REPAIR = {"a": 200.0, "b": 200.0, "other": 200.0}
CURES = [check_of("cure-a", 30, {"a": 1.0}), check_of("cure-b", 30, {"b": 1.0})]


def _chances(rulebook: Rulebook, facts: Mapping[str, FactValue]) -> dict[str, float]:
    truths = {id_: evaluate(rule.head.when, facts) for id_, rule in rulebook.evidence.items()}
    return {each.cause: each.chance for each in rank(rulebook, ["s"], truths)}


def _ask(
    rulebook: Rulebook,
    facts: Mapping[str, FactValue] | None = None,
    applicable: list[str] | None = None,
    derived: tuple[str, ...] = (),
    repair: Mapping[str, float] = REPAIR,
    **more: object,
) -> dict[str, Question]:
    known = facts or {}
    may = list(rulebook.checks) if applicable is None else applicable
    asked = next_questions(
        rulebook,
        known,
        _chances(rulebook, known),
        may,
        repair,
        derived=derived,
        **more,  # type: ignore[arg-type]
    )
    return {question.fact: question for question in asked}


def _below(fact: str, bound: int) -> Condition:
    return FactTest(fact, Compare("<", Decimal(bound)))


def _caution(caution_id: str, when: Condition, only_with_checks: bool = False) -> Caution:
    return Caution(
        rule_head(caution_id, when), "Keep clear.", only_with_checks, True, forbids_all_checks=True
    )


def _random_case(rng: random.Random) -> tuple[Rulebook, dict[str, float]]:
    causes = [f"c{index}" for index in range(rng.randint(2, 5))]
    facts, evidence = [], []
    for index in range(rng.randint(1, 4)):
        name = f"f{index}"
        seen = {cause: round(rng.uniform(0.05, 0.95), 3) for cause in rng.sample(causes, 1)}
        if rng.random() < 0.5:
            facts.append(clerk_fact(name, ask_seconds=rng.randint(0, 60)))
            evidence.append(
                evidence_rule(f"e{index}", round(rng.uniform(0.05, 0.95), 3), when=flag_is(name), **seen)
            )
        else:
            facts.append(clerk_fact(name, type="number", ask_seconds=rng.randint(0, 60)))
            for band in range(3):
                given = {cause: chance / 3.2 for cause, chance in seen.items()}
                others = round(rng.uniform(0.05, 0.3), 3)
                when = _below(name, 10 * (band + 1))
                evidence.append(evidence_rule(f"e{index}-{band}", others, name, band, when, **given))
    checks = [
        check_of(
            f"k{index}", round(rng.uniform(0, 40), 2), {rng.choice(causes): round(rng.uniform(0.3, 1), 2)}
        )
        for index in range(rng.randint(0, 5))
    ]
    shares = {"s": {cause: rng.randint(1, 40) for cause in [*causes, "other"]}}
    rulebook = small_rulebook(shares, evidence, checks, facts, store=store_rates("18", "22"))
    return rulebook, {cause: rng.uniform(50, 600) for cause in [*causes, "other"]}


def _answer_chance(
    rulebook: Rulebook, fact: str, facts: Mapping[str, FactValue], chances: Mapping[str, float]
) -> float:
    """P(what the rules that look at `fact` show), from their own numbers."""
    rules = [rule for id_, rule in rulebook.evidence.items() if id_ == f"e{fact[1:]}" or rule.group == fact]
    rules.sort(key=lambda rule: rule.band)
    held = [evaluate(rule.head.when, facts) for rule in rules]
    if True in held:
        first = rules[held.index(True)]
        return sum(chance * first.chance_given(cause) for cause, chance in chances.items())
    return sum(
        chance * (1 - sum(rule.chance_given(cause) for rule in rules)) for cause, chance in chances.items()
    )


def test_what_questions_save_is_the_difference_of_whole_plans_in_150_random_cases() -> None:
    rng = random.Random(7)
    asked = 0
    for _ in range(150):
        rulebook, repair = _random_case(rng)
        chances = _chances(rulebook, {})
        now = best_plan(rulebook, chances, rulebook.checks, repair).cost
        questions = _ask(rulebook, repair=repair)
        for fact in rulebook.facts.values():
            values: list[FactValue] = (
                [True, False] if fact.type == "flag" else [Decimal(n) for n in (5, 15, 25, 35)]
            )
            after = 0.0
            for value in values:
                known = {fact.id: value}
                plan = best_plan(rulebook, _chances(rulebook, known), rulebook.checks, repair)
                after += _answer_chance(rulebook, fact.id, known, chances) * plan.cost
            net = now - after - fact.ask_seconds * 36 / 3600
            if fact.id in questions:
                assert float(questions[fact.id].saves.amount) == pytest.approx(net, abs=0.0051)
                asked += 1
            else:
                assert net < 0.0051
    assert asked > 30


def test_an_answer_that_changes_nothing_in_the_plan_is_not_asked_for() -> None:
    rulebook = small_rulebook(TWO_CAUSES, [evidence_rule("e", 0.3, a=0.6)], [], [clerk_fact("e")])
    assert _ask(rulebook) == {}


def test_a_question_that_decides_which_check_to_do_saves_and_says_what_it_tells_apart() -> None:
    rulebook = small_rulebook(TWO_CAUSES, [evidence_rule("e", 0.5, a=0.95, b=0.05)], CURES, [clerk_fact("e")])
    (question,) = _ask(rulebook).values()
    assert question.saves.amount > 0
    assert question.why == "It tells “Cause a” from “Cause b”."
    assert (question.ask, question.safety) == ("e?", False)


def test_known_facts_facts_to_skip_and_facts_of_others_than_the_clerk_are_not_asked_for() -> None:
    rules = [evidence_rule(name, 0.5, a=0.9, b=0.1) for name in ("e", "f", "g", "h")]
    facts = [clerk_fact("e"), clerk_fact("f"), clerk_fact("g"), clerk_fact("h", asked_of="technician")]
    rulebook = small_rulebook({"s": {"a": 45, "b": 45, "other": 10}}, rules, CURES, facts)
    assert _ask(rulebook, {"e": True}, skip=["g"]).keys() <= {"f"}
    assert _ask(rulebook).keys() == {"e", "f", "g"}


def test_drafts_give_no_questions() -> None:
    rules = [evidence_rule("e", 0.5, a=0.95, b=0.05, status="draft")]
    assert _ask(small_rulebook(TWO_CAUSES, rules, CURES, [clerk_fact("e")])) == {}


def test_the_time_to_ask_is_paid_for_clerk_and_agent() -> None:
    def saves(seconds: int) -> Decimal:
        rules = [evidence_rule("e", 0.5, a=0.95, b=0.05)]
        facts = [clerk_fact("e", ask_seconds=seconds)]
        rulebook = small_rulebook(TWO_CAUSES, rules, CURES, facts, store=store_rates("36"))
        return _ask(rulebook)["e"].saves.amount

    assert saves(0) - saves(60) == Decimal("1.20")


def test_a_question_not_worth_the_rulebooks_number_is_not_asked() -> None:
    def asked(worth: Decimal) -> bool:
        rules = [evidence_rule("e", 0.5, a=0.95, b=0.05)]
        tolerances = Tolerances(question_worth=worth)
        return bool(_ask(small_rulebook(TWO_CAUSES, rules, CURES, [clerk_fact("e")], tolerances=tolerances)))

    saves = _ask(
        small_rulebook(TWO_CAUSES, [evidence_rule("e", 0.5, a=0.95, b=0.05)], CURES, [clerk_fact("e")])
    )
    amount = saves["e"].saves.amount
    assert asked(amount - Decimal("0.01"))
    assert not asked(amount)


def test_a_fact_that_only_a_derived_fact_looks_at_is_asked_for() -> None:
    derive = DeriveRule(rule_head("old", _below("days", 15)), {"clean": True}, {"clean": False})
    rules = [evidence_rule("e", 0.5, when=flag_is("clean"), a=0.05, b=0.95)]
    facts = [clerk_fact("days", type="number"), clerk_fact("clean", asked_of="computed")]
    rulebook = small_rulebook(TWO_CAUSES, rules, CURES, facts, [derive])
    assert _ask(rulebook).keys() == {"days"}


def test_a_derived_fact_is_derived_again_when_the_answer_lets_a_stronger_rule_speak() -> None:
    weak = DeriveRule(rule_head("weak", flag_is("model_old")), {"clean": True})
    strong = DeriveRule(rule_head("strong", flag_is("dust")), {"clean": False}, priority=1)
    rules = [evidence_rule("e", 0.5, when=AllOf((flag_is("clean"), flag_is("seen"))), a=0.05, b=0.95)]
    facts = [clerk_fact("dust"), clerk_fact("clean", asked_of="computed")]
    rulebook = small_rulebook(TWO_CAUSES, rules, CURES, facts, [weak, strong])
    (reach,) = reaches(rulebook)
    known: dict[str, FactValue] = {"model_old": True, "clean": True}
    assert answers_to(reach, known, derived=["clean"]).given_cause.shape[0] == 2
    assert answers_to(reach, known, derived=[]).given_cause.shape[0] == 1


def test_an_answer_that_opens_a_check_saves_and_the_question_says_so() -> None:
    opened = check_of("cure-a", 5, {"a": 1.0}, when=flag_is("reachable"))
    rulebook = small_rulebook(TWO_CAUSES, [], [opened], [clerk_fact("reachable")])
    (question,) = _ask(rulebook, applicable=[]).values()
    # Half the answers open a check that saves .45 × 200 at a price of 5.
    assert question.saves.amount == Decimal("42.50")
    assert question.why == "It shows whether “Check cure-a” applies."


@pytest.mark.parametrize("barred", ["done", "forbidden"])
def test_a_check_that_is_forbidden_or_done_is_not_opened_by_an_answer(barred: str) -> None:
    opened = check_of("cure-a", 5, {"a": 1.0}, when=flag_is("reachable"))
    rulebook = small_rulebook(TWO_CAUSES, [], [opened], [clerk_fact("reachable")])
    assert _ask(rulebook, applicable=[], **{barred: ["cure-a"]}) == {}


def test_a_technicians_check_is_not_opened_by_an_answer() -> None:
    opened = check_of("cure-a", 5, {"a": 1.0}, who="technician", when=flag_is("reachable"))
    assert _ask(small_rulebook(TWO_CAUSES, [], [opened], [clerk_fact("reachable")]), applicable=[]) == {}


def test_questions_a_caution_hangs_on_come_first_whatever_they_save() -> None:
    rules = [evidence_rule("e", 0.5, a=0.95, b=0.05)]
    facts = [clerk_fact("e"), clerk_fact("sparks", ask_seconds=600)]
    cautions = [_caution("stay-away", flag_is("sparks"))]
    rulebook = small_rulebook(TWO_CAUSES, rules, CURES, facts, cautions=cautions)
    questions = list(_ask(rulebook).values())
    assert [(question.fact, question.safety) for question in questions] == [("sparks", True), ("e", False)]
    assert questions[0].saves.amount < 0
    assert questions[0].why == "A caution depends on it: Rule stay-away."


@pytest.mark.parametrize(
    ("facts", "asked"),
    [
        ({}, {"sparks", "wet"}),  # either may lead to the caution
        ({"wet": True}, {"sparks"}),
        ({"wet": False}, set()),  # the caution cannot come true any more
        ({"symptom": frozenset({"s"}), "wet": True, "sparks": True}, set()),  # it is true already
    ],
)
def test_a_caution_asks_only_while_its_condition_is_unknown(
    facts: dict[str, FactValue], asked: set[str]
) -> None:
    cautions = [_caution("stay-away", AllOf((flag_is("sparks"), flag_is("wet"))))]
    rulebook = small_rulebook(
        TWO_CAUSES, [], [], [clerk_fact("sparks"), clerk_fact("wet")], cautions=cautions
    )
    assert _ask(rulebook, facts).keys() == asked


def test_a_caution_said_only_beside_checks_and_a_draft_ask_nothing() -> None:
    draft = Caution(rule_head("draft", flag_is("sparks"), "draft"), "Keep clear.")
    cautions = [_caution("unplug", flag_is("sparks"), only_with_checks=True), draft]
    assert _ask(small_rulebook(TWO_CAUSES, [], [], [clerk_fact("sparks")], cautions=cautions)) == {}


def test_two_halves_of_one_rule_are_each_worth_asking() -> None:
    rules = [evidence_rule("e", 0.04, when=AllOf((flag_is("f"), flag_is("g"))), a=0.81)]
    rulebook = small_rulebook(TWO_CAUSES, rules, CURES, [clerk_fact("f"), clerk_fact("g")])
    assert _ask(rulebook).keys() == {"f", "g"}
    reach = reaches(rulebook)[0]
    (yes, no) = answers_to(reach, {}, ()).given_cause
    assert yes[0] == pytest.approx(0.9)  # √0.81: two facts, an equal part each
    assert (yes + no).tolist() == pytest.approx([1.0] * len(yes))
    (yes, no) = answers_to(reach, {"g": True}, ()).given_cause
    assert yes[0] == pytest.approx(0.81)


def test_the_chances_of_the_answers_sum_to_one_for_every_cause_in_random_rulebooks() -> None:
    rng = random.Random(3)
    names = ["f0", "f1", "f2"]

    def condition(depth: int) -> Condition:
        if depth == 0 or rng.random() < 0.4:
            return flag_is(rng.choice(names), rng.random() < 0.7)
        parts = tuple(condition(depth - 1) for _ in range(2))
        return AllOf(parts) if rng.random() < 0.5 else AnyOf(parts)

    tried = 0
    for _ in range(200):
        rules: list[EvidenceRule] = []
        for index in range(4):
            group = "g" if index > 1 else None
            others = round(rng.uniform(0.05, 0.45), 3)
            rules.append(evidence_rule(f"e{index}", others, group, index, condition(2), a=0.3, b=0.4))
        rulebook = small_rulebook(TWO_CAUSES, rules, CURES, [clerk_fact(name) for name in names])
        facts = {name: rng.random() < 0.5 for name in names if rng.random() < 0.3}
        for reach in reaches(rulebook):
            if reach.fact.id not in facts:
                given = answers_to(reach, facts, ()).given_cause
                assert np.all(given >= 0)
                assert given.sum(axis=0).tolist() == pytest.approx([1.0] * given.shape[1])
                tried += 1
    assert tried > 200


def test_thirteen_checks_still_give_questions() -> None:
    causes = {f"c{index:02}": 10 for index in range(13)} | {"other": 5}
    checks = [check_of(f"k-{cause}", 20, {cause: 1.0}) for cause in causes if cause != "other"]
    rules = [evidence_rule("e", 0.1, c00=0.95)]
    rulebook = small_rulebook({"s": causes}, rules, checks, [clerk_fact("e")])
    assert _ask(rulebook, repair=dict.fromkeys(causes, 250.0)).keys() == {"e"}


def test_one_value_is_tried_for_every_piece_of_a_range_that_a_test_can_tell_apart() -> None:
    number = clerk_fact("n", type="number", range=Interval(Decimal(0), Decimal(100), True, True))
    tests = [_below("n", 20), FactTest("n", Interval(Decimal(20), Decimal(50), True, False))]
    assert try_values(number, tests) == tuple(Decimal(n) for n in (0, 10, 20, 35, 50, 75, 100))
    unbounded = clerk_fact("n", type="number")
    assert try_values(unbounded, [_below("n", 20)]) == tuple(Decimal(n) for n in (18, 19, 20, 21, 22))
    day = clerk_fact("d", type="date")
    first_of_may = FactTest("d", Compare("<", date(2026, 5, 1)))
    tried = try_values(day, [first_of_may])
    assert {evaluate(first_of_may, {"d": value}) for value in tried} == {True, False}
    hour = clerk_fact("t", type="time")
    evening = FactTest("t", Compare(">=", time(18, 30)))
    assert {value for value in try_values(hour, [evening]) if evaluate(evening, {"t": value})} >= {
        time(18, 30)
    }
    assert try_values(clerk_fact("f"), []) == (True, False)
    assert try_values(clerk_fact("c", type="choice", choices={"x": "X", "y": "Y"}), []) == ("x", "y")
    text = FactTest("m", Compare("=", "two-barrel"))
    tried_texts = try_values(clerk_fact("m", type="text"), [text])
    assert {evaluate(text, {"m": value}) for value in tried_texts} == {True, False}


def _two_that_pay_together() -> tuple[Rulebook, dict[str, float]]:
    """Only both answers together tell that the dear check is worth it."""
    rules = [evidence_rule(name, 0.25, a=0.95) for name in ("e", "f")]
    facts = [clerk_fact("e", ask_seconds=20), clerk_fact("f", ask_seconds=20), clerk_fact("g")]
    checks = [check_of("fix-a", 60, {"a": 0.9})]
    shares = {"s": {"a": 25, "b": 65, "other": 10}}
    tolerances = Tolerances(question_worth=Decimal(1))
    rulebook = small_rulebook(
        shares, [*rules, evidence_rule("g", 0.01, b=0.02)], checks, facts, tolerances=tolerances
    )
    return rulebook, dict.fromkeys(("a", "b", "other"), 100.0)


def test_marked_questions_come_first_in_their_order_with_what_they_save_together() -> None:
    rulebook, repair = _two_that_pay_together()
    assert _ask(rulebook, repair=repair) == {}
    asked = _ask(rulebook, repair=repair, ask_first=["f", "e"])
    assert list(asked) == ["f", "e"]
    chances = _chances(rulebook, {})
    now = best_plan(rulebook, chances, rulebook.checks, repair).cost
    after = 0.0
    for e, f in product((True, False), repeat=2):
        known = {"e": e, "f": f}
        joint = sum(
            chance * math.prod(rule.chance_given(cause) if known[id_] else 1 - rule.chance_given(cause)
                               for id_, rule in rulebook.evidence.items() if id_ in known)
            for cause, chance in chances.items()
        )  # fmt: skip
        plan = best_plan(rulebook, _chances(rulebook, known), rulebook.checks, repair)
        after += joint * plan.cost
    net = now - after - 2 * 20 * 120 / 3600
    assert net > 1
    assert f"together they save {net:.2f} USD on average, net of asking" in asked["e"].why
    lost = _ask(rulebook, repair=dict.fromkeys(repair, 1.0), ask_first=["f", "e"])
    assert "together they save nothing on average (-1.33 USD), net of asking" in lost["e"].why


def test_a_marked_question_that_is_answered_or_would_tell_nothing_is_not_asked() -> None:
    rulebook, repair = _two_that_pay_together()
    assert list(_ask(rulebook, {"f": True}, repair=repair, ask_first=["f", "e", "no_such"])) == ["e"]
    assert "it saves" in _ask(rulebook, {"f": True}, repair=repair, ask_first=["e"])["e"].why


def test_questions_of_safety_come_before_marked_ones() -> None:
    rulebook, repair = _two_that_pay_together()
    danger = _caution("sparks", flag_is("g"))
    rulebook = replace(rulebook, cautions={"sparks": danger})
    assert list(_ask(rulebook, repair=repair, ask_first=["e"]))[:2] == ["g", "e"]
