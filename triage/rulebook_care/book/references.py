"""What each entry of a rulebook refers to: facts it fires on, causes, checks and cautions it names."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from triage.logic.conditions import (
    Condition,
    FactTest,
    UnaryTest,
    values_in,
    walk,
)
from triage.rulebook.built_in_facts import VALUES_OF
from triage.rulebook.model import Rulebook, WholeCase
from triage.values.shown import N_

Key: TypeAlias = tuple[str, str]
"""Kind (the folder's name) and id of an entry."""

KINDS: Mapping[str, tuple[str, str]] = {
    "symptoms": (N_("symptom"), N_("Symptoms")),
    "causes": (N_("cause"), N_("Causes")),
    "evidence": (N_("evidence rule"), N_("Evidence")),
    "cautions": (N_("caution"), N_("Cautions")),
    "checks": (N_("check"), N_("Checks")),
    "policy": (N_("policy rule"), N_("Policy")),
    "derive": (N_("derive rule"), N_("Derived facts")),
    "limits": (N_("limit table"), N_("Limits")),
    "warranty": (N_("warranty terms"), N_("Warranty")),
    "program": (N_("numbers of the program"), N_("Rates, parts, hours, models")),
    "facts": (N_("fact"), N_("Facts")),
    "words": (N_("list of words"), N_("What callers say")),
    "cases": (N_("whole-report case"), N_("Whole reports")),
}
"""Kind of entry -> what one is called, and all of them; in the order of the book."""


@dataclass(frozen=True, slots=True)
class Reference:
    """From `source` to `target`; "Filter overdue" `how` "speaks for" "Dirty filter"."""

    source: Key
    how: str
    target: Key


def references(rulebook: Rulebook) -> Iterator[Reference]:
    """Every reference once, to entries that are there."""
    known = {
        (kind, name)
        for kind in ("facts", "symptoms", "causes", "checks", "cautions", "evidence")
        for name in getattr(rulebook, kind)
    }
    for reference in dict.fromkeys(_all(rulebook)):
        if reference.target in known:
            yield reference


def _all(rulebook: Rulebook) -> Iterator[Reference]:
    for kind in ("derive", "evidence", "cautions", "policy"):
        for name, rule in getattr(rulebook, kind).items():
            yield from _fires_on((kind, name), rule.head.when)
    for name, derive in rulebook.derive.items():
        yield from _to("facts", ("derive", name), "sets", (*derive.sets, *derive.otherwise))
    for name, rule in rulebook.evidence.items():
        yield from _to("causes", ("evidence", name), "speaks of", rule.seen_with)
        beside = [
            each
            for each, other in rulebook.evidence.items()
            if rule.group is not None and other.group == rule.group and each != name
        ]
        yield from _to("evidence", ("evidence", name), "is a band beside", beside)
    for name, caution in rulebook.cautions.items():
        yield from _to("checks", ("cautions", name), "forbids", sorted(caution.forbids))
    for name, symptom in rulebook.symptoms.items():
        yield from _to("causes", ("symptoms", name), "may end with", symptom.shares)
        yield from _to("symptoms", ("symptoms", name), "has shares together with", symptom.together_with)
        yield from _to("facts", ("symptoms", name), "asks first", symptom.ask_first)
    for name, check in rulebook.checks.items():
        yield from _fires_on(("checks", name), check.when)
        yield from _to("causes", ("checks", name), "may fix", check.resolves)
        yield from _to("cautions", ("checks", name), "is said with", check.cautions)
    for name, table in rulebook.limits.items():
        yield from _to("facts", ("limits", name), "decides by", table.inputs)
        for row in table.rows:
            for fact, test in row.when.items():
                yield from _values(("limits", name), "decides by", fact, test)
    for name, terms in rulebook.warranty.items():
        for risk in terms.risks:
            yield from _fires_on(("warranty", name), risk.when, "is at risk by")
    for model in rulebook.models.values():
        yield from _to("facts", ("program", "models"), "gives", model.facts)
    for name, words in rulebook.words.items():
        yield from _to("facts", ("words", name), "raises", [words.danger] if words.danger else [])
        yield from _to("symptoms", ("words", name), "points to", [words.symptom] if words.symptom else [])
    for name, case in rulebook.cases.items():
        yield from _of_case(("cases", name), case)


def _to(kind: str, source: Key, how: str, names: Iterable[str]) -> Iterator[Reference]:
    for name in names:
        yield Reference(source, how, (kind, name))


def _fires_on(source: Key, condition: Condition, how: str = "fires on") -> Iterator[Reference]:
    for leaf in walk(condition):
        yield Reference(source, how, ("facts", leaf.fact))
        if isinstance(leaf, FactTest):
            yield from _values(source, how, leaf.fact, leaf.test)


def _values(source: Key, how: str, fact: str, test: UnaryTest) -> Iterator[Reference]:
    if fact in VALUES_OF:
        yield from _to(VALUES_OF[fact], source, how, map(str, values_in(test)))


def _of_case(source: Key, case: WholeCase) -> Iterator[Reference]:
    yield from _to("symptoms", source, "reports", _texts(case.report.get("symptoms")))
    yield from _to("facts", source, "reports", _texts(case.report.get("answers")))
    machine = case.machine or {}
    yield from _to("facts", source, "reports", _texts(machine.get("facts")))
    expected = (("causes", "top_cause"), ("checks", "first_check"), ("cautions", "cautions"))
    for kind, name in expected:
        yield from _to(kind, source, "expects", _texts(case.expect.get(name)))


def _texts(value: object) -> tuple[str, ...]:
    """The texts in a text, a list, or the keys of a mapping."""
    match value:
        case str():
            return (value,)
        case list() | dict() | tuple():
            return tuple(str(each) for each in value)
        case _:
            return ()
