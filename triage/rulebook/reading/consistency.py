"""What the files must satisfy together: groups that add up, facts that go in no circle, unique ids."""

from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from pydantic import BaseModel

from triage.logic.conditions import facts_in
from triage.rulebook.model import OTHERS, DeriveRule, EvidenceRule, Symptom
from triage.rulebook.reading.problems import Problems

_MOST_CYCLES = 20


def check_groups(rules: Mapping[str, EvidenceRule], problems: Problems) -> None:
    """In a group of live evidence rules each band stands once and each cause's chances sum to less than 1."""
    groups: dict[str, list[EvidenceRule]] = {}
    for rule in sorted(rules.values(), key=lambda rule: (rule.band, rule.head.id)):
        if rule.group is not None and rule.head.status == "live":
            groups.setdefault(rule.group, []).append(rule)
    for group, members in groups.items():
        for before, rule in pairwise(members):
            if before.band == rule.band:
                message = f"band {rule.band} of group {group} is also that of {before.head.id}; order them"
                problems.at(rule.head.file, ("band",), message)
            if before.mechanism != rule.mechanism:
                message = (
                    f"group {group} is one observation; give it the mechanism of {before.head.id}, or none"
                )
                problems.at(rule.head.file, ("mechanism",), message)
        causes = sorted({cause for rule in members for cause in rule.seen_with})
        for cause in (*causes, OTHERS):
            total = sum(rule.chance_given(cause) for rule in members)
            if total >= 1 - 1e-12:
                names = ", ".join(rule.head.id for rule in members)
                message = (
                    f"in group {group} the chances for {cause} sum to {total:.6g} over {names}; "
                    "they are bands of one observation, so together they stay below 1"
                )
                problems.at(members[-1].head.file, ("then", "seen_with"), message)


def check_pairs(symptoms: Mapping[str, Symptom], problems: Problems) -> None:
    """Shares of two symptoms stand in one of their files, and name causes of at least one of them."""
    for symptom in symptoms.values():
        for other, shares in symptom.together_with.items():
            path, file = ("together_with", other), f"symptoms/{symptom.id}.yml"
            if other == symptom.id:
                problems.at(file, path, "a pair is of two symptoms; name another one", key=True)
            elif other in symptoms:
                if symptom.id in symptoms[other].together_with and symptom.id > other:
                    message = f"symptoms/{other}.yml has shares of this pair already; keep one of them"
                    problems.at(file, path, message, key=True)
                for cause in shares.keys() - symptom.shares.keys() - symptoms[other].shares.keys():
                    message = f"{cause} has a share in neither symptom alone; give it one there first"
                    problems.at(file, (*path, cause), message, key=True)


def check_cycles(rules: Mapping[str, DeriveRule], problems: Problems) -> None:
    """No derived fact depends on itself, directly or by way of others; each circle is named."""
    needs: dict[str, set[str]] = {}
    made_by: dict[tuple[str, str], DeriveRule] = {}
    for rule in sorted(rules.values(), key=lambda rule: rule.head.id):
        if rule.head.status == "retired":
            continue
        for made in {*rule.sets, *rule.otherwise}:
            for needed in facts_in(rule.head.when):
                needs.setdefault(made, set()).add(needed)
                made_by.setdefault((made, needed), rule)
    for _ in range(_MOST_CYCLES):
        circle = _circle(needs)
        if circle is None:
            return
        rule = made_by[circle[1], circle[0]]
        message = (
            f"derived facts go in a circle: {' -> '.join(circle)}; one of these rules must not look at it"
        )
        problems.at(rule.head.file, ("when",), message)
        needs[circle[1]].discard(circle[0])


def _circle(needs: Mapping[str, Iterable[str]]) -> list[str] | None:
    ordered = {made: sorted(needed) for made, needed in sorted(needs.items())}
    try:
        TopologicalSorter(ordered).prepare()
    except CycleError as error:
        circle: list[str] = list(error.args[1])[:-1]
        first = circle.index(min(circle))
        turned = circle[first:] + circle[:first]
        return [*turned, turned[0]]
    return None


def spanish_of(
    files: Iterable[tuple[str, BaseModel]], problems: Problems
) -> tuple[Mapping[str, str], Mapping[str, tuple[str, ...]], Mapping[str, tuple[str, ...]]]:
    """The Spanish wording of each English one that a key ending in `_es` gives beside it; where there is
    any, the keys without it in files whose texts clerks hear; and by file the English wordings that have
    another Spanish in a file before it."""
    found: dict[str, str] = {}
    gaps: dict[str, tuple[str, ...]] = {}
    twice: dict[str, tuple[str, ...]] = {}
    for file, shape in files:
        risks = enumerate(getattr(shape, "at_risk", ()))
        listed = [(key, getattr(shape, key, {})) for key in ("parts", "authorities")]
        parts = [
            ((), shape),
            (("then",), getattr(shape, "then", None)),
            *((("at_risk", index), risk) for index, risk in risks),
            *(((key, id_), one) for key, ones in listed for id_, one in ones.items()),
        ]
        pairs = [
            (path, key, getattr(part, key.removesuffix("_es")), getattr(part, key))
            for path, part in parts
            if isinstance(part, BaseModel)
            for key in type(part).model_fields
            if key.endswith("_es")
        ]
        for path, key, english, spanish in pairs:
            said = _side_by_side(english, spanish)
            if said is None:
                message = f"`{key}` says another number of things than `{key.removesuffix('_es')}` beside it"
                problems.at(file, (*path, key), message)
            else:
                apart = (each for each in said if found.get(each, said[each]) != said[each])
                twice[file] = (*twice.get(file, ()), *apart)
                found |= said
        missing = tuple(dict.fromkeys(key for _, key, english, spanish in pairs if english and not spanish))
        if missing and getattr(shape, "asked_of", getattr(shape, "who", "clerk")) == "clerk":
            gaps[file] = missing
    return found, gaps if found else {}, {file: apart for file, apart in twice.items() if apart}


def _side_by_side(english: object, spanish: object) -> Mapping[str, str] | None:
    match english, spanish:
        case _, None:
            return {}
        case str(), str():
            return {english: spanish}
        case list(), list() if len(english) == len(spanish):
            return dict(zip(english, spanish, strict=True))
        case dict(), dict() if english.keys() == spanish.keys():
            return {english[key]: spanish[key] for key in english}
        case _:
            return None


def check_unique(rules: Iterable[tuple[str, str]], problems: Problems) -> None:
    """Rules and checks share one space of ids, since answers name them without their kind."""
    seen: dict[str, str] = {}
    for rule_id, file in rules:
        if rule_id in seen:
            problems.at(file, ("id",), f'"{rule_id}" is already the id of {seen[rule_id]}; rename one')
        seen.setdefault(rule_id, file)
