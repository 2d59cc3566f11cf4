"""Safety over random rulebooks and facts: whatever the rules say, and whatever it would save."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from hypothesis import given, settings
from hypothesis import strategies as st
from moneyed import Money

from tests import RULES
from tests.triage.builders import minimal_rulebook
from tests.triage.small_rulebooks import check_of, flag_is, rule_head, small_rulebook
from triage.decide.causes.inference import CompiledRules, compile_rulebook
from triage.decide.pipeline import decide
from triage.logic.conditions import Facts, Interval, evaluate
from triage.records.report import CheckResult, EstimateTotal, History, Report
from triage.rulebook.model import Caution, Fact, PolicyRule, Rulebook
from triage.rulebook.reading.reader import read_rulebook

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
FLAGS = ("f0", "f1", "f2")
CHECKS = ("c0", "c1", "c2", "c3")
CAUSES = ("a", "b", "other")
BASE = minimal_rulebook()
FIVE = ("fix_in_store", "dispatch", "approve", "hold", "swap")


@st.composite
def random_rulebooks(draw: st.DrawFn) -> Rulebook:
    condition = st.builds(flag_is, st.sampled_from(FLAGS), st.booleans())
    checks = [
        check_of(
            id_,
            draw(st.integers(0, 30)),
            draw(st.dictionaries(st.sampled_from(CAUSES), st.floats(0.05, 1.0), min_size=1)),
        )
        for id_ in CHECKS
    ]
    cautions = [
        Caution(
            rule_head(f"caution-{index}", draw(condition)),
            "Mind.",
            only_with_checks=draw(st.booleans()),
            stop_use=draw(st.integers(0, 3)) == 0,
            forbids=draw(st.frozensets(st.sampled_from(CHECKS))),
            forbids_all_checks=draw(st.integers(0, 5)) == 0,
        )
        for index in range(draw(st.integers(0, 3)))
    ]
    rules = [
        PolicyRule(
            rule_head(f"rule-{index}", draw(condition)),
            draw(st.sampled_from(FIVE)),
            draw(st.integers(0, 3)) * 100,
            "Because of {top_cause}.",
        )
        for index in range(draw(st.integers(0, 5)))
    ]
    shares = {"broken": {each: draw(st.integers(1, 50)) for each in CAUSES}}
    facts = [Fact(name, name, "flag", "clerk", ask=f"{name}?") for name in FLAGS]
    rulebook = small_rulebook(shares, checks=checks, facts=facts, cautions=cautions)
    costly = replace(rulebook.rates.default, trip=Decimal(draw(st.integers(0, 600))))
    return replace(
        rulebook,
        policy={rule.head.id: rule for rule in rules},
        rates=replace(rulebook.rates, default=costly),
        limits=BASE.limits,
        authorities=BASE.authorities,
        service_hours=BASE.service_hours,
    )


@st.composite
def random_reports(draw: st.DrawFn) -> Report:
    answers = draw(st.dictionaries(st.sampled_from(FLAGS), st.booleans()))
    done = draw(
        st.dictionaries(st.sampled_from(CHECKS), st.sampled_from(["cured", "not_cured", "could_not_do"]))
    )
    estimate = draw(st.none() | st.integers(0, 900).map(lambda amount: Money(amount, "USD")))
    return Report(
        ("broken",),
        NOW - timedelta(hours=1),
        answers=answers,
        checks=tuple(CheckResult(name, result) for name, result in done.items()),  # type: ignore[arg-type]
        estimate=None if estimate is None else EstimateTotal(estimate, estimate),
    )


@given(random_rulebooks(), random_reports())
@settings(deadline=None, derandomize=True, max_examples=300)
def test_nothing_a_fired_caution_forbids_is_ever_suggested_and_there_is_exactly_one_outcome(
    rulebook: Rulebook, report: Report
) -> None:
    engine = compile_rulebook(rulebook, "plain")

    found = decide(rulebook, engine, report, None, History(), NOW)

    fired = [caution for caution in rulebook.cautions.values() if _holds(caution, report.answers)]
    forbidden = {id_ for caution in fired for id_ in caution.forbids}
    stopped = any(caution.stop_use and not caution.only_with_checks for caution in fired)
    if stopped or any(caution.forbids_all_checks for caution in fired):
        forbidden = set(CHECKS)
    suggested = {step.check for step in found.plan}
    assert not suggested & forbidden
    assert not suggested & {done.check for done in report.checks}
    assert found.outcome in FIVE
    if found.outcome == "fix_in_store" and not found.solved:
        assert suggested
        assert not stopped
    if stopped:
        assert not found.solved
    for caution in fired:
        if not caution.only_with_checks:
            assert caution.head.id in {said.rule for said in found.cautions}
    if found.approved_up_to is not None:
        assert found.approved_up_to <= found.limit.headroom
    assert {reason.outcome for reason in found.reasons} == {found.outcome}
    assert found.outcome not in {reason.outcome for reason in found.overruled}
    assert (found.visit is None) == (found.outcome in ("fix_in_store", "hold"))
    assert found == decide(rulebook, engine, report, None, History(), NOW)


def _holds(caution: Caution, answers: Mapping[str, object]) -> bool:
    test = caution.head.when
    return answers.get(test.fact) is test.test.value  # type: ignore[union-attr]


@lru_cache(maxsize=1)
def default_rulebook() -> tuple[Rulebook, CompiledRules]:
    rulebook = read_rulebook(RULES)
    return rulebook, compile_rulebook(rulebook, "plain")


def answers_to(fact: Fact) -> st.SearchStrategy[object]:
    if fact.type == "flag":
        return st.booleans()
    if fact.type == "choice":
        return st.sampled_from(sorted(fact.choices))
    low, high = Decimal(0), Decimal(60)
    if isinstance(fact.range, Interval) and isinstance(fact.range.low, Decimal):
        low = fact.range.low
        high = min(high, fact.range.high) if isinstance(fact.range.high, Decimal) else high
    return st.integers(int(low), int(max(low, high))).map(Decimal)


@st.composite
def reports_to_the_default_rulebook(draw: st.DrawFn) -> Report:
    rulebook, _ = default_rulebook()
    asked = [
        fact
        for fact in rulebook.facts.values()
        if fact.asked_of == "clerk" and fact.type in ("flag", "choice", "number")
    ]
    chosen = draw(st.lists(st.sampled_from(asked), max_size=12, unique_by=lambda fact: fact.id))
    symptoms = draw(st.lists(st.sampled_from(sorted(rulebook.symptoms)), min_size=1, max_size=2, unique=True))
    answers = {fact.id: draw(answers_to(fact)) for fact in chosen}
    return Report(tuple(symptoms), NOW, answers=answers)  # type: ignore[arg-type]


@given(reports_to_the_default_rulebook())
@settings(deadline=None, derandomize=True, max_examples=100)
def test_the_default_rulebook_suggests_nothing_that_its_cautions_forbid(report: Report) -> None:
    rulebook, engine = default_rulebook()

    found = decide(rulebook, engine, report, None, History(), NOW)

    known: Facts = {fact: each.value for fact, each in found.facts.items()}
    live = [caution for caution in rulebook.cautions.values() if caution.head.status == "live"]
    fired = [caution for caution in live if evaluate(caution.head.when, known) is True]
    said = {caution.rule for caution in found.cautions}
    for step in found.plan:
        assert rulebook.checks[step.check].who == "clerk"
        for caution in fired:
            assert not caution.forbids_all_checks
            assert step.check not in caution.forbids
        assert set(step.cautions) <= said
    for caution in fired:
        if not caution.only_with_checks:
            assert caution.head.id in said
            assert not caution.stop_use or (found.plan == () and found.outcome != "fix_in_store")
    assert (found.outcome == "fix_in_store") <= bool(found.plan)
