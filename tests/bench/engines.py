"""The inference engines side by side with plain evaluation of the same conditions, from 50 to 500 rules.

Rules are random conjunctions of two to four tests over thirty facts, reports know two facts in three; every
engine's answers are compared with the reference before its time is taken.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from time import perf_counter

from tests.engines import ENGINES
from triage.logic.conditions import (
    AllOf,
    Compare,
    Condition,
    Facts,
    FactTest,
    FactValue,
    OneOf,
    Truth,
    evaluate,
)
from triage.logic.engine_checked import choose_engine

RULES = (50, 100, 200, 500)
STAGE = "all"

_FACTS = [f"fact{number}" for number in range(30)]
_CHOICES = ("red", "green", "blue", "gray")


@dataclass(frozen=True, slots=True)
class EngineTime:
    """`per_second`: whole evaluations of all rules for one report; `us` the microseconds each takes."""

    rules: int
    engine: str
    per_second: float
    wrong: int

    @property
    def us(self) -> float:
        return 1e6 / self.per_second


def engine_times(seconds: float = 0.5, seed: int = 2026) -> Iterator[EngineTime]:
    """Each engine at each number of rules, measured for about `seconds`, and `conditions.evaluate` beside."""
    for rules in RULES:
        chance = random.Random(seed)
        conditions = {f"rule{number}": _condition(chance) for number in range(rules)}
        reports = [_facts(chance) for _ in range(40)]
        right = [_evaluate(conditions, facts) for facts in reports]

        def reference(facts: Facts, conditions: Mapping[str, Condition] = conditions) -> Mapping[str, Truth]:
            return _evaluate(conditions, facts)

        yield _timed(rules, "evaluate", reference, reports, right, seconds)
        for name in ENGINES:
            engine = choose_engine(name)({STAGE: conditions})
            yield _timed(
                rules, name, lambda facts, engine=engine: engine.truths(STAGE, facts), reports, right, seconds
            )


def _timed(
    rules: int,
    engine: str,
    truths: Callable[[Facts], Mapping[str, Truth]],
    reports: list[Facts],
    right: list[Mapping[str, Truth]],
    seconds: float,
) -> EngineTime:
    wrong = sum(truths(facts) != expected for facts, expected in zip(reports, right, strict=True))
    done = 0
    start = perf_counter()
    while (elapsed := perf_counter() - start) < seconds:
        for facts in reports:
            truths(facts)
        done += len(reports)
    return EngineTime(rules, engine, done / elapsed, wrong)


def _evaluate(conditions: Mapping[str, Condition], facts: Facts) -> Mapping[str, Truth]:
    return {rule: evaluate(condition, facts) for rule, condition in conditions.items()}


def _condition(chance: random.Random) -> Condition:
    facts = chance.sample(range(len(_FACTS)), chance.randint(2, 4))
    return AllOf(tuple(_test(chance, number) for number in facts))


def _test(chance: random.Random, number: int) -> FactTest:
    fact = _FACTS[number]
    match number % 3:
        case 0:
            return FactTest(fact, Compare(chance.choice(("<", ">=")), Decimal(chance.randint(1, 40))))
        case 1:
            return FactTest(fact, OneOf(tuple(Compare("=", value) for value in chance.sample(_CHOICES, 2))))
        case _:
            return FactTest(fact, Compare("=", chance.random() < 0.5))


def _facts(chance: random.Random) -> dict[str, FactValue]:
    return {fact: _value(chance, number) for number, fact in enumerate(_FACTS) if chance.random() < 2 / 3}


def _value(chance: random.Random, number: int) -> FactValue:
    match number % 3:
        case 0:
            return Decimal(chance.randint(0, 40))
        case 1:
            return chance.choice(_CHOICES)
        case _:
            return chance.random() < 0.5
