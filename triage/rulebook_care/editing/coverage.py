"""Which rules, and which branches of their conditions, no case touches."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from triage.decide.whole_cases import decide_case
from triage.logic.conditions import AllOf, AnyOf, Condition, Facts, NoneOf, evaluate
from triage.logic.engine import Engine
from triage.rulebook.model import Rulebook, RuleCase
from triage.rulebook_care.book.names import condition_words
from triage.values.errors import InputError


@dataclass(frozen=True, slots=True)
class RuleCoverage:
    """What the cases show of one live rule or check.

    `whole_cases` are the whole reports on which its condition holds. `untouched` are the branches (parts of
    `any_of` and `none_of`, in words) that hold in none of its own cases and in no whole report.
    """

    kind: str
    rule: str
    file: str
    whole_cases: tuple[str, ...]
    untouched: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    rules: tuple[RuleCoverage, ...]

    @property
    def never_in_a_whole_case(self) -> tuple[RuleCoverage, ...]:
        return tuple(rule for rule in self.rules if not rule.whole_cases)

    @property
    def with_untouched_branches(self) -> tuple[RuleCoverage, ...]:
        return tuple(rule for rule in self.rules if rule.untouched)

    @property
    def share(self) -> float:
        """The share of rules and checks that some whole report reaches, 0..1; 1 where there are none."""
        return 1 - len(self.never_in_a_whole_case) / len(self.rules) if self.rules else 1.0


def coverage(rulebook: Rulebook, engine: Engine) -> Coverage:
    """The coverage of the live rules and checks by their own cases and by the whole ones.

    `engine` is what `compile_rulebook` made of this rulebook. A case that cannot be read touches nothing.
    """
    early: list[tuple[str, Facts]] = []
    late: list[tuple[str, Facts]] = []
    for _, case in sorted(rulebook.cases.items()):
        try:
            decision = decide_case(rulebook, engine, case)
        except InputError:
            continue
        facts = {fact: known.value for fact, known in decision.facts.items()}
        early.append((case.id, facts))
        late.append((case.id, {**facts, **decision.computed_facts}))
    return Coverage(
        tuple(
            _covered(kind, rule, file, when, cases, late if kind == "policy" else early)
            for kind, rule, file, when, cases in _rules(rulebook)
        )
    )


def _covered(
    kind: str,
    rule: str,
    file: str,
    when: Condition,
    own: Sequence[RuleCase],
    whole: Sequence[tuple[str, Facts]],
) -> RuleCoverage:
    situations = [*(case.facts for case in own), *(facts for _, facts in whole)]
    untouched = tuple(
        condition_words(branch)
        for branch in branches(when)
        if not any(evaluate(branch, facts) is True for facts in situations)
    )
    holds = tuple(case for case, facts in whole if evaluate(when, facts) is True)
    return RuleCoverage(kind, rule, file, holds, untouched)


def branches(condition: Condition) -> Iterator[Condition]:
    """The parts of every `any_of` and `none_of`, outer ones first."""
    match condition:
        case AnyOf(parts) | NoneOf(parts):
            for part in parts:
                yield part
                yield from branches(part)
        case AllOf(parts):
            for part in parts:
                yield from branches(part)


def _rules(rulebook: Rulebook) -> Iterator[tuple[str, str, str, Condition, tuple[RuleCase, ...]]]:
    heads = [
        *(("derive", rule.head) for rule in rulebook.derive.values()),
        *(("evidence", rule.head) for rule in rulebook.evidence.values()),
        *(
            ("cautions", caution.head)
            for caution in rulebook.cautions.values()
            if not caution.only_with_checks
        ),
        *(("policy", rule.head) for rule in rulebook.policy.values()),
    ]
    for kind, head in heads:
        if head.status == "live":
            yield kind, head.id, head.file, head.when, head.cases
    for check in rulebook.checks.values():
        yield "checks", check.id, f"checks/{check.id}.yml", check.when, ()
