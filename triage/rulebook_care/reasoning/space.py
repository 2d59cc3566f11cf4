"""A rulebook made ready for reasoning: the pieces of its facts, and what always holds among them."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from triage.logic.conditions import MANY_VALUED, Condition, FactTest, Scalar, UnaryTest, facts_in, walk
from triage.rulebook.model import Fact, Rulebook, RuleHead
from triage.rulebook.reading.conditions import built_in_facts
from triage.rulebook.terms import LimitTable
from triage.rulebook_care.reasoning.formulas import (
    MOST_WORK,
    YES,
    Effort,
    Every,
    Formula,
    Situation,
    Some,
    Space,
    Within,
    satisfy,
    some,
    within,
)
from triage.rulebook_care.reasoning.intervals import Pieces, pieces_of
from triage.rulebook_care.reasoning.program_facts import ALWAYS_KNOWN, ALWAYS_SO, COMPUTED, range_of

MOST_WORK_IN_ALL = 10_000_000
"""Of all questions about one rulebook: what comes after it is not asked."""


class Reasoning:
    """Asks whether conditions of one rulebook can hold together, and for an example.

    One serves for one run of the lint: the work it may do is counted.
    """

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self._work_left = MOST_WORK_IN_ALL
        self._named: dict[int, tuple[Formula, frozenset[str]]] = {}
        self.facts: Mapping[str, Fact] = {
            **rulebook.facts,
            **_built_in(rulebook),
        }
        tests = _tests(rulebook)
        self.space = Space(
            {
                fact.id: pieces_of(fact, tests.get(fact.id, ()), always_known=fact.id in ALWAYS_KNOWN)
                for fact in self.facts.values()
            },
            {fact: tuple(self.facts[fact].choices) for fact in MANY_VALUED},
        )
        self._always = [
            (facts_in(condition), self.space.formula(condition, "true"))
            for condition in ALWAYS_SO
            if facts_in(condition) <= self.facts.keys()
        ]
        self._one_member = {
            fact: some(Within((fact, member), YES) for member in members)
            for fact, members in self.space.members.items()
        }

    def true(self, condition: Condition) -> Formula:
        return self.space.formula(condition, "true")

    def false(self, condition: Condition) -> Formula:
        return self.space.formula(condition, "false")

    def not_true(self, condition: Condition) -> Formula:
        return self.space.formula(condition, "not true")

    def together(self, formulas: Iterable[Formula], so_far: Situation | None = None) -> Situation | None:
        """A possible report in which all of these hold, and what holds `so_far`; None when there is none.

        Raises TooHard when the question, or all questions together, have taken too much work.
        """
        asked = tuple(formulas)
        named = frozenset[str]().union(*map(self._facts_of, asked), (fact for fact, _ in so_far or ()))
        always = [formula for facts, formula in self._always if facts & named]
        one_member = [formula for fact, formula in self._one_member.items() if fact in named]
        effort = Effort(min(MOST_WORK, self._work_left))
        before = effort.left
        try:
            return satisfy((*asked, *always, *one_member), effort, so_far)
        finally:
            self._work_left -= before - max(effort.left, 0)

    def _facts_of(self, formula: Formula) -> frozenset[str]:
        kept = self._named.get(id(formula))
        if kept is None:  # the formula is kept too: its id stays its own
            kept = self._named[id(formula)] = formula, frozenset(_facts_in(formula))
        return kept[1]

    def example(self, situation: Situation, conditions: Iterable[Condition] = ()) -> str:
        """The situation in words; with conditions, only the facts they look at."""
        only = {fact for condition in conditions for fact in facts_in(condition)}
        return self.space.example(situation, only or None)

    def is_one_of(self, fact: str, values: Iterable[Scalar]) -> Formula:
        """The fact is not known, or has one of these values."""
        pieces = self.pieces(fact)
        return within((fact, ""), pieces.of(list(values)) | pieces.unknown)

    def is_known(self, fact: str) -> Formula:
        pieces = self.pieces(fact)
        return within((fact, ""), pieces.known)

    def pieces(self, fact: str) -> Pieces:
        return self.space.pieces[fact]


def heads(rulebook: Rulebook) -> Iterator[RuleHead]:
    """The heads of all rules, whatever their status, by kind and id."""
    for rules in (
        [rule.head for rule in rulebook.derive.values()],
        [rule.head for rule in rulebook.evidence.values()],
        [rule.head for rule in rulebook.cautions.values()],
        [rule.head for rule in rulebook.policy.values()],
    ):
        yield from sorted(rules, key=lambda head: head.id)


def conditions_of(rulebook: Rulebook) -> Iterator[tuple[str, str, Condition]]:
    """Id, file and condition of all rules that are not retired, and of all checks."""
    for head in heads(rulebook):
        if head.status != "retired":
            yield head.id, head.file, head.when
    for check in rulebook.checks.values():
        yield check.id, f"checks/{check.id}.yml", check.when


def settable(rulebook: Rulebook) -> Mapping[str, tuple[Scalar, ...]]:
    """Facts that only derive rules give, with the values the live ones set; those that none sets included."""
    values: dict[str, list[Scalar]] = {
        fact.id: []
        for fact in rulebook.facts.values()
        if fact.asked_of == "computed" and fact.id not in COMPUTED
    }
    for rule in rulebook.derive.values():
        if rule.head.status == "live":
            for setting in (rule.sets, rule.otherwise):
                for fact, value in setting.items():
                    if fact in values:
                        values[fact].append(value)
    return {fact: tuple(dict.fromkeys(found)) for fact, found in values.items()}


def table_inputs(table: LimitTable) -> tuple[str, ...]:
    """The inputs that some row tests, and those that are only listed."""
    return tuple(dict.fromkeys((*table.inputs, *(name for row in table.rows for name in row.when))))


def _built_in(rulebook: Rulebook) -> Mapping[str, Fact]:
    components = {cause.component for cause in rulebook.causes.values()}
    symptoms = {*rulebook.symptoms, *rulebook.set_aside.get("symptoms", ())}  # drafts may look at drafts
    found = built_in_facts(symptoms, rulebook.causes, components)
    return {
        fact.id: replace(fact, range=range_of(fact.id)) if fact.type == "number" else fact
        for fact in found.values()
    }


def _tests(rulebook: Rulebook) -> Mapping[str, list[UnaryTest]]:
    found: dict[str, list[UnaryTest]] = {}
    conditions = [
        *(condition for _, _, condition in conditions_of(rulebook)),
        *(head.when for head in heads(rulebook) if head.status == "retired"),
        *(condition for _, _, condition in rulebook.terms_conditions()),
        *ALWAYS_SO,
    ]
    for condition in conditions:
        for leaf in walk(condition):
            if isinstance(leaf, FactTest):
                found.setdefault(leaf.fact, []).append(leaf.test)
    return found


def _facts_in(formula: Formula) -> Iterator[str]:
    match formula:
        case Within((fact, _)):
            yield fact
        case Every(parts) | Some(parts):
            for part in parts:
                yield from _facts_in(part)
