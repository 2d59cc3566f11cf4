"""Dangers over random rulebooks and reports: none is lost, and nothing that one forbids is suggested."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from moneyed import Money

from tests.triage.builders import minimal_rulebook
from tests.triage.small_rulebooks import check_of, clerk_fact, flag_is, rule_head, small_rulebook
from triage.decide.causes.inference import CompiledRules, compile_rulebook
from triage.decide.decide_data import Inputs, decide_inputs, inputs_as_data, inputs_from_data
from triage.decide.pipeline import decide
from triage.inputs.report import read_report
from triage.logic.conditions import AllOf, AnyOf, Condition, Known, NoneOf, Unknown, evaluate
from triage.records.danger import Danger, DangerState, MadeSafe
from triage.records.decision import Decision
from triage.records.report import CheckResult, EstimateTotal, History, Machine, Report
from triage.rulebook.model import Caution, DeriveRule, PolicyRule, Rulebook
from triage.rulebook.terms import Words

NOW = datetime(2026, 3, 2, 16, tzinfo=UTC)
ASKED = ("d0", "d1", "f0", "f1")
"""The facts that a clerk is asked for; those called d are dangers. d2 is a danger that rules derive."""

FACTS = (*ASKED, "d2")
DANGERS = frozenset({"d0", "d1", "d2"})
CHECKS = ("c0", "c1", "c2", "c3")
CAUSES = ("a", "b", "other")
FIVE = ("fix_in_store", "dispatch", "approve", "hold", "swap")
NOTES = ("", "It smokes.", "no smoke at all", "sale humo y da toques", "I got a shock", "it is just slow")
BASE = minimal_rulebook()
WORDS = {
    "smoke": Words("smoke", "Smoke", "d0", None, ("smoke",), ("humo",), (), "", (), "words/smoke.yml"),
    "shock": Words("shock", "Shock", "d1", None, ("shock",), ("toques",), (), "", (), "words/shock.yml"),
}


def conditions(facts: Sequence[str] = FACTS) -> st.SearchStrategy[Condition]:
    """Conditions in which a fact may be wished for, denied, known or not known."""
    one = st.builds(flag_is, st.sampled_from(facts), st.sampled_from([True, True, False]))
    state = st.sampled_from(facts).flatmap(lambda fact: st.sampled_from([Known(fact), Unknown(fact)]))
    parts = st.lists(one | state, min_size=1, max_size=2).map(tuple)
    return one | st.builds(AllOf, parts) | st.builds(AnyOf, parts) | st.builds(NoneOf, parts)


@st.composite
def rulebooks(draw: st.DrawFn) -> Rulebook:
    checks = [
        replace(
            check_of(
                id_,
                draw(st.integers(0, 30)),
                draw(st.dictionaries(st.sampled_from(CAUSES), st.floats(0.05, 1.0), min_size=1)),
                who=draw(st.sampled_from(["clerk", "clerk", "clerk", "technician"])),
            ),
            near=draw(st.booleans()),
        )
        for id_ in CHECKS
    ]
    cautions = [
        Caution(
            rule_head(f"caution-{index}", draw(conditions())),
            "Mind.",
            only_with_checks=draw(st.integers(0, 4)) == 0,
            stop_use=draw(st.integers(0, 2)) == 0,
            forbids=draw(st.frozensets(st.sampled_from(CHECKS), max_size=2)),
            forbids_all_checks=draw(st.integers(0, 3)) == 0,
            visit_skill=draw(st.sampled_from([None, "general", "electrical", "refrigeration"])),
            visit_priority=draw(st.sampled_from([None, 1, 2, 3])),
            first=tuple(draw(st.lists(st.sampled_from(CHECKS), max_size=1))),
        )
        for index in range(draw(st.integers(1, 4)))
    ]
    derive = [
        DeriveRule(
            rule_head(f"derive-{index}", draw(conditions(ASKED))),
            {"d2": draw(st.booleans())},
            {"d2": draw(st.booleans())} if draw(st.booleans()) else {},
            draw(st.integers(0, 2)),
        )
        for index in range(draw(st.integers(0, 2)))
    ]
    rules = [
        PolicyRule(
            rule_head(f"rule-{index}", draw(conditions())),
            draw(st.sampled_from(FIVE)),
            draw(st.integers(0, 3)) * 100,
            "Because of {top_cause}.",
            draw(st.sampled_from([None, 1, 2])),
        )
        for index in range(draw(st.integers(0, 4)))
    ]
    facts = [clerk_fact(name, danger=name in DANGERS, near=draw(st.booleans())) for name in ASKED]
    facts.append(clerk_fact("d2", danger=True, asked_of="computed", ask=None))
    shares = {"broken": {each: draw(st.integers(1, 50)) for each in CAUSES}}
    rulebook = small_rulebook(shares, checks=checks, facts=facts, derive=derive, cautions=cautions)
    costly = replace(rulebook.rates.default, trip=Decimal(draw(st.integers(0, 600))))
    return replace(
        rulebook,
        policy={rule.head.id: rule for rule in rules},
        rates=replace(rulebook.rates, default=costly),
        limits=BASE.limits,
        authorities=BASE.authorities,
        service_hours=BASE.service_hours,
        words=WORDS,
    )


answers = st.dictionaries(st.sampled_from(FACTS), st.booleans(), max_size=4)


@st.composite
def reports(draw: st.DrawFn) -> Report:
    done = draw(
        st.dictionaries(st.sampled_from(CHECKS), st.sampled_from(["cured", "not_cured", "could_not_do"]))
    )
    estimate = draw(st.none() | st.integers(0, 900).map(lambda amount: Money(amount, "USD")))
    return Report(
        ("broken",),
        NOW - timedelta(hours=1),
        answers=draw(answers),
        checks=tuple(CheckResult(name, result) for name, result in done.items()),  # type: ignore[arg-type]
        estimate=None if estimate is None else EstimateTotal(estimate, estimate),
        note=draw(st.sampled_from(NOTES)),
        unknown=tuple(draw(st.lists(st.sampled_from(ASKED), max_size=2, unique=True))),
    )


machines = st.none() | answers.map(
    lambda facts: Machine("LH-1", "LH-20", date(2025, 9, 10), facts=facts)  # what is on its record
)
said = st.lists(st.sampled_from(NOTES), max_size=2).map(tuple)


@st.composite
def states(draw: st.DrawFn) -> DangerState:
    """Any state, what it names not always in the rulebook."""
    named = st.sampled_from(["caution-0", "caution-1", "caution-2", "gone"])
    dangers = st.lists(named, max_size=2, unique=True)
    texts = draw(said)
    facts = st.sampled_from(sorted(DANGERS))
    return DangerState(
        said=texts,
        open=tuple(Danger(id_, "caller", NOW) for id_ in draw(dangers)),
        elsewhere=tuple(Danger(id_, "words", NOW, "it smokes", "T-2") for id_ in draw(dangers)),
        safe=tuple(MadeSafe(id_, 1 + len(texts)) for id_ in draw(dangers)),
        misread=dict.fromkeys(draw(st.lists(facts, max_size=2, unique=True)), 1 + len(texts)),
        told=tuple(draw(st.lists(st.sampled_from(ASKED), max_size=2, unique=True))),
    )


def made_safe(state: DangerState) -> set[str]:
    return {each.caution for each in state.safe}


@dataclass
class Ticket:
    """A ticket as its service keeps it: what was answered, and what stands open since."""

    name: str
    rulebook: Rulebook
    engine: CompiledRules
    report: Report
    machine: Machine | None = None
    state: DangerState = field(default_factory=DangerState)

    def decide(self, elsewhere: Sequence[Danger] = ()) -> Decision:
        """Decides, and carries forward what was raised on this ticket."""
        state = replace(self.state, elsewhere=tuple(elsewhere))
        found = decide(self.rulebook, self.engine, self.report, self.machine, History(), NOW, True, state)
        keep = tuple(danger for danger in found.dangers if danger.ticket is None)
        self.state = replace(self.state, open=keep)
        return found

    def answer(self, more: Mapping[str, bool]) -> None:
        """What is said again replaces what was said before."""
        self.report = replace(self.report, answers={**self.report.answers, **more})
        self.state = replace(self.state, told=tuple(dict.fromkeys((*self.state.told, *more))))

    def open_on_it(self) -> list[Danger]:
        """As another ticket of the machine sees them."""
        return [replace(danger, ticket=self.name) for danger in self.state.open]


def assert_safe(rulebook: Rulebook, found: Decision, report: Report, state: DangerState) -> None:
    """What must hold of every decision, worked out again from the conditions alone."""
    facts = {fact: each.value for fact, each in found.facts.items()}
    standing = {danger.caution for danger in found.dangers}
    cautions = rulebook.cautions.values()
    fired = [
        caution
        for caution in cautions
        if caution.head.id in standing
        or (evaluate(caution.head.when, facts) is True and caution.head.id not in made_safe(state))
    ]
    forbidden = {check for caution in fired for check in caution.forbids}
    stopped = any(caution.stop_use and not caution.only_with_checks for caution in fired)
    if stopped or any(caution.forbids_all_checks for caution in fired):
        forbidden = set(CHECKS)
    plan = [step.check for step in found.plan]
    assert forbidden.isdisjoint(plan)
    assert all(rulebook.checks[check].who == "clerk" for check in plan)
    performed = {done.check for done in report.checks if done.result != "could_not_do"}
    untold = not state.told and not state.said
    for caution in fired:
        cleaned = caution.cleaned_away and untold and performed.issuperset(caution.first)
        if caution.guards and not caution.only_with_checks and not cleaned:
            assert caution.head.id in standing
        if not caution.only_with_checks:
            assert caution.head.id in {each.rule for each in found.cautions}
            assert caution.visit_priority is None or found.priority <= caution.visit_priority
    if found.dangers:
        assert not found.solved
    if any(id_ not in rulebook.cautions or rulebook.cautions[id_].bars for id_ in standing):
        assert found.outcome != "fix_in_store"
    if standing - rulebook.cautions.keys():
        assert plan == []
    undecided = [
        caution
        for caution in cautions
        if (caution.stop_use or caution.forbids_all_checks) and not caution.only_with_checks
        if caution.head.id not in {*standing, *made_safe(state)}
        and evaluate(caution.head.when, facts) is None
    ]
    if undecided:
        assert found.waits_for
        assert not any(rulebook.checks[check].near for check in plan)
        assert found.outcome != "approve" or report.estimate is not None
    if stopped:
        assert not any(rulebook.facts[question.fact].near for question in found.questions)
    assert not {question.fact for question in found.questions} & {*report.answers, *report.unknown}
    first = {
        check
        for caution in fired
        if not caution.only_with_checks
        for check in caution.first
        if check not in performed or (caution.cleaned_away and caution.head.id in standing)
    }
    assert not (found.solved and first)
    if first and plan:
        assert set(plan[: len(first)]) == first


@given(rulebooks(), reports(), machines, states())
@settings(deadline=None, derandomize=True, max_examples=400)
def test_nothing_that_a_danger_forbids_is_suggested(
    rulebook: Rulebook, report: Report, machine: Machine | None, state: DangerState
) -> None:
    engine = compile_rulebook(rulebook, "plain")

    found = decide(rulebook, engine, report, machine, History(), NOW, True, state)

    assert_safe(rulebook, found, report, state)
    open_now = {danger.caution for danger in found.dangers}
    assert open_now >= {danger.caution for danger in (*state.open, *state.elsewhere)}
    told = [report.answers, machine.facts if machine is not None else {}]
    for fact in DANGERS:
        if any(source.get(fact) is True for source in told):
            assert found.facts[fact].value is True
    assert found == decide(rulebook, engine, report, machine, History(), NOW, True, state)


@given(rulebooks(), reports(), machines, st.lists(answers, max_size=4), st.randoms(use_true_random=False))
@settings(deadline=None, derandomize=True, max_examples=150)
def test_no_order_of_answers_loses_a_danger(
    rulebook: Rulebook,
    report: Report,
    machine: Machine | None,
    said_later: list[dict[str, bool]],
    random: Any,
) -> None:
    engine = compile_rulebook(rulebook, "plain")
    shuffled = random.sample(said_later, len(said_later))
    for order in (said_later, shuffled):
        ticket = Ticket("T-1", rulebook, engine, report, machine)
        before: set[str] = set()
        for more in ({}, *order):
            ticket.answer(more)
            found = ticket.decide()
            assert_safe(rulebook, found, ticket.report, ticket.state)
            now = {danger.caution for danger in found.dangers}
            assert before <= now
            before = now
        at_once = decide(rulebook, engine, ticket.report, machine, History(), NOW)
        assert {danger.caution for danger in at_once.dangers} <= before


@given(rulebooks(), reports(), machines, st.lists(st.tuples(st.booleans(), answers), max_size=5))
@settings(deadline=None, derandomize=True, max_examples=150)
def test_two_tickets_on_one_machine_share_their_dangers(
    rulebook: Rulebook, report: Report, machine: Machine | None, turns: list[tuple[bool, dict[str, bool]]]
) -> None:
    engine = compile_rulebook(rulebook, "plain")
    one = Ticket("T-1", rulebook, engine, report, machine)
    two = Ticket("T-2", rulebook, engine, Report(("broken",), NOW - timedelta(hours=1)), machine)
    before: set[str] = set()
    raised: dict[str, set[str]] = {"T-1": set(), "T-2": set()}
    for first, more in (*turns, (True, {}), (False, {})):
        here, there = (one, two) if first else (two, one)
        here.answer(more)
        found = here.decide(there.open_on_it())
        assert_safe(rulebook, found, here.report, here.state)
        now = {danger.caution for danger in found.dangers}
        assert before <= now
        before = now
        alone = decide(rulebook, engine, here.report, machine, History(), NOW)
        raised[here.name] |= {danger.caution for danger in alone.dangers}
        # what was raised here stands here by itself, whatever becomes of the other ticket
        assert raised[here.name] <= {danger.caution for danger in here.state.open}


@given(rulebooks(), reports(), states())
@settings(deadline=None, derandomize=True, max_examples=150)
def test_a_danger_made_safe_or_misread_is_lifted_and_no_other(
    rulebook: Rulebook, report: Report, state: DangerState
) -> None:
    engine = compile_rulebook(rulebook, "plain")

    def open_with(now: DangerState) -> set[str]:
        found = decide(rulebook, engine, report, None, History(), NOW, False, now)
        return {danger.caution for danger in found.dangers}

    nothing_lifted = open_with(replace(state, safe=(), misread={}))
    assert open_with(replace(state, misread={})) >= nothing_lifted - made_safe(state)
    silent = replace(report, note="")
    unheard = decide(rulebook, engine, silent, None, History(), NOW, False, replace(state, said=()))
    misread = decide(rulebook, engine, report, None, History(), NOW, False, state)
    for fact in DANGERS:  # only words are ever taken back
        if fact in unheard.facts and unheard.facts[fact].source != "derived":
            assert unheard.facts[fact].value is not True or misread.facts[fact].value is True


@given(rulebooks(), reports(), states())
@settings(deadline=None, derandomize=True, max_examples=100)
def test_what_is_kept_beside_a_decision_gives_it_again(
    rulebook: Rulebook, report: Report, state: DangerState
) -> None:
    engine = compile_rulebook(rulebook, "plain")
    data = {
        "symptoms": ["broken"],
        "reported_at": report.reported_at.isoformat(),
        "answers": {fact: value for fact, value in report.answers.items() if fact in ASKED},
        "note": report.note,
        "checks": [{"check": done.check, "result": done.result} for done in report.checks],
    }
    inputs = Inputs(read_report(data, rulebook), data, None, History(), NOW, state)

    kept = json.loads(json.dumps(inputs_as_data(inputs)))
    again = inputs_from_data(kept, rulebook)

    assert again == inputs
    assert decide_inputs(rulebook, engine, again) == decide_inputs(rulebook, engine, inputs)
