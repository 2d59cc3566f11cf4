"""Policy: numbers on which no outcome results, or two of one priority, and rules that never decide."""

import re
from collections.abc import Iterator, Sequence

from triage.logic.conditions import AllOf, Compare, Condition, FactTest
from triage.rulebook.model import Outcome, PolicyRule
from triage.rulebook_care.lint.findings import Finding, finding, too_hard
from triage.rulebook_care.reasoning.formulas import Formula, TooHard, every, some
from triage.rulebook_care.reasoning.space import Reasoning


def policy_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes policy-gap, policy-tie, policy-tie-differs, always-overruled, says-otherwise, too-hard."""
    rulebook = reason.rulebook
    rules = sorted(
        (rule for rule in rulebook.policy.values() if rule.head.status == "live"),
        key=lambda rule: (-rule.priority, rule.head.id),
    )
    yield from _gap(reason, rules)
    yield from _ties(reason, rules)
    yield from _overruled(reason, rules)
    for rule in rules:
        for said in _URGENCY.findall(rule.text):
            if int(said) != rule.visit_priority:
                head = rule.head
                message = f"the text of {head.id} says priority {said}, not {rule.visit_priority}"
                yield finding(
                    "says-otherwise", head.id, head.file, message, "Make them one", ("then", "text")
                )


_URGENCY = re.compile(r"\bpriority\s+(\d)\b")


def _is(fact: str, value: bool) -> Condition:
    return FactTest(fact, Compare("=", value))


_ALLOWED: dict[Outcome, Condition | None] = {
    "fix_in_store": AllOf((_is("stop_use", False), _is("plan_starts_in_store", True))),
    "approve": _is("over_limit", False),
    "dispatch": None,
    "hold": None,
    "swap": None,
}
"""When the guards let an outcome be, whatever the rules say (`decision.decide_outcome`); None: always."""


def _decides(reason: Reasoning, rule: PolicyRule) -> Formula:
    """The rule holds and its outcome may be."""
    allowed = _ALLOWED[rule.outcome]
    holds = reason.true(rule.head.when)
    return holds if allowed is None else every((holds, reason.true(allowed)))


def _silent(reason: Reasoning, rule: PolicyRule) -> Formula:
    """The rule has no say: it does not hold, or its outcome is barred."""
    allowed = _ALLOWED[rule.outcome]
    silent = reason.not_true(rule.head.when)
    return silent if allowed is None else some((silent, reason.not_true(allowed)))


def _gap(reason: Reasoning, rules: Sequence[PolicyRule]) -> Iterator[Finding]:
    if not rules:
        return
    last = rules[-1].head
    try:
        gap = reason.together([_silent(reason, rule) for rule in rules])
    except TooHard:
        yield too_hard(last.id, last.file, "some numbers leave policy without an outcome")
        return
    if gap is not None:
        looked_at = [rule.head.when for rule in rules] + [bar for bar in _ALLOWED.values() if bar is not None]
        message = f"no policy rule names an outcome with {reason.example(gap, looked_at)}"
        fix = "Add a rule of low priority for what is left; until then the safe default decides"
        yield finding("policy-gap", last.id, last.file, message, fix, ("when",))


def _ties(reason: Reasoning, rules: Sequence[PolicyRule]) -> Iterator[Finding]:
    """One finding for each rule that ties: with the first it ties with."""
    by_priority: dict[int, list[PolicyRule]] = {}
    for rule in rules:
        by_priority.setdefault(rule.priority, []).append(rule)
    for equals in by_priority.values():
        for index, rule in enumerate(equals):
            ties = (_tie(reason, earlier, rule) for earlier in equals[:index])
            first = next((tie for tie in ties if tie is not None), None)
            if first is not None:
                yield first


def _tie(reason: Reasoning, first: PolicyRule, second: PolicyRule) -> Finding | None:
    if first.outcome == second.outcome and first.visit_priority == second.visit_priority:
        return None
    head = second.head
    try:
        both = reason.together([_decides(reason, first), _decides(reason, second)])
    except TooHard:
        return too_hard(head.id, head.file, f"it ties with {first.head.id}")
    if both is None:
        return None
    one, other = (
        rule.outcome if first.outcome != second.outcome else f"visit priority {rule.visit_priority or 'none'}"
        for rule in (first, second)
    )
    message = (
        f"{first.head.id} ({one}) and {head.id} ({other}) both have priority "
        f"{second.priority} and hold with {reason.example(both)}"
    )
    fix = "Give one a higher priority"
    code = "policy-tie" if first.outcome != second.outcome else "policy-tie-differs"
    return finding(code, head.id, head.file, message, fix, ("then", "priority"))


def _overruled(reason: Reasoning, rules: Sequence[PolicyRule]) -> Iterator[Finding]:
    for index, rule in enumerate(rules):
        head = rule.head
        above = [other for other in rules[:index] if other.outcome != rule.outcome]
        try:
            if reason.together([reason.true(head.when)]) is None:
                continue  # never-fires says so
            silent = [_silent(reason, other) for other in above]
            if reason.together([_decides(reason, rule), *silent]) is None:
                message = (
                    f"whenever {head.id} holds, something above it decides otherwise, or a guard bars it"
                )
                fix = "Give it a higher priority, or retire it"
                yield finding("always-overruled", head.id, head.file, message, fix, ("then", "priority"))
        except TooHard:
            yield too_hard(head.id, head.file, "it ever decides")
