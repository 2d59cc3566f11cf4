"""Evidence: one fact counted twice, bands of a group, pairs that say nothing, causes no evidence touches."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from triage.logic.conditions import evaluate, facts_in
from triage.rulebook.model import OTHER_CAUSE, EvidenceRule, Rulebook
from triage.rulebook_care.lint.findings import Finding, finding, too_hard
from triage.rulebook_care.reasoning.formulas import Formula, TooHard, copied, every, some
from triage.rulebook_care.reasoning.program_facts import COMPUTED_FROM, GUARDS
from triage.rulebook_care.reasoning.space import Reasoning

LEAST_RATIO = 1.1
"""A pair whose chances differ by less than a tenth, whatever is seen, is not worth its line."""

ALIKE = 0.6
"""Of the causes that one of two observations at least doubles, the share that both do."""

_ORDERED = frozenset({"number", "date", "time"})

Observations = Mapping[str, Sequence[EvidenceRule]]


def evidence_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes counted-twice, counted-twice-derived, likely-together, band-*, little-information and so on."""
    rulebook = reason.rulebook
    seen = observations(rulebook)
    yield from _counted_twice(reason, rulebook, seen)
    yield from _likely_together(seen)
    for name, rules in seen.items():
        if rules[0].group is not None:
            yield from _bands(reason, name, rules)
        yield from _little_information(rules)
    yield from _untouched(rulebook)


def observations(rulebook: Rulebook) -> Observations:
    """The live evidence rules by what they observe: a group in order of its bands, or one rule."""
    found: dict[tuple[bool, str], list[EvidenceRule]] = {}
    for _, rule in sorted(rulebook.evidence.items()):
        if rule.head.status == "live":
            key = (True, rule.group) if rule.group is not None else (False, rule.head.id)
            found.setdefault(key, []).append(rule)
    return {
        f"the group {name}" if is_group else name: sorted(rules, key=lambda rule: (rule.band, rule.head.id))
        for (is_group, name), rules in found.items()
    }


def _counted_twice(reason: Reasoning, rulebook: Rulebook, seen: Observations) -> Iterator[Finding]:
    """One finding for each observation and fact: the first other observation that hangs on it."""
    direct: dict[str, list[str]] = {}
    rooted: dict[str, list[str]] = {}
    sources = _sources(rulebook)
    for name, rules in seen.items():
        looked_at = {fact for rule in rules for fact in facts_in(rule.head.when)} - GUARDS
        for fact in sorted(looked_at):
            direct.setdefault(fact, []).append(name)
        for root in sorted({root for fact in looked_at for root in sources.get(fact, {fact})} - GUARDS):
            rooted.setdefault(root, []).append(name)
    told: set[tuple[str, str]] = set()
    for fact, names in sorted(direct.items()):
        for index, name in enumerate(names):
            for earlier in names[:index]:
                found = _both_hang_on(reason, fact, seen[earlier], seen[name])
                if found is not None:
                    told.add((earlier, name))
                    yield found
                    break
    for root, names in sorted(rooted.items()):
        at_hand = set(direct.get(root, ()))
        if at_hand.issuperset(names):
            continue
        for index, second in enumerate(names):
            partners = (
                name
                for name in names[:index]
                if not at_hand >= {name, second} and (name, second) not in told
                if not _share_mechanism(seen[name], seen[second])
            )
            first = next(partners, None)
            if first is None:
                continue
            told.add((first, second))
            rule = seen[second][0].head
            message = f"{second} and {first} both hang on {root}, by way of a fact that follows from it"
            fix = "Make them bands of one group, give both a `mechanism`, or take the fact out of one"
            yield finding("counted-twice-derived", rule.id, rule.file, message, fix, ("when",))


def _sources(rulebook: Rulebook) -> Mapping[str, frozenset[str]]:
    """Derived or calculated fact -> the facts it comes from, all the way down."""
    below = {fact: set(sources) for fact, sources in COMPUTED_FROM.items() if fact in rulebook.facts}
    for rule in rulebook.derive.values():
        if rule.head.status == "live":
            for made in (*rule.sets, *rule.otherwise):
                below.setdefault(made, set()).update(facts_in(rule.head.when))

    def roots(fact: str) -> frozenset[str]:  # the reader has refused circles
        return frozenset({fact}).union(*(roots(part) for part in below.get(fact, ())))

    return {fact: roots(fact) for fact in below}


def _share_mechanism(one: Sequence[EvidenceRule], other: Sequence[EvidenceRule]) -> bool:
    return one[0].mechanism is not None and one[0].mechanism == other[0].mechanism


def _likely_together(seen: Observations) -> Iterator[Finding]:
    """Observations that speak for nearly the same causes: what makes one makes the other, it seems."""
    raised = {
        name: {
            cause for rule in rules for cause, chance in rule.seen_with.items() if chance >= 2 * rule.others
        }
        for name, rules in seen.items()
    }
    for first, second in combinations(seen, 2):
        both = raised[first] & raised[second]
        alike = len(both) >= 2 and len(both) >= ALIKE * len(raised[first] | raised[second])
        if alike and not _share_mechanism(seen[first], seen[second]):
            rule = seen[second][0].head
            message = (
                f"{second} and {first} speak for nearly the same causes ({', '.join(sorted(both)[:3])}, …)"
            )
            fix = "If one thing makes both, give them one `mechanism`, so that they are not counted in full"
            yield finding("likely-together", rule.id, rule.file, message, fix, ("id",))


def _both_hang_on(
    reason: Reasoning, fact: str, first: Sequence[EvidenceRule], second: Sequence[EvidenceRule]
) -> Finding | None:
    """Whether, all else being equal, this fact alone can sway both observations."""
    rule = next(rule.head for rule in second if fact in facts_in(rule.head.when))
    other = next(rule.head for rule in first if fact in facts_in(rule.head.when))
    known = [copied(reason.is_known(fact), fact, copy) for copy in "1234"]
    formulas = [_swayed(reason, fact, first, "1", "2"), _swayed(reason, fact, second, "3", "4"), *known]
    try:
        situation = reason.together(formulas)
    except TooHard:
        return too_hard(rule.id, rule.file, f"it and {other.id} count {fact} twice")
    if situation is None:
        return None
    where = reason.example(situation)
    message = f"{rule.id} and {other.id} ({other.file}) both weigh {fact}"
    if where != "any report":
        message = f"{message}, as with {where}"
    fix = "Make them bands of one group, or take the fact out of one"
    return finding("counted-twice", rule.id, rule.file, message, fix, ("when", fact))


def _swayed(reason: Reasoning, fact: str, rules: Sequence[EvidenceRule], one: str, another: str) -> Formula:
    """Some rule holds with one value of the fact and does not with another."""
    return some(
        every(
            (
                copied(reason.true(rule.head.when), fact, one),
                copied(reason.false(rule.head.when), fact, another),
            )
        )
        for rule in rules
        if fact in facts_in(rule.head.when)
    )


def _bands(reason: Reasoning, group: str, rules: Sequence[EvidenceRule]) -> Iterator[Finding]:
    for index, rule in enumerate(rules):
        earlier = rules[:index]
        head = rule.head
        try:
            if not earlier or reason.together([reason.true(head.when)]) is None:
                continue
            left = [reason.true(head.when), *(reason.false(other.head.when) for other in earlier)]
            if reason.together(left) is None:
                message = f"the bands before {head.id} in {group} leave no case to it"
                fix = "Fix its test, or give it an earlier band"
                yield finding("band-never-reached", head.id, head.file, message, fix, ("when",))
                continue
            for other in earlier:
                both = reason.together([reason.true(other.head.when), reason.true(head.when)])
                if both is not None:
                    where = reason.example(both)
                    message = f"in {group} both {other.head.id} and {head.id} hold with {where}"
                    fix = "Narrow one; bands of one observation exclude each other"
                    yield finding("band-overlap", head.id, head.file, message, fix, ("when",))
                    break
        except TooHard:
            yield too_hard(head.id, head.file, f"the bands of {group} overlap")
    yield from _gap(reason, group, rules)


def _gap(reason: Reasoning, group: str, rules: Sequence[EvidenceRule]) -> Iterator[Finding]:
    """Values between two bands, where all bands look at one fact that has an order.

    One stretch of values may be left to “none of the bands”: the ordinary ones. Two stretches are a slip.
    """
    facts = {fact for rule in rules for fact in facts_in(rule.head.when)}
    if len(facts) != 1 or reason.facts[fact := facts.pop()].type not in _ORDERED:
        return
    pieces = reason.pieces(fact)
    taken = 0
    for rule in rules:
        taken |= sum(
            1 << index
            for index, value in enumerate(pieces.values)
            if evaluate(rule.head.when, {fact: value}) is True
        )
    runs = _runs([index for index in range(len(pieces.values)) if not taken >> index & 1])
    inner = [run for run in runs if run[0] > 0 and run[-1] < len(pieces.values) - 1]
    missed = inner[0] if inner and len(runs) > 1 else []
    if missed:
        head = rules[-1].head
        value = reason.space.example({(fact, ""): 1 << missed[0]})
        message = f"no band of {group} speaks of {value}, which lies between two of them"
        fix = "Widen a band, or add one; left so, it counts as “none of the bands”"
        yield finding("band-gap", head.id, head.file, message, fix, ("when",))


def _runs(indexes: Sequence[int]) -> list[list[int]]:
    runs: list[list[int]] = []
    for index in indexes:
        if runs and runs[-1][-1] == index - 1:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs


def _little_information(rules: Sequence[EvidenceRule]) -> Iterator[Finding]:
    others = [rule.others for rule in rules]
    for cause in sorted({cause for rule in rules for cause in rule.seen_with}):
        seen = [rule.chance_given(cause) for rule in rules]
        pairs = [*zip(seen, others, strict=True), (1 - sum(seen), 1 - sum(others))]
        if any(max(one, other) > LEAST_RATIO * min(one, other) for one, other in pairs):
            continue
        rule = next(rule for rule in rules if cause in rule.seen_with)
        message = (
            f"of 100 calls with {cause}, {rule.head.id} is seen in {rule.seen_with[cause] * 100:g}, "
            f"with any other cause in {rule.others * 100:g}: it says next to nothing"
        )
        fix = f"Take {cause} out of `seen_with`, or better its numbers"
        path = ("then", "seen_with", cause)
        yield finding("little-information", rule.head.id, rule.head.file, message, fix, path)


def _untouched(rulebook: Rulebook) -> Iterator[Finding]:
    touched = {
        cause for rule in rulebook.evidence.values() if rule.head.status == "live" for cause in rule.seen_with
    }
    shared = {cause for symptom in rulebook.symptoms.values() for cause in symptom.shares}
    live = {cause.id for cause in rulebook.causes.values() if cause.status == "live"}
    for cause in sorted(live - {OTHER_CAUSE}):
        file = f"causes/{cause}.yml"
        if cause not in touched:
            message = f"no live evidence rule names {cause}: only its base share speaks for it"
            yield finding("untouched-cause", cause, file, message, "Add an evidence rule for it", ("id",))
        if cause not in shared:
            message = f"no symptom gives {cause} a share"
            fix = "Add it to the shares of a symptom, or take the cause out"
            yield finding("cause-without-share", cause, file, message, fix, ("id",))
