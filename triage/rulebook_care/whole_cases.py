"""Runs the whole-report cases of a rulebook through the pipeline, and compares what they expect.

An expectation may name: `outcome` and `not_outcome` (one, or a list), `top_cause`, `first_check` (null: the
plan has none), `cautions` (a list: all of these are called for by the report itself; empty: none is).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from triage.conditions import FactValue
from triage.decision_record import Decision
from triage.did_you_mean import hint
from triage.errors import InputError
from triage.inference_engine import Engine
from triage.pipeline import decide
from triage.report import History
from triage.report_input import read_machine, read_report
from triage.rulebook import Rulebook, WholeCase


@dataclass(frozen=True, slots=True)
class WholeCaseResult:
    """`failures` say each in a sentence what came out otherwise; `decision` is None when there is none."""

    case: str
    file: str
    decision: Decision | None
    failures: tuple[str, ...]

    def facts(self, *, figures: bool) -> Mapping[str, FactValue]:
        """The facts as the rules saw them; with `figures` also those that only policy sees."""
        if self.decision is None:
            return {}
        known = {fact: each.value for fact, each in self.decision.facts.items()}
        return {**known, **self.decision.figures} if figures else known


def run_whole_cases(rulebook: Rulebook, engine: Engine) -> tuple[WholeCaseResult, ...]:
    """Every case, by id. `engine` is what `compile_rulebook` made of this rulebook."""
    return tuple(run_whole_case(rulebook, engine, case) for _, case in sorted(rulebook.cases.items()))


def run_whole_case(rulebook: Rulebook, engine: Engine, case: WholeCase) -> WholeCaseResult:
    """One case, decided at the time of its report. A report that cannot be read is a failure of the case."""
    file = f"cases/{case.id}.yml"
    try:
        report = read_report(case.report, rulebook)
        machine, history = read_machine(case.machine, rulebook) if case.machine else (None, History())
        decision = decide(rulebook, engine, report, machine, history, report.reported_at)
    except InputError as error:
        failures = tuple(f"the report cannot be decided: {problem}" for problem in error.problems)
        return WholeCaseResult(case.id, file, None, failures)
    return WholeCaseResult(case.id, file, decision, tuple(_failures(rulebook, case, decision)))


def called_for(rulebook: Rulebook, decision: Decision) -> tuple[str, ...]:
    """The cautions that the report itself called for, without those that go with the plan's checks."""
    said = (caution.rule for caution in decision.cautions)
    return tuple(rule for rule in said if not rulebook.cautions[rule].only_with_checks)


def _failures(rulebook: Rulebook, case: WholeCase, decision: Decision) -> Iterator[str]:
    if not case.expect:
        yield "it expects nothing, so it shows nothing"
    for key, wanted in case.expect.items():
        check = _EXPECTATIONS.get(key)
        failure = (
            f"it expects “{key}”, which is not looked at{hint(key, _EXPECTATIONS)}"
            if check is None
            else check(rulebook, decision, wanted)
        )
        if failure is not None:
            yield failure


def _outcome(rulebook: Rulebook, decision: Decision, wanted: object) -> str | None:
    if decision.outcome in _each(wanted):
        return None
    return f"the outcome is {decision.outcome}, not {_or(wanted)}: {_why(decision)}"


def _not_outcome(rulebook: Rulebook, decision: Decision, wanted: object) -> str | None:
    if decision.outcome not in _each(wanted):
        return None
    return f"the outcome is {decision.outcome}, which it must not be: {_why(decision)}"


def _top_cause(rulebook: Rulebook, decision: Decision, wanted: object) -> str | None:
    top = decision.causes[0]
    if top.cause in _each(wanted):
        return None
    chance = next((each.chance for each in decision.causes if each.cause in _each(wanted)), 0.0)
    return f"the likeliest cause is {top.cause} ({top.chance:.2f}), not {_or(wanted)} ({chance:.2f})"


def _first_check(rulebook: Rulebook, decision: Decision, wanted: object) -> str | None:
    first = decision.plan[0].check if decision.plan else None
    if first in _each(wanted):
        return None
    return f"the first check is {first or 'none'}, not {_or(wanted)}"


def _cautions(rulebook: Rulebook, decision: Decision, wanted: object) -> str | None:
    said, asked = called_for(rulebook, decision), _each(wanted)
    if not asked:
        return f"it calls for {', '.join(said)}, where no caution is expected" if said else None
    missing = [str(caution) for caution in asked if caution not in said]
    return f"it does not call for {', '.join(missing)}" if missing else None


_EXPECTATIONS: Mapping[str, Callable[[Rulebook, Decision, object], str | None]] = {
    "outcome": _outcome,
    "not_outcome": _not_outcome,
    "top_cause": _top_cause,
    "first_check": _first_check,
    "cautions": _cautions,
}


def _each(wanted: object) -> list[object]:
    return list(wanted) if isinstance(wanted, list | tuple) else [wanted]


def _or(wanted: object) -> str:
    return " or ".join("none" if each is None else str(each) for each in _each(wanted))


def _why(decision: Decision) -> str:
    return "; ".join(f"{reason.rule}: {reason.text}" for reason in decision.reasons)
