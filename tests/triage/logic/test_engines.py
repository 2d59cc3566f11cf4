from __future__ import annotations

import gc
import logging
import threading
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from tests.engines import ENGINES
from tests.triage.generated_conditions import SYMPTOM, VALUES, conditions, known_facts
from triage.logic.conditions import (
    ALWAYS,
    AllOf,
    AnyOf,
    Compare,
    Condition,
    Facts,
    FactTest,
    Known,
    NoneOf,
    Not,
    OneOf,
    Truth,
    Unknown,
    evaluate,
)
from triage.logic.engine import CompileEngine, RuleTooWide
from triage.logic.engine_checked import CheckedEngine, checked_by_plain, choose_engine, engine_note
from triage.logic.engine_plain import compile_plain
from triage.values.errors import InputError

pytest_durable = pytest.mark.skipif(
    engine_note() is not None, reason="the durable engine's extension does not import on this Python"
)

FACTS_A_RULEBOOK = 10
RULEBOOKS = st.lists(conditions([*VALUES, SYMPTOM]), min_size=1, max_size=12)
SOME_FACTS = st.lists(known_facts(derivable=True), min_size=FACTS_A_RULEBOOK, max_size=FACTS_A_RULEBOOK)
NO_DEADLINE = settings(
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def stage_of(*whens: Condition) -> dict[str, dict[str, Condition]]:
    return {"s": {f"r{index}": when for index, when in enumerate(whens)}}


def over(fact: str, value: int) -> FactTest:
    return FactTest(fact, Compare(">", Decimal(value)))


def equals(fact: str, *values: str) -> FactTest:
    return FactTest(fact, OneOf(tuple(Compare("=", value) for value in values)))


def compared_with_reference(rulebooks: int) -> int:
    """In how many rulebooks every engine answered as the naive reference does.

    One that durable refuses as too wide is none of them; another is drawn in its place.
    """
    compared = 0

    @settings(NO_DEADLINE, max_examples=rulebooks)
    @given(RULEBOOKS, SOME_FACTS)
    def agree(whens: list[Condition], many_facts: list[Facts]) -> None:
        nonlocal compared
        stages = stage_of(*whens)
        try:
            engines = [choose_engine(name)(stages) for name in ENGINES]
        except RuleTooWide:
            reject()
        assert tuple(engine.name for engine in engines) == ENGINES
        for facts in many_facts:
            reference = {rule: evaluate(when, facts) for rule, when in stages["s"].items()}
            for engine in engines:
                assert engine.truths("s", facts) == reference
        assert all(engine.disagreements == 0 for engine in engines if isinstance(engine, CheckedEngine))
        compared += 1

    agree()
    return compared


def test_every_engine_agrees_with_the_naive_reference() -> None:
    assert compared_with_reference(500) >= 500


@pytest.mark.nightly
def test_every_engine_agrees_with_the_naive_reference_all_night() -> None:
    assert compared_with_reference(10_000) >= 10_000


@pytest.fixture(params=ENGINES)
def compile_engine(request: pytest.FixtureRequest) -> CompileEngine:
    return choose_engine(request.param)


def test_a_bound_is_hit_exactly_whatever_the_number_of_digits(compile_engine: CompileEngine) -> None:
    bound = Decimal("0.1000000000000000000000000001")
    engine = compile_engine(stage_of(FactTest("x", Compare(">=", bound)), FactTest("x", Compare("=", bound))))
    assert engine.truths("s", {"x": bound}) == {"r0": True, "r1": True}
    assert engine.truths("s", {"x": Decimal("0.1")}) == {"r0": False, "r1": False}
    assert engine.truths("s", {"x": Decimal("0.1000000000000000000000000002")}) == {"r0": True, "r1": False}


def test_a_value_no_rule_names_is_any_other_value(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(FactTest("seal", Not((Compare("=", "flat"),))), equals("seal", "flat")))
    assert engine.truths("s", {"seal": 'odd " text \\'}) == {"r0": True, "r1": False}
    assert engine.truths("s", {}) == {"r0": None, "r1": None}


def test_not_on_a_set_of_choices_holds_when_no_member_passes(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(FactTest("symptom", Not((Compare("=", "leaking"),)))))
    assert engine.truths("s", {"symptom": frozenset({"leaking", "too_hard"})}) == {"r0": False}
    assert engine.truths("s", {"symptom": frozenset({"too_hard"})}) == {"r0": True}
    assert engine.truths("s", {"symptom": frozenset()}) == {"r0": True}


def test_presence_is_never_unknown(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(Known("x"), Unknown("x"), NoneOf((Known("x"),))))
    assert engine.truths("s", {}) == {"r0": False, "r1": True, "r2": True}
    assert engine.truths("s", {"x": True}) == {"r0": True, "r1": False, "r2": False}


def test_conditions_that_depend_on_nothing_are_answered(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(ALWAYS, AnyOf(()), NoneOf(()), NoneOf((ALWAYS,))))
    assert engine.truths("s", {}) == {"r0": True, "r1": False, "r2": True, "r3": False}


def test_one_false_part_makes_a_rule_false_though_others_are_unknown(compile_engine: CompileEngine) -> None:
    engine = compile_engine(
        stage_of(AllOf((over("x", 1), over("y", 1))), AnyOf((over("x", 1), over("y", 1))))
    )
    assert engine.truths("s", {"x": Decimal(0)}) == {"r0": False, "r1": None}
    assert engine.truths("s", {"x": Decimal(2)}) == {"r0": None, "r1": True}


def test_rules_are_answered_in_the_order_given(compile_engine: CompileEngine) -> None:
    names = [f"rule-{index * 7 % 120}" for index in range(120)]
    engine = compile_engine({"s": {name: over("x", index % 9) for index, name in enumerate(names)}})
    assert list(engine.truths("s", {"x": Decimal(4)})) == names


def test_two_hundred_rules_with_one_same_condition_all_fire(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(*[over("x", 1)] * 260))
    assert set(engine.truths("s", {"x": Decimal(2)}).values()) == {True}


def test_five_hundred_bounds_on_one_fact_are_ranked_exactly(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(*(over("x", bound) for bound in range(500))))
    assert sum(truth is True for truth in engine.truths("s", {"x": Decimal("250.5")}).values()) == 251


def test_rules_for_another_symptom_do_not_fire(compile_engine: CompileEngine) -> None:
    engine = compile_engine(
        {"s": {name: AllOf((equals("symptom", name), over("x", 1))) for name in ("leaking", "too_hard")}},
        {"s"},
    )
    truths = engine.truths("s", {"symptom": frozenset({"too_hard"}), "x": Decimal(2)})
    assert [rule for rule, truth in truths.items() if truth is True] == ["too_hard"]


def test_dates_are_compared_as_dates(compile_engine: CompileEngine) -> None:
    engine = compile_engine(stage_of(FactTest("on", Compare("<", date(2026, 3, 1)))))
    assert engine.truths("s", {"on": date(2026, 2, 28)}) == {"r0": True}
    assert engine.truths("s", {"on": date(2026, 3, 1)}) == {"r0": False}


@pytest_durable
def test_a_rule_with_too_many_alternatives_is_refused_by_name() -> None:
    wide = AnyOf(tuple(over(f"x{index}", 1) for index in range(101)))
    with pytest.raises(RuleTooWide, match='rule "r0" has more than 100 alternatives; split it'):
        choose_engine("durable")(stage_of(wide))


@pytest_durable
def test_a_rule_with_too_many_facts_is_refused_by_name() -> None:
    wide = AllOf(tuple(over(f"x{index}", 1) for index in range(58)))
    with pytest.raises(RuleTooWide, match="more than 57 facts"):
        choose_engine("durable")({"s": {"r0": wide}}, {"s"})


@pytest_durable
def test_durable_itself_answers_a_rule_as_wide_as_may_be() -> None:
    some = AnyOf(tuple(over(f"x{index}", 1) for index in range(100)))
    every = AllOf(tuple(over(f"x{index}", 1) for index in range(57)))
    engine = choose_engine("durable")({"s": {"some": some, "every": every}}, {"s"})
    assert engine.name == "durable"
    high = {f"x{index}": Decimal(2) for index in range(57)}
    assert engine.truths("s", high) == {"some": True, "every": True}
    assert engine.truths("s", {**high, "x56": Decimal(1)}) == {"some": True, "every": None}
    assert engine.truths("s", {"x99": Decimal(2)}) == {"some": True, "every": None}


@pytest_durable
def test_a_rule_that_asks_for_an_order_of_symptoms_is_refused() -> None:
    with pytest.raises(RuleTooWide, match='order of "symptom"'):
        choose_engine("durable")(stage_of(FactTest("symptom", Compare("<", "leaking"))))


@pytest_durable
def test_eight_threads_get_the_answers_of_one() -> None:
    whens = [AllOf((over("x", index % 20), over("y", index % 7))) for index in range(150)]
    engine = choose_engine("durable")(stage_of(*whens))
    cases = [{"x": Decimal(x), "y": Decimal(y)} for x in range(20) for y in range(5)]
    expected = [compile_plain(stage_of(*whens)).truths("s", facts) for facts in cases]
    wrong: list[object] = []

    def ask() -> None:
        try:
            wrong.extend(
                facts
                for facts, right in zip(cases, expected, strict=True)
                if engine.truths("s", facts) != right
            )
        except Exception as error:
            wrong.append(error)

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


@pytest_durable
def test_sessions_are_deleted_so_that_more_than_1023_questions_are_answered() -> None:
    engine = choose_engine("durable")(stage_of(over("x", 1)))
    answers = [engine.truths("s", {"x": Decimal(index % 3)})["r0"] for index in range(3_000)]
    assert answers == [index % 3 == 2 for index in range(3_000)]


@pytest_durable
def test_dropped_engines_delete_their_rulesets(monkeypatch: pytest.MonkeyPatch) -> None:
    from triage.logic import engine_durable

    deleted: list[int] = []
    real = engine_durable.rules_c

    class Spy:
        create_ruleset = staticmethod(real.create_ruleset)

        @staticmethod
        def delete_ruleset(handle: int) -> None:
            deleted.append(handle)
            real.delete_ruleset(handle)

    monkeypatch.setattr(engine_durable, "rules_c", Spy)
    engine = engine_durable.compile_durable(stage_of(*(over("x", index) for index in range(120))))
    assert deleted == []
    del engine
    gc.collect()
    assert len(deleted) == 10


@dataclass(frozen=True)
class LyingEngine:
    """Says of every rule that it fired."""

    stages: Mapping[str, Mapping[str, Condition]]
    name: str = "liar"

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        return dict.fromkeys(self.stages[stage], True)


def compile_liar(
    stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str] = ()
) -> LyingEngine:
    return LyingEngine(stages)


def test_where_engines_differ_plain_stands_and_the_difference_is_counted_and_logged(
    caplog: pytest.LogCaptureFixture,
) -> None:
    engine = checked_by_plain(compile_liar)(stage_of(over("x", 1), over("x", 5), over("y", 1)))
    assert isinstance(engine, CheckedEngine)
    with caplog.at_level(logging.ERROR):
        assert engine.truths("s", {"x": Decimal(3)}) == {"r0": True, "r1": False, "r2": None}
    assert engine.disagreements == 2
    assert [record.getMessage() for record in caplog.records] == [
        'engines disagree on rule "r1" (s): liar says True, plain says False, which stands',
        'engines disagree on rule "r2" (s): liar says True, plain says None, which stands',
    ]


def test_false_and_unknown_are_no_difference_where_only_firing_counts() -> None:
    def compile_silent(
        stages: Mapping[str, Mapping[str, Condition]], only_fires: Collection[str] = ()
    ) -> LyingEngine:
        return LyingEngine({"s": {}})

    engine = checked_by_plain(compile_silent)(stage_of(over("x", 1), over("y", 1)), {"s"})
    assert engine.truths("s", {"x": Decimal(0)}) == {"r0": False, "r1": None}
    assert isinstance(engine, CheckedEngine)
    assert engine.disagreements == 0


def no_extension() -> CompileEngine:
    raise ImportError("undefined symbol: PyEval_CallObject")


@pytest.mark.parametrize("name", ["checked", "durable", "plain"])
def test_plain_serves_alone_where_the_extension_does_not_import(name: str) -> None:
    engine = choose_engine(name, no_extension)(stage_of(over("x", 1)))
    assert engine.name == "plain"
    assert engine.truths("s", {"x": Decimal(2)}) == {"r0": True}


def test_the_note_says_that_plain_serves_and_why() -> None:
    note = engine_note("checked", no_extension)
    assert note is not None
    assert "plain engine serves alone" in note
    assert "PyEval_CallObject" in note
    assert engine_note("plain", no_extension) is None
    assert engine_note("checked", lambda: compile_plain) is None


def test_an_unknown_engine_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(InputError, match="checked, durable, plain"):
        choose_engine("clips")
