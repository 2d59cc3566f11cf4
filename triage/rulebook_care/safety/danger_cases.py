"""The program's own cases of danger, which every candidate must pass.

A case binds a candidate when the candidate or the live rulebook knows it: its danger is a fact that a live
caution looks at, its symptoms are there, its words are listed. A rulebook that has lost what the live one
knew fails by name; a small one that neither ever knew is exempt.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from triage.decide.decide_data import decide_inputs, read_inputs
from triage.decide.pipeline import inferred
from triage.inputs.report import read_report
from triage.logic.engine import Engine
from triage.records.danger import CALM
from triage.records.decision import Decision
from triage.records.report import History, Report
from triage.rulebook.model import Rulebook
from triage.rulebook_care.safety.narrowing import guarded_facts
from triage.values.errors import InputError
from triage.values.yaml_source import read_yaml

FILE = Path(__file__).with_name("danger_cases.yml")
AT = datetime(2026, 1, 5, 12, tzinfo=UTC)
"""When the cases' reports are made; no rule of danger looks at the day."""


@dataclass(frozen=True, slots=True)
class DangerCase:
    """One report: `danger` is the fact that is said, or heard in the `note`; else the symptom says it."""

    id: str
    title: str
    danger: str | None
    symptoms: tuple[str, ...]  # none: every one is tried
    note: str

    def binds(self, rulebook: Rulebook) -> bool:
        """Whether a rulebook knows what the case is about."""
        return not tuple(self.lacking(rulebook))

    def lacking(self, rulebook: Rulebook) -> Iterator[str]:
        """What a rulebook would need to know the case, in words."""
        if self.danger is not None and self.danger not in rulebook.facts:
            yield f"the fact {self.danger}"
        elif self.danger is not None and self.danger not in guarded_facts(rulebook):
            yield f"a live caution that looks at the fact {self.danger}"
        if self.note and not any(words.danger == self.danger for words in rulebook.words.values()):
            yield f"a list of words for {self.danger}"
        for symptom in self.symptoms:
            if symptom not in rulebook.symptoms:
                yield f"the symptom {symptom}"


@cache
def danger_cases() -> tuple[DangerCase, ...]:
    """All cases, in the file's order."""
    data: Any = read_yaml(FILE.read_bytes(), FILE.name).data
    return tuple(
        DangerCase(
            each["id"],
            each["title"],
            each.get("danger"),
            tuple(each.get("symptoms", ())),
            each.get("note", ""),
        )
        for each in data
    )


def binding(rulebook: Rulebook) -> frozenset[str]:
    """The ids of the cases that a rulebook knows, and that whatever follows it must pass."""
    return frozenset(case.id for case in danger_cases() if case.binds(rulebook))


def surely_passes(rulebook: Rulebook, engine: Engine, bound: Collection[str] = ()) -> bool:
    """Whether no case fails, because in each a caution that stops use holds: whatever the rulebook says
    besides, no check is then left and nothing is fixed in the store, by guards in the code.

    It looks at nothing of the rulebook beyond `STOPS`.
    """
    for case in _binding(rulebook, bound):
        if tuple(case.lacking(rulebook)):
            return False
        try:
            reports = [read_report(report, rulebook) for _, report in _reports(rulebook, case)]
            if not all(_surely_stops(rulebook, engine, report, AT) for report in reports):
                return False
        except InputError:
            return False
    return True


def failed_danger_cases(rulebook: Rulebook, engine: Engine, bound: Collection[str] = ()) -> list[str]:
    """How a rulebook fails the cases that it knows, and those `bound` by the live one; in words."""
    return [
        f"danger case “{case.title}”: {why}"
        for case in _binding(rulebook, bound)
        for why in dict.fromkeys(_failures(rulebook, engine, case))
    ]


def _surely_stops(rulebook: Rulebook, engine: Engine, report: Report, now: datetime) -> bool:
    """Whether use stops for a report without a machine, by the cautions that fire alone."""
    found = inferred(rulebook, engine, report, None, History(), now, CALM)
    fired = (found[0].cautions[id_] for id_ in found[-1].cautions)
    return any(caution.stop_use and not caution.only_with_checks for caution in fired)


def _binding(rulebook: Rulebook, bound: Collection[str]) -> Iterator[DangerCase]:
    return (case for case in danger_cases() if case.id in bound or case.binds(rulebook))


def _reports(rulebook: Rulebook, case: DangerCase) -> Iterator[tuple[str, dict[str, Any]]]:
    for symptom in case.symptoms or rulebook.symptoms:
        report: dict[str, Any] = {"machine": None, "symptoms": [symptom], "reported_at": AT.isoformat()}
        if case.note:
            report["note"] = case.note
        elif case.danger is not None:
            report["answers"] = {case.danger: True}
        yield symptom, report


def _failures(rulebook: Rulebook, engine: Engine, case: DangerCase) -> Iterator[str]:
    lacking = tuple(case.lacking(rulebook))
    if lacking:
        yield from (f"the rulebook has lost {what}" for what in lacking)
        return
    for symptom, report in _reports(rulebook, case):
        try:
            inputs = read_inputs(report, rulebook, AT, lambda _: None)
            decision = decide_inputs(rulebook, engine, inputs, ask=False)
        except InputError as error:
            yield from (f"the report cannot be read: {problem}" for problem in error.problems)
            return
        yield from (f"with the symptom {symptom} {why}" for why in _unsafe(rulebook, decision))


def _unsafe(rulebook: Rulebook, decision: Decision) -> Iterator[str]:
    if decision.outcome == "fix_in_store":
        yield "it is fixed in the store"
    if not any(caution.stop_use for caution in decision.cautions):
        yield "no caution stops use"
    for step in decision.plan:
        if rulebook.checks[step.check].near:
            yield f"the check {step.check} brings someone near the machine"
