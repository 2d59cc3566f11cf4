"""Rules that can never fire, that wait for a value nothing sets, or that another rule covers."""

import re
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations

from triage.decide.outcome import strongest
from triage.logic.conditions import facts_in
from triage.rulebook.model import Caution, DeriveRule, PolicyRule, Rulebook, RuleHead
from triage.rulebook_care.lint.findings import Finding, finding, too_hard
from triage.rulebook_care.reasoning.formulas import TooHard
from triage.rulebook_care.reasoning.space import Reasoning, conditions_of, settable


def condition_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes never-fires, never-set, covered, derive-contradicts, too-hard."""
    rulebook = reason.rulebook
    sets = settable(rulebook)
    risks = (each for each in rulebook.terms_conditions() if each[1].startswith("warranty/"))
    for rule, file, when in (*conditions_of(rulebook), *risks):
        try:
            if reason.together([reason.true(when)]) is None:
                yield _never_fires(rule, file)
                continue
            waits = sorted(fact for fact in facts_in(when) if fact in sets)
            limits = [reason.is_one_of(fact, sets[fact]) for fact in waits]
            if waits and reason.together([reason.true(when), *limits]) is None:
                message = f"{rule} waits for a value of {', '.join(waits)} that no live derive rule sets"
                yield finding(
                    "never-set", rule, file, message, "Add the derive rule, or test what is set", ("when",)
                )
        except TooHard:
            yield too_hard(rule, file, "this condition can hold")
    yield from _covered_derive(reason, rulebook)
    yield from _contradictions(reason, rulebook)
    yield from _covered_policy(reason, rulebook)
    yield from _covered_cautions(reason, rulebook)


def _never_fires(rule: str, file: str) -> Finding:
    message = f"no report makes the condition of {rule} true: its tests contradict each other or a range"
    return finding("never-fires", rule, file, message, "Fix the tests, or retire the rule", ("when",))


def _covered_derive(reason: Reasoning, rulebook: Rulebook) -> Iterator[Finding]:
    by_settings: dict[object, list[DeriveRule]] = {}
    for rule in rulebook.derive.values():
        if rule.head.status == "live":
            key = frozenset(rule.sets.items()), frozenset(rule.otherwise.items())
            by_settings.setdefault(key, []).append(rule)
    for rules in by_settings.values():
        yield from _covered_among(
            reason,
            [rule.head for rule in rules],
            lambda narrow, wide: "sets the same facts",
            both_ways=bool(rules[0].otherwise),
        )


def _contradictions(reason: Reasoning, rulebook: Rulebook) -> Iterator[Finding]:
    """Rules of one priority that hold together and set one fact differently: the alphabet decides."""
    rules = sorted(
        (rule for rule in rulebook.derive.values() if rule.head.status == "live"), key=lambda one: one.head.id
    )
    for first, second in combinations(rules, 2):
        apart = [
            fact
            for fact in first.sets.keys() & second.sets.keys()
            if first.sets[fact] != second.sets[fact] and not rulebook.facts[fact].danger
        ]
        if not apart or first.priority != second.priority:
            continue
        head = second.head
        try:
            both = reason.together([reason.true(first.head.when), reason.true(head.when)])
        except TooHard:
            yield too_hard(head.id, head.file, f"it contradicts {first.head.id}")
            continue
        if both is not None:
            where = reason.example(both)
            message = f"{first.head.id} and {head.id} set {min(apart)} differently with {where}"
            fix = "Narrow one, or give one a higher `priority`; until then the first by id counts"
            yield finding("derive-contradicts", head.id, head.file, message, fix, ("then", "set", min(apart)))


def _covered_policy(reason: Reasoning, rulebook: Rulebook) -> Iterator[Finding]:
    by_outcome: dict[str, list[PolicyRule]] = {}
    for rule in rulebook.policy.values():
        if rule.head.status == "live":
            by_outcome.setdefault(rule.outcome, []).append(rule)
    for outcome, rules in by_outcome.items():

        def does(narrow: RuleHead, wide: RuleHead, outcome: str = outcome) -> str | None:
            as_much = _does_as_much(rulebook.policy[wide.id], rulebook.policy[narrow.id])
            return f"argues for {outcome} at least as strongly" if as_much else None

        yield from _covered_among(reason, [rule.head for rule in rules], does)


def _covered_cautions(reason: Reasoning, rulebook: Rulebook) -> Iterator[Finding]:
    live = [caution.head for caution in rulebook.cautions.values() if caution.head.status == "live"]

    def does(narrow: RuleHead, wide: RuleHead) -> str | None:
        as_careful = _warns_as_much(rulebook, rulebook.cautions[wide.id], rulebook.cautions[narrow.id])
        return "says, forbids and stops at least as much" if as_careful else None

    yield from _covered_among(reason, live, does)


def _warns_as_much(rulebook: Rulebook, wide: Caution, narrow: Caution) -> bool:
    """In words as well: one sentence that only the narrow caution says is a reason to keep it."""
    return (
        wide.only_with_checks == narrow.only_with_checks
        and _sentences(narrow) <= _sentences(wide)
        and set(narrow.defers_to) <= set(wide.defers_to)
        and _named_by(rulebook, narrow) <= _named_by(rulebook, wide)
        and wide.stop_use >= narrow.stop_use
        and _forbidden(rulebook, narrow) <= _forbidden(rulebook, wide)
        and strongest([wide.visit_skill, narrow.visit_skill]) == wide.visit_skill
        and _as_urgent(wide.visit_priority, narrow.visit_priority)
    )


def _sentences(caution: Caution) -> frozenset[str]:
    return frozenset(re.split(r"(?<=[.!?])\s+", " ".join(caution.text.split())))


def _named_by(rulebook: Rulebook, caution: Caution) -> frozenset[str]:
    return frozenset(check.id for check in rulebook.checks.values() if caution.head.id in check.cautions)


def _forbidden(rulebook: Rulebook, caution: Caution) -> frozenset[str]:
    stops = caution.stop_use and not caution.only_with_checks
    return frozenset(rulebook.checks) if stops or caution.forbids_all_checks else caution.forbids


def _does_as_much(wide: PolicyRule, narrow: PolicyRule) -> bool:
    return wide.priority >= narrow.priority and _as_urgent(wide.visit_priority, narrow.visit_priority)


def _as_urgent(wide: int | None, narrow: int | None) -> bool:
    return narrow is None or (wide is not None and wide <= narrow)


def _covered_among(
    reason: Reasoning,
    rules: Sequence[RuleHead],
    does: Callable[[RuleHead, RuleHead], str | None],
    *,
    both_ways: bool = False,
) -> Iterator[Finding]:
    """`does(narrow, wide)` says in words what the wide rule does as well; None: it does not."""
    covered: set[str] = set()
    for narrow in rules:
        others = [wide for wide in rules if wide is not narrow and wide.id not in covered]
        try:
            if reason.together([reason.true(narrow.when)]) is None:
                continue  # never-fires says so
            for wide in others:
                same = does(narrow, wide)
                if same is not None and _covers(reason, wide, narrow, both_ways):
                    covered.add(narrow.id)
                    message = f"whenever {narrow.id} holds, {wide.id} holds too and {same}"
                    fix = f"Retire it, or narrow {wide.id}"
                    yield finding("covered", narrow.id, narrow.file, message, fix, ("when",))
                    break
        except TooHard:
            yield too_hard(narrow.id, narrow.file, "another rule covers it")


def _covers(reason: Reasoning, wide: RuleHead, narrow: RuleHead, both_ways: bool) -> bool:
    space = reason.space
    only_narrow = [space.formula(narrow.when, "true"), space.formula(wide.when, "not true")]
    if reason.together(only_narrow) is not None:
        return False
    if not both_ways:
        return True
    only_false = [space.formula(narrow.when, "false"), space.formula(wide.when, "not false")]
    return reason.together(only_false) is None
