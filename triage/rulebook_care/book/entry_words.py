"""The words of the book's entries: one plain line that sums an entry up, and its text in Markdown.

The text is the document's own (`table_rules`, `table_terms`), with facts called by their titles.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from triage.logic.conditions import Condition, Scalar
from triage.rulebook.model import (
    OTHER_CAUSE,
    Cause,
    Caution,
    Check,
    DeriveRule,
    EvidenceRule,
    Fact,
    PolicyRule,
    Rulebook,
    RuleHead,
    Symptom,
    WholeCase,
)
from triage.rulebook.terms import LimitTable, WarrantyTerms
from triage.rulebook_care.book.parts import Names, fields, link, per_hundred, table, text
from triage.rulebook_care.book.wording import condition_words, plain_value
from triage.values.shown import shown as in_words


class BookNames(Names):
    """Links whose words are titles, for facts too."""

    __slots__ = ()

    def fact(self, name: str) -> str:
        fact = self.rulebook.facts.get(name)
        return f"`{name}`" if fact is None else link("fact", name, fact.title)


def plain_condition(rulebook: Rulebook, condition: Condition) -> str:
    """A condition with titles in place of ids, without links."""

    def name(fact: str) -> str:
        return f"“{rulebook.facts[fact].title}”" if fact in rulebook.facts else fact

    return condition_words(condition, name, lambda fact, scalar: _plain(rulebook, fact, scalar))


def _plain(rulebook: Rulebook, fact: str, scalar: Scalar) -> str:
    if fact == "symptom" and scalar in rulebook.symptoms:
        return f"“{rulebook.symptoms[str(scalar)].title}”"
    if fact == "top_cause" and scalar in rulebook.causes:
        return f"“{rulebook.causes[str(scalar)].title}”"
    known = rulebook.facts.get(fact)
    if known is not None and isinstance(scalar, str) and scalar in known.choices:
        return f"“{known.choices[scalar]}”"
    if known is not None and known.unit:
        return f"{plain_value(scalar)} {known.unit}"
    return plain_value(scalar)


def _cause(rulebook: Rulebook, name: str) -> str:
    return rulebook.causes[name].title.lower() if name in rulebook.causes else name


def symptom_line(rulebook: Rulebook, symptom: Symptom) -> str:
    total = sum(symptom.shares.values())
    named = [(count, cause) for cause, count in symptom.shares.items() if cause != OTHER_CAUSE]
    top = sorted(named, key=lambda each: (-each[0], each[1]))[:3]
    return "Of 100 calls: " + ", ".join(
        f"{_cause(rulebook, cause)} {float(100 * count / total):.2g}" for count, cause in top
    )


def cause_line(_rulebook: Rulebook, cause: Cause) -> str:
    repair = cause.repair
    component = cause.component.replace("_", " ").capitalize()
    return f"{component}; a repair of {repair.labor_hours:f} h, {repair.skill}"


def derive_line(rulebook: Rulebook, rule: DeriveRule) -> str:
    sets = ", ".join(
        f"“{rulebook.facts[fact].title if fact in rulebook.facts else fact}” is "
        f"{_plain(rulebook, fact, value)}"
        for fact, value in rule.sets.items()
    )
    return f"When {plain_condition(rulebook, rule.head.when)}: {sets}"


def evidence_line(rulebook: Rulebook, rule: EvidenceRule) -> str:
    top = sorted(rule.seen_with.items(), key=lambda item: (-abs(item[1] - rule.others), item[0]))[:2]
    seen = ", ".join(f"{_cause(rulebook, cause)} {per_hundred(chance)}" for cause, chance in top)
    more = f" and {len(rule.seen_with) - 2} more" if len(rule.seen_with) > 2 else ""
    when = plain_condition(rulebook, rule.head.when)
    return f"When {when}: of 100 with {seen}{more}; any other cause {per_hundred(rule.others)}"


def caution_line(_rulebook: Rulebook, caution: Caution) -> str:
    return f"Stop using the machine. {caution.text}" if caution.stop_use else caution.text


def check_line(rulebook: Rulebook, check: Check) -> str:
    cures = sorted(check.resolves.items(), key=lambda item: (-item[1], item[0]))[:3]
    words = ", ".join(f"{_cause(rulebook, cause)} {per_hundred(chance)} of 100" for cause, chance in cures)
    return f"{check.who.capitalize()}, {check.minutes} min; cures {words}"


def policy_line(rulebook: Rulebook, rule: PolicyRule) -> str:
    outcome = rule.outcome.replace("_", " ").capitalize()
    return f"{outcome}, with priority {rule.priority}, when {plain_condition(rulebook, rule.head.when)}"


def fact_line(_rulebook: Rulebook, fact: Fact) -> str:
    unit = f" in {fact.unit}" if fact.unit else ""
    source = "computed" if fact.asked_of == "computed" else f"from the {fact.asked_of}"
    return f"{fact.type.capitalize()}{unit}, {source}" + (f": “{fact.ask}”" if fact.ask else "")


def warranty_line(_rulebook: Rulebook, terms: WarrantyTerms) -> str:
    models = ", ".join(sorted(terms.models)) or "Every model"
    default = terms.periods.get("default")
    months = "" if default is None else f": parts {default.parts_months}, labor {default.labor_months} months"
    return f"{models}{months}, from the day it was {terms.starts}"


def limit_line(_rulebook: Rulebook, limits: LimitTable) -> str:
    return f"{len(limits.rows)} rows, hit policy {limits.hit_policy}"


def case_line(rulebook: Rulebook, case: WholeCase) -> str:
    expected = case.expect.get("outcome")
    cause = case.expect.get("top_cause")
    said = [str(expected).replace("_", " ")] if expected else []
    said += [_cause(rulebook, str(cause))] if cause else []
    return f"Expected: {', '.join(said)}" if said else "Expected: see the case"


def of_head(head: RuleHead, names: Names) -> Iterator[str]:
    """A rule's own cases."""
    yield "**Its own cases**"
    yield ""
    rows = [
        (
            "; ".join(
                f"{names.fact(fact)} = {_many(names, fact, value)}" for fact, value in case.facts.items()
            ),
            ("fires" if case.fires else "stays silent") + (f" ({text(case.note)})" if case.note else ""),
        )
        for case in head.cases
    ]
    yield from table(("With", "the rule"), rows)


def _many(names: Names, fact: str, value: Scalar | frozenset[str]) -> str:
    if isinstance(value, frozenset):
        return ", ".join(names.value(fact, each) for each in sorted(value))
    return names.value(fact, value)


def of_fact(fact: Fact, names: Names) -> Iterator[str]:
    if fact.ask:
        yield f"> {text(fact.ask)}"
        yield ""
    sources = {"clerk": "the clerk", "technician": "the technician", "record": "the machine's record"}
    seconds = f"{fact.ask_seconds} s" if fact.ask else ""
    setters = [
        link("derive", rule.head.id, rule.head.title)
        for rule in names.rulebook.derive.values()
        if fact.id in rule.sets or fact.id in rule.otherwise
    ]
    yield from fields(
        [
            ("Values", ", ".join(text(title) for title in fact.choices.values()) or fact.type),
            ("Unit", text(fact.unit or "")),
            ("From", sources.get(fact.asked_of, "computed")),
            ("Set by", ", ".join(setters)),
            ("How to find out", text(fact.help or "")),
            ("Time to ask", seconds),
        ]
    )


def of_case(case: WholeCase, names: Names) -> Iterator[str]:
    symptoms = case.report.get("symptoms")
    listed = [str(each) for each in symptoms] if isinstance(symptoms, list) else []
    known = names.rulebook.symptoms
    yield from fields(
        [("Symptoms", ", ".join(names.symptom(each) if each in known else text(each) for each in listed))]
    )
    for title, data, key in (("Answers", case.report, "answers"), ("Machine", case.machine or {}, "facts")):
        given = data.get(key)
        if isinstance(given, Mapping):
            rows = [(names.fact(str(fact)), _given(names, str(fact), value)) for fact, value in given.items()]
            yield from table((title, "Value"), rows)
    rows = [(text(key.replace("_", " ")), _expected(names, key, value)) for key, value in case.expect.items()]
    yield from table(("Expected", "Value"), rows)


def _given(names: Names, fact: str, value: object) -> str:
    """A fact's value in a case; a date is a text there."""
    if fact in names.rulebook.facts and isinstance(value, str | bool | Decimal):
        return names.value(fact, value)
    return text(in_words(value, "none"))


def _expected(names: Names, key: str, value: object) -> str:
    rulebook, shown = names.rulebook, in_words(value, "none")
    if key == "top_cause" and shown in rulebook.causes:
        return names.cause(shown)
    if key == "first_check" and shown in rulebook.checks:
        return names.check(shown)
    if key == "cautions" and isinstance(value, list):
        parts = [names.caution(str(each)) if each in rulebook.cautions else text(str(each)) for each in value]
        return ", ".join(parts) or "none"
    return text(shown.replace("_", " "))
