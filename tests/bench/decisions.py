"""Whole decisions in-process with the default rulebook: how many a second, and where the time goes."""

from __future__ import annotations

import cProfile
import pstats
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import cycle, islice

from tests import RULES
from tests.engines import ENGINES
from triage.decide.causes.inference import compile_rulebook
from triage.decide.decide_data import Inputs, decide_inputs, read_inputs
from triage.logic.conditions import evaluate
from triage.logic.engine import Engine
from triage.rulebook.model import EvidenceRule, Rulebook
from triage.rulebook.reading.reader import read_rulebook

AT = datetime(2026, 11, 20, 20, tzinfo=UTC)
STEPS = (
    "gather_facts",
    "infer",
    "rank",
    "best_plan",
    "next_questions",
    "fired_policy",
    "decide_outcome",
)
"""Functions of the pipeline whose share is told; the rest is warranty, costs, limits and records."""


@dataclass(frozen=True, slots=True)
class Speed:
    """Decisions of one core, the middle one of several rounds."""

    what: str
    rules: int
    per_second: float


def reports(rulebook: Rulebook) -> list[Inputs]:
    """The inputs of all whole-report cases, read beforehand."""
    return [
        read_inputs(dict(case.report), rulebook, AT, lambda serial: None, case.machine)
        for case in rulebook.cases.values()
    ]


def rate(work: Callable[[Inputs], object], inputs: Sequence[Inputs], rounds: int = 5) -> float:
    """Calls a second of `work`, over all inputs, the median of `rounds` after one to warm up.

    A second of this process's own time on a processor, so that other work on the machine counts little.
    """
    times = []
    for _ in range(rounds + 1):
        start = time.process_time()
        for one in inputs:
            work(one)
        times.append(time.process_time() - start)
    return len(inputs) / sorted(times[1:])[rounds // 2]


def decision_speeds() -> Iterator[Speed]:
    """Every engine with the default rulebook, beside evaluating its conditions one after another."""
    rulebook = read_rulebook(RULES)
    inputs = reports(rulebook)
    count = len(rulebook.live_rules())
    for name in ENGINES:
        engine = compile_rulebook(rulebook, engine=name)
        yield Speed(name, count, rate(decide_with(rulebook, engine), inputs))
    conditions = list(rulebook.live_rules().values())
    facts = [dict(decide_inputs(rulebook, engine, one).facts) for one in inputs]
    known = [{name: fact.value for name, fact in found.items()} for found in facts]
    pool = cycle(known)
    evaluated = rate(lambda _: [evaluate(condition, next(pool)) for condition in conditions], inputs)
    yield Speed("conditions alone, evaluated one by one", count, evaluated)


def growth() -> Iterator[Speed]:
    """The same with 50 to 500 rules of evidence, made by leaving out or repeating those there are."""
    rulebook = read_rulebook(RULES)
    for size in (50, 100, 200, 500):
        grown = replace(rulebook, evidence=_some(rulebook, size))
        engine = compile_rulebook(grown, engine="checked")
        yield Speed("checked", size, rate(decide_with(grown, engine), reports(grown)[:30], rounds=3))


def _some(rulebook: Rulebook, size: int) -> dict[str, EvidenceRule]:
    live = [rule for rule in rulebook.evidence.values() if rule.head.status == "live"]
    found = {}
    for number, rule in enumerate(islice(cycle(live), size)):
        name = rule.head.id if number < len(live) else f"{rule.head.id}-{number}"
        group = (
            rule.group if number < len(live) or rule.group is None else f"{rule.group}-{number // len(live)}"
        )
        found[name] = replace(rule, head=replace(rule.head, id=name), group=group)
    return found


def shares() -> dict[str, float]:
    """Each step's share of a whole decision, by the profiler (which makes small functions look dearer)."""
    rulebook = read_rulebook(RULES)
    engine = compile_rulebook(rulebook, engine="checked")
    inputs = reports(rulebook)
    work = decide_with(rulebook, engine)
    for one in inputs:
        work(one)
    profile = cProfile.Profile()
    profile.enable()
    for one in inputs:
        work(one)
    profile.disable()
    rows = pstats.Stats(profile).stats  # type: ignore[attr-defined]
    whole = sum(row[3] for (_, _, name), row in rows.items() if name == "decide_inputs")
    found = {
        step: sum(row[3] for (_, _, name), row in rows.items() if name == step) / whole for step in STEPS
    }
    return found | {"the rest": 1 - sum(found.values())}


def decide_with(rulebook: Rulebook, engine: Engine) -> Callable[[Inputs], object]:
    return lambda one: decide_inputs(rulebook, engine, one)
