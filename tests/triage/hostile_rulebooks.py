"""Rulebooks made to break an inference engine; each function is run in a child process."""

from __future__ import annotations

import os
import signal
from collections.abc import Mapping
from decimal import Decimal

from tests.triage.small_rulebooks import evidence_rule, flag_is, small_rulebook
from triage.decide.causes.inference import compile_rulebook, infer
from triage.logic.conditions import AllOf, AnyOf, Compare, Condition, FactTest, NoneOf, OneOf
from triage.rulebook_care.editing.sandbox import try_rulebook
from triage.values.errors import InputError

EVEN_NUMBERS = OneOf(tuple(Compare("=", Decimal(2 * number)) for number in range(10_000)))


def equal(fact: str, value: int | str) -> FactTest:
    return FactTest(fact, Compare("=", Decimal(value) if isinstance(value, int) else value))


def try_conditions(whens: Mapping[str, Condition]) -> None:
    evidence = [evidence_rule(name, 0.5, when=when) for name, when in whens.items()]
    rulebook = small_rulebook({"leaking": {"seal": 1, "other": 1}}, evidence)
    try_rulebook(rulebook)
    facts = {f"f{index}": Decimal(1) for index in range(600)}
    found = infer(rulebook, compile_rulebook(rulebook), facts)
    plain = infer(rulebook, compile_rulebook(rulebook, "plain"), facts)
    if found.evidence != plain.evidence:
        raise InputError("the engines differ")


def five_thousand_rules() -> None:
    try_conditions(
        {f"r{n}": AllOf((equal(f"f{n % 30}", 1), equal(f"f{n * 7 % 29}", n % 3))) for n in range(5_000)}
    )


def one_condition_five_hundred_times() -> None:
    try_conditions({f"r{n}": equal("f1", 1) for n in range(500)})


def ten_thousand_values_of_one_fact() -> None:
    try_conditions({f"r{n}": equal("f1", n) for n in range(10_000)})


def ten_thousand_values_in_one_rule() -> None:
    try_conditions({"wide": FactTest("f1", EVEN_NUMBERS)})


def ten_thousand_gaps_in_one_rule() -> None:
    try_conditions({"wide": FactTest("f1", EVEN_NUMBERS), "order": FactTest("f1", Compare(">", Decimal(1)))})


def six_hundred_branches() -> None:
    try_conditions({"wide": AnyOf(tuple(equal(f"f{n}", 1) for n in range(600)))})


def alternatives_that_multiply() -> None:
    of_eight = [AnyOf(tuple(equal(f"f{8 * part + n}", 1) for n in range(8))) for part in range(20)]
    try_conditions({"product": AllOf(tuple(of_eight))})


def deep_nesting() -> None:
    when: Condition = flag_is("f0")
    for _ in range(20_000):
        when = NoneOf((when,))
    try_conditions({"deep": when})


def six_hundred_facts_at_once() -> None:
    try_conditions({"wide": AllOf(tuple(equal(f"f{n}", 1) for n in range(600)))})


def an_endless_loop() -> None:
    while True:
        pass


def a_crash() -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def all_memory() -> None:
    kept = [bytearray(64 * 1024 * 1024)]
    while True:
        kept.append(bytearray(64 * 1024 * 1024))


def crash_on_a_candidate(*_given: object) -> None:
    a_crash()
