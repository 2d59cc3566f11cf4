"""All families of findings about one rulebook.

findings = lint(rulebook)                      without places, for rulebooks held as data
findings = located(lint(rulebook), folder)     with line and column in the folder's files
"""

from collections.abc import Callable, Iterable, Iterator

from triage.rulebook.model import Rulebook
from triage.rulebook_care.lint.checks import check_findings
from triage.rulebook_care.lint.conditions import condition_findings
from triage.rulebook_care.lint.evidence import evidence_findings
from triage.rulebook_care.lint.findings import Finding, in_order, silenced
from triage.rulebook_care.lint.languages import language_findings
from triage.rulebook_care.lint.leftovers import leftover_findings, vocabulary_findings, words_findings
from triage.rulebook_care.lint.money import limit_findings, money_findings
from triage.rulebook_care.lint.numbers import number_findings
from triage.rulebook_care.lint.policy import policy_findings
from triage.rulebook_care.lint.steps import step_findings
from triage.rulebook_care.lint.texts import text_findings
from triage.rulebook_care.reasoning.space import Reasoning

FAMILIES: tuple[Callable[[Reasoning], Iterator[Finding]], ...] = (
    condition_findings,
    evidence_findings,
    limit_findings,
    money_findings,
    policy_findings,
    check_findings,
    step_findings,
    vocabulary_findings,
    text_findings,
    language_findings,
    words_findings,
    number_findings,
    leftover_findings,
)


def lint(rulebook: Rulebook) -> tuple[Finding, ...]:
    """Every finding, the silenced ones marked; errors first. The same rulebook gives the same findings."""
    reason = Reasoning(rulebook)
    found = (each for family in FAMILIES for each in family(reason))
    return in_order(silenced(found, rulebook))


def has_errors(found: Iterable[Finding]) -> bool:
    """Whether a finding is an error that nobody silenced."""
    return any(each.severity == "error" and each.silenced is None for each in found)
