"""Runs the rulebook's whole reports (`cases/`): does each decision come out as expected?"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from triage.decide.decide_data import decide_inputs, read_inputs
from triage.logic.engine import Engine
from triage.records.decision import Decision, in_groups
from triage.rulebook.model import Rulebook, WholeCase
from triage.values.errors import InputError
from triage.values.shown import hint

EXPECTATIONS = ("outcome", "not_outcome", "top_cause", "first_check", "cautions")
"""What a case may expect; the first four may be lists, of which one comes out (or none, for not_outcome)."""


IF_MEANT = "; if that is meant, change the case's `expect`"
"""What may be done about a failure, where it is told to who changed the rulebook."""


@dataclass(frozen=True, slots=True)
class WholeCaseFailure:
    """One way in which a case came out otherwise than it says."""

    case: str
    file: str
    message: str


def run_whole_cases(rulebook: Rulebook, engine: Engine) -> list[WholeCaseFailure]:
    """What fails, by case id. Each case is decided as of its report's own time."""
    return [
        WholeCaseFailure(case.id, f"cases/{case.id}.yml", message)
        for _, case in sorted(rulebook.cases.items())
        for message in _run(rulebook, engine, case)
    ]


def decide_case(rulebook: Rulebook, engine: Engine, case: WholeCase) -> Decision:
    """The decision of a case as of its report's own time, without questions: no case speaks of them.

    Raises InputError where it cannot be read.
    """
    try:
        at = datetime.fromisoformat(str(case.report.get("reported_at")))
    except ValueError:
        raise InputError("the report needs its own `reported_at`, a time with its offset") from None
    report = {"machine": None, **case.report}
    inputs = read_inputs(report, rulebook, at, lambda _: None, case.machine)
    return decide_inputs(rulebook, engine, inputs, ask=False)


def _run(rulebook: Rulebook, engine: Engine, case: WholeCase) -> Iterator[str]:
    try:
        decision = decide_case(rulebook, engine, case)
    except InputError as error:
        yield from (f"the report cannot be read: {problem}" for problem in error.problems)
        return
    yield from failures(rulebook, case, decision)


def failures(rulebook: Rulebook, case: WholeCase, decision: Decision) -> Iterator[str]:
    """Where the decision is not as expected. A baseline has no caution of its own and no exchange.

    `first_check` is one of those done before the first wait. An empty list of `cautions` says that there is
    none but those that go with the plan's checks.
    """
    expect = case.expect
    said = [caution.rule for caution in decision.cautions]
    if "outcome" in expect and decision.outcome not in _several(expect["outcome"]):
        yield f"the outcome is {decision.outcome}, not {_shown(expect['outcome'])}"
    if "not_outcome" in expect and decision.outcome in _several(expect["not_outcome"]):
        yield f"the outcome is {decision.outcome}, which it must not be"
    top = decision.causes[0].cause if decision.causes else None
    if "top_cause" in expect and top not in _several(expect["top_cause"]):
        yield f"the likeliest cause is {top}, not {_shown(expect['top_cause'])}"
    first: list[object] = [step.check for step in next(iter(in_groups(decision.plan)), ())] or [None]
    if "first_check" in expect and not any(check in _several(expect["first_check"]) for check in first):
        yield f"the first check is {_shown(first)}, not {_shown(expect['first_check'])}"
    own = [caution for caution in said if not rulebook.cautions[caution].only_with_checks]
    for caution in _several(expect.get("cautions", [])):
        if caution not in said:
            yield f"the caution {caution} is not said"
    if expect.get("cautions") == []:
        yield from (f"no caution is expected, but {caution} is said" for caution in own)
    for key in expect:
        if key not in EXPECTATIONS:
            yield f'"{key}" is not looked at{hint(key, EXPECTATIONS)}'
    if case.baseline:
        yield from (f"an ordinary report, but the caution {caution} is said" for caution in own)
        if decision.outcome == "swap":
            yield "an ordinary report, but the machine is to be swapped"


def _several(expected: object) -> list[object]:
    return list(expected) if isinstance(expected, list | tuple) else [expected]


def _shown(expected: object) -> str:
    return " or ".join(map(str, _several(expected)))


def counted(rulebook: Rulebook) -> Mapping[str, int]:
    """How many cases there are beside the rules, and how many whole reports."""
    rules = (rulebook.derive, rulebook.evidence, rulebook.cautions, rulebook.policy)
    return {
        "rule_cases": sum(len(rule.head.cases) for kind in rules for rule in kind.values()),
        "words_cases": sum(len(words.cases) for words in rulebook.words.values()),
        "whole_cases": len(rulebook.cases),
    }
