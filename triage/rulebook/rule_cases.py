"""Runs the cases beside each rule: where one says it fires the condition is true, elsewhere it is not."""

from dataclasses import dataclass

from triage.logic.conditions import evaluate
from triage.rulebook.model import Rulebook, RuleHead


@dataclass(frozen=True, slots=True)
class CaseFailure:
    """One case that came out otherwise than it says. `case` counts from 0; `file` is the rule's."""

    rule: str
    case: int
    file: str
    message: str


def run_rule_cases(rulebook: Rulebook) -> list[CaseFailure]:
    """The cases of all rules, live or not, that fail; in the order of kinds, ids and cases.

    Each is tried on the rule's own condition alone, with the facts it gives and no others: derived facts are
    given, not derived. A condition that is unknown does not fire.
    """
    heads = (
        *(rule.head for _, rule in sorted(rulebook.derive.items())),
        *(rule.head for _, rule in sorted(rulebook.evidence.items())),
        *(rule.head for _, rule in sorted(rulebook.cautions.items())),
        *(rule.head for _, rule in sorted(rulebook.policy.items())),
    )
    return [failure for head in heads for failure in _failures(head)]


def _failures(head: RuleHead) -> list[CaseFailure]:
    failures = []
    for index, case in enumerate(head.cases):
        truth = evaluate(head.when, case.facts)
        if (truth is True) is case.fires:
            continue
        value = {True: "true", False: "false", None: "unknown"}[truth]
        wish = "fire" if case.fires else "stay silent"
        note = f" ({case.note})" if case.note else ""
        message = f"case {index + 1}{note} should {wish}, but the condition is {value}"
        failures.append(CaseFailure(head.id, index, head.file, message))
    return failures
