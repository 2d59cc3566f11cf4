from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from tests.engines import ENGINES
from tests.triage.generated_conditions import DERIVABLE, ORDERED, SYMPTOM, VALUES, conditions, known_facts
from tests.triage.small_rulebooks import (
    check_of,
    evidence_rule,
    flag_is,
    rule_head,
    small_rulebook,
)
from triage.decide.causes.inference import compile_rulebook, fired_policy, infer
from triage.logic.conditions import (
    ALWAYS,
    AllOf,
    AnyOf,
    Compare,
    Condition,
    Facts,
    FactTest,
    FactValue,
    Known,
    Unknown,
    evaluate,
)
from triage.logic.engine import Engine, RuleTooWide
from triage.logic.engine_checked import engine_note
from triage.rulebook.model import Caution, DeriveRule, EvidenceRule, Fact, PolicyRule, Rulebook, Status
from triage.values.errors import InputError, RulebookError

SHARES = {"leaking": {"seal": 3.0, "other": 1.0}}
NO_DEADLINE = settings(
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def derive_rule(
    rule_id: str,
    when: Condition,
    sets: dict[str, Any],
    otherwise: dict[str, Any] | None = None,
    priority: int = 0,
    status: Status = "live",
) -> DeriveRule:
    return DeriveRule(rule_head(rule_id, when, status), sets, otherwise or {}, priority)


def caution(rule_id: str, when: Condition, **more: Any) -> Caution:
    return Caution(rule_head(rule_id, when), "Take care.", **more)


def policy_rule(rule_id: str, when: Condition, status: Status = "live") -> PolicyRule:
    return PolicyRule(rule_head(rule_id, when, status), "dispatch", 1, "Because.")


def rulebook_of(
    derive: list[DeriveRule] | None = None,
    evidence: list[EvidenceRule] | None = None,
    cautions: list[Caution] | None = None,
    checks: dict[str, Condition] | None = None,
    policy: list[PolicyRule] | None = None,
) -> Rulebook:
    rulebook = small_rulebook(
        SHARES,
        evidence or (),
        [check_of(id_, 1, {"seal": 0.5}, when=when) for id_, when in (checks or {}).items()],
        derive=derive or (),
        cautions=cautions or (),
    )
    return replace(rulebook, policy={rule.head.id: rule for rule in policy or ()})


def by_demand(rulebook: Rulebook, given_facts: Facts) -> dict[str, FactValue]:
    """The reference: each derived fact is looked up when it is asked for, by `conditions.evaluate` alone."""
    known = dict(given_facts)
    asked: set[str] = set()

    def look_up(fact: str) -> None:
        if fact in asked or fact in known:
            return
        asked.add(fact)
        rules = sorted(rulebook.derive.values(), key=lambda rule: (-rule.priority, rule.head.id))
        for rule in rules:
            if fact in rule.sets or fact in rule.otherwise:
                for other in VALUES:
                    if other in mentioned(rule.head.when):
                        look_up(other)
                truth = evaluate(rule.head.when, known)
                says = {True: rule.sets, False: rule.otherwise, None: {}}[truth]
                if fact in says:
                    known[fact] = says[fact]
                    return

    for fact in DERIVABLE:
        look_up(fact)
    return known


def mentioned(condition: Condition) -> set[str]:
    if isinstance(condition, FactTest | Known | Unknown):
        return {condition.fact}
    return {fact for part in condition.parts for fact in mentioned(part)}


def chained_rules() -> st.SearchStrategy[list[DeriveRule]]:
    """One to three rules for each of four facts, each of which may look at the facts before it."""
    lists = []
    for index, (fact, values) in enumerate(DERIVABLE.items()):
        may_look_at = [*list(DERIVABLE)[:index] * 3, *ORDERED, "seal", "noisy", SYMPTOM]
        says = st.sampled_from(values).map(lambda value, fact=fact: {fact: value})
        rule = st.builds(
            lambda when, sets, otherwise, priority: (when, sets, otherwise, priority),
            conditions(may_look_at),
            says,
            st.one_of(st.just({}), says),
            st.integers(-1, 1),
        )
        lists.append(st.lists(rule, min_size=1, max_size=3))
    return st.tuples(*lists).map(
        lambda of_facts: [
            derive_rule(f"{fact}-{number}", *rule)
            for fact, rules in zip(DERIVABLE, of_facts, strict=True)
            for number, rule in enumerate(rules)
        ]
    )


@st.composite
def rulebooks(draw: st.DrawFn) -> Rulebook:
    anything = conditions([*VALUES, *DERIVABLE, SYMPTOM])
    several = st.lists(anything, min_size=1, max_size=4)
    return rulebook_of(
        draw(st.permutations(draw(chained_rules()))),
        [evidence_rule(f"e{n}", 0.5, when=when) for n, when in enumerate(draw(several))],
        [caution(f"c{n}", when) for n, when in enumerate(draw(several))],
        {f"k{n}": when for n, when in enumerate(draw(several))},
        [policy_rule(f"p{n}", when) for n, when in enumerate(draw(several))],
    )


SOME_FACTS = st.lists(known_facts(), min_size=10, max_size=10)


def chained_as_the_reference(examples: int) -> int:
    """In how many rulebooks every engine chained facts as the reference does.

    One that durable refuses as too wide is none of them; another is drawn in its place.
    """
    compared = 0

    @settings(NO_DEADLINE, max_examples=examples)
    @given(rulebooks(), SOME_FACTS)
    def agree(rulebook: Rulebook, many_facts: list[Facts]) -> None:
        nonlocal compared
        try:
            engines = [compile_rulebook(rulebook, name) for name in ENGINES]
        except RuleTooWide:
            reject()
        assert tuple(engine.name for engine in engines) == ENGINES
        agree_on(rulebook, engines, many_facts)
        compared += 1

    agree()
    return compared


def agree_on(rulebook: Rulebook, engines: Sequence[Engine], many_facts: list[Facts]) -> None:
    for facts in many_facts:
        known = by_demand(rulebook, facts)
        for engine in engines:
            found = infer(rulebook, engine, facts)
            assert dict(found.facts) == known
            assert set(found.derived_by) == known.keys() - facts.keys()
            assert found.evidence == {
                rule.head.id: evaluate(rule.head.when, known) for rule in rulebook.evidence.values()
            }
            assert found.cautions == tuple(
                rule.head.id for rule in rulebook.cautions.values() if evaluate(rule.head.when, known)
            )
            assert found.checks == tuple(
                check.id for check in rulebook.checks.values() if evaluate(check.when, known)
            )
            assert fired_policy(engine, known) == tuple(
                rule.head.id for rule in rulebook.policy.values() if evaluate(rule.head.when, known)
            )


def test_every_engine_chains_facts_as_the_reference_does() -> None:
    assert chained_as_the_reference(100) >= 100


@pytest.mark.nightly
def test_every_engine_chains_facts_as_the_reference_does_all_night() -> None:
    assert chained_as_the_reference(3_400) >= 3_400


@pytest.mark.parametrize("engine", ENGINES)
def test_derived_facts_feed_further_rules_and_name_the_rule_behind_them(engine: str) -> None:
    rulebook = rulebook_of(
        [
            derive_rule("neglected", flag_is("overdue"), {"neglected": True}),
            derive_rule("overdue", FactTest("days", Compare(">", Decimal(15))), {"overdue": True}),
        ],
        [evidence_rule("e", 0.3, when=flag_is("neglected"))],
    )
    found = infer(rulebook, compile_rulebook(rulebook, engine), {"days": Decimal(16)})
    assert found.facts == {"days": Decimal(16), "overdue": True, "neglected": True}
    assert found.derived_by == {"overdue": "overdue", "neglected": "neglected"}
    assert found.evidence == {"e": True}


def test_a_fact_that_is_known_is_never_replaced() -> None:
    rulebook = rulebook_of([derive_rule("r", ALWAYS, {"a": True})])
    found = infer(rulebook, compile_rulebook(rulebook, "plain"), {"a": False})
    assert (dict(found.facts), found.derived_by) == ({"a": False}, {})


def about_a_danger(*derive: DeriveRule) -> Rulebook:
    shock = Fact("shock", "Shock", "flag", "clerk", danger=True)
    return replace(rulebook_of(list(derive)), facts={"shock": shock})


def test_of_a_danger_the_rule_that_says_so_counts_whatever_others_and_answers_say() -> None:
    rulebook = about_a_danger(
        derive_rule("denies", ALWAYS, {"shock": False}, priority=9),
        derive_rule("raises", flag_is("tingle"), {"shock": True}),
    )
    engine = compile_rulebook(rulebook, "plain")
    for given_facts in ({"tingle": True}, {"tingle": True, "shock": False}):
        found = infer(rulebook, engine, given_facts)
        assert (found.facts["shock"], found.derived_by["shock"]) == (True, "raises")
    assert infer(rulebook, engine, {"tingle": False}).facts["shock"] is False


def test_a_danger_is_not_ruled_out_while_a_rule_that_may_raise_it_is_undecided() -> None:
    rulebook = about_a_danger(
        derive_rule("denies", ALWAYS, {"shock": False}, priority=9),
        derive_rule("raises", flag_is("tingle"), {"shock": True}),
    )
    assert "shock" not in infer(rulebook, compile_rulebook(rulebook, "plain"), {}).facts
    otherwise = about_a_danger(
        derive_rule("denies", ALWAYS, {"shock": False}, priority=9),
        derive_rule("raises", flag_is("dry"), {"shock": False}, {"shock": True}),
    )
    assert "shock" not in infer(otherwise, compile_rulebook(otherwise, "plain"), {}).facts


def test_otherwise_counts_on_false_and_nothing_on_unknown() -> None:
    rulebook = rulebook_of([derive_rule("r", flag_is("a"), {"b": "yes"}, {"b": "no"})])
    engine = compile_rulebook(rulebook)
    assert infer(rulebook, engine, {"a": False}).facts["b"] == "no"
    assert "b" not in infer(rulebook, engine, {}).facts


def test_the_highest_priority_counts_even_where_it_needs_a_longer_chain() -> None:
    rulebook = rulebook_of(
        [
            derive_rule("a-quick", flag_is("a"), {"x": "quick"}),
            derive_rule("b-step", flag_is("a"), {"step": True}),
            derive_rule("c-slow", flag_is("step"), {"x": "slow"}, priority=5),
            derive_rule("d-reader", FactTest("x", Compare("=", "quick")), {"y": True}),
        ]
    )
    found = infer(rulebook, compile_rulebook(rulebook), {"a": True})
    assert found.facts == {"a": True, "step": True, "x": "slow"}


def test_of_equal_priority_the_first_id_that_speaks_counts() -> None:
    rulebook = rulebook_of(
        [
            derive_rule("b", ALWAYS, {"x": "b"}),
            derive_rule("a", flag_is("known_later"), {"x": "a"}),
        ]
    )
    engine = compile_rulebook(rulebook)
    assert infer(rulebook, engine, {}).derived_by == {"x": "b"}
    assert infer(rulebook, engine, {"known_later": True}).derived_by == {"x": "a"}


def test_unknown_is_asked_only_after_the_fact_could_be_derived() -> None:
    rulebook = rulebook_of(
        [
            derive_rule("guess", Unknown("measured"), {"guessed": True}),
            derive_rule("measure", flag_is("a"), {"measured": True}),
        ]
    )
    found = infer(rulebook, compile_rulebook(rulebook), {"a": True})
    assert found.facts == {"a": True, "measured": True}


def test_rules_that_need_each_other_in_a_circle_are_named() -> None:
    rulebook = rulebook_of(
        [
            derive_rule("one", flag_is("c"), {"a": True}),
            derive_rule("two", flag_is("a"), {"b": True}),
            derive_rule("three", AnyOf((flag_is("z"), flag_is("b"))), {"z2": True}, {"c": False}),
        ]
    )
    with pytest.raises(RulebookError) as caught:
        compile_rulebook(rulebook)
    message = str(caught.value)
    assert "derive rules need each other in a circle" in message
    for step in (
        '"one" sets "a", which "two" looks at',
        '"two" sets "b", which "three" looks at',
        '"three" sets "c", which "one" looks at',
    ):
        assert step in message


def test_a_rule_that_looks_at_the_fact_it_sets_is_a_circle() -> None:
    rulebook = rulebook_of([derive_rule("again", Unknown("a"), {"a": True})])
    with pytest.raises(RulebookError, match=r'again: .*"again" sets "a", which "again" looks at'):
        compile_rulebook(rulebook)


def test_drafts_and_retired_rules_do_not_fire_and_make_no_circle() -> None:
    rulebook = rulebook_of(
        [
            derive_rule("draft", Unknown("a"), {"a": True}, status="draft"),
            derive_rule("retired", ALWAYS, {"b": True}, status="retired"),
        ],
        [evidence_rule("e", 0.5, when=ALWAYS, status="draft")],
        policy=[policy_rule("p", ALWAYS, "retired")],
    )
    engine = compile_rulebook(rulebook)
    found = infer(rulebook, engine, {})
    assert (found.facts, found.evidence, fired_policy(engine, {})) == ({}, {}, ())


def test_rules_of_different_kinds_may_share_an_id() -> None:
    rulebook = rulebook_of(
        evidence=[evidence_rule("same", 0.5, when=flag_is("a"))],
        cautions=[caution("same", flag_is("b"))],
        checks={"same": flag_is("c")},
    )
    found = infer(rulebook, compile_rulebook(rulebook), {"a": False, "b": True, "c": False})
    assert (found.evidence, found.cautions, found.checks) == ({"same": False}, ("same",), ())


def test_the_facts_handed_in_are_left_as_they_are() -> None:
    rulebook = rulebook_of([derive_rule("r", ALWAYS, {"a": True})])
    facts: dict[str, FactValue] = {}
    infer(rulebook, compile_rulebook(rulebook), facts)
    assert facts == {}


def test_the_uncompiled_protocol_is_enough_for_inference() -> None:
    rulebook = rulebook_of([derive_rule("r", ALWAYS, {"a": True})])
    bare = compile_rulebook(rulebook, "plain").engine
    assert infer(rulebook, bare, {}).facts == {"a": True}


def test_a_condition_nested_too_deep_is_refused_with_its_file() -> None:
    deep: Condition = flag_is("a")
    for _ in range(5_000):
        deep = AllOf((deep,))
    with pytest.raises(RulebookError, match='e: rule "e" is nested more than 32 levels deep'):
        compile_rulebook(rulebook_of(evidence=[evidence_rule("e", 0.5, when=deep)]))


@pytest.mark.skipif(engine_note() is not None, reason="the durable engine does not import on this Python")
def test_a_rule_too_wide_for_the_engine_is_refused_with_its_file() -> None:
    wide = AnyOf(tuple(flag_is(f"f{index}") for index in range(600)))
    with pytest.raises(RulebookError, match=r'^checks/k\.yml: rule "k" has more than 100 alternatives'):
        compile_rulebook(rulebook_of(checks={"k": wide}))


def test_an_unknown_engine_is_refused() -> None:
    with pytest.raises(InputError, match='there is no engine "fastest"'):
        compile_rulebook(rulebook_of(), "fastest")
