"""All families of findings about one rulebook.

findings = lint(rulebook)                      without places, for rulebooks held as data
findings = located(lint(rulebook), folder)     with line and column in the folder's files
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

from triage.rulebook import Rulebook
from triage.rulebook_care.findings import Finding, in_order, silenced
from triage.rulebook_care.lint_checks import check_findings
from triage.rulebook_care.lint_conditions import condition_findings
from triage.rulebook_care.lint_evidence import evidence_findings
from triage.rulebook_care.lint_limits import limit_findings
from triage.rulebook_care.lint_policy import policy_findings
from triage.rulebook_care.lint_texts import text_findings
from triage.rulebook_care.lint_vocabulary import vocabulary_findings
from triage.rulebook_care.reasoning import Reasoning

FAMILIES: tuple[Callable[[Reasoning], Iterator[Finding]], ...] = (
    condition_findings,
    evidence_findings,
    limit_findings,
    policy_findings,
    check_findings,
    vocabulary_findings,
    text_findings,
)


def lint(rulebook: Rulebook) -> tuple[Finding, ...]:
    """Every finding, the silenced ones marked; errors first. The same rulebook gives the same findings."""
    reason = Reasoning(rulebook)
    found = (each for family in FAMILIES for each in family(reason))
    return in_order(silenced(found, rulebook))


def has_errors(found: Iterable[Finding]) -> bool:
    """Whether a finding is an error that nobody silenced."""
    return any(each.severity == "error" and each.silenced is None for each in found)
