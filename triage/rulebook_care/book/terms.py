"""The rulebook's tables as a document: limits, warranty, facts, whole reports."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial

from triage.rulebook.model import Rulebook
from triage.rulebook.terms import LimitRow, LimitTable, WarrantyTerms
from triage.rulebook_care.book.parts import Names, by_title, fields, heading, table, text
from triage.rulebook_care.book.wording import plain_value, test_words


def limits(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for each in by_title(rulebook.limits):
        yield heading(3, "limit", each.id, each.title)
        yield ""
        yield from of_limit(each, names)
    yield from authorities(rulebook)


def of_limit(each: LimitTable, names: Names) -> Iterator[str]:
    """What the book says of one table, without its heading; so for each kind below."""
    policy = each.hit_policy + (f" {each.collect}" if each.collect else "")
    yield f"Hit policy {policy}."
    yield ""
    rows = [
        (
            *(_test(names, name, row) for name in each.inputs),
            *(text(plain_value(row.then[name])) if name in row.then else "–" for name in each.outputs),
        )
        for row in each.rows
    ]
    headings = [*(names.fact(name) for name in each.inputs), *(f"**{name}**" for name in each.outputs)]
    yield from table(headings, rows)
    yield from fields([("Source", text(each.source))])


def authorities(rulebook: Rulebook) -> Iterator[str]:
    yield from table(
        ("Authority", "Up to", "How to reach"),
        [
            (text(one.title), "no ceiling" if one.up_to is None else f"{one.up_to:.2f}", text(one.reach))
            for one in rulebook.authorities.values()
        ],
    )


def _test(names: Names, name: str, row: LimitRow) -> str:
    test = row.when.get(name)
    return "–" if test is None else test_words(test, partial(names.value, name))


def warranty(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for each in by_title(rulebook.warranty):
        yield heading(3, "warranty", each.id, each.title)
        yield ""
        yield from of_warranty(each, names)


def of_warranty(terms: WarrantyTerms, names: Names) -> Iterator[str]:
    yield from table(
        ("Component", "Parts, months", "Labor, months"),
        [
            (text(name.replace("_", " ")), str(period.parts_months), str(period.labor_months))
            for name, period in terms.periods.items()
        ],
    )
    cap = "" if terms.cap_months_from_ship is None else f"{terms.cap_months_from_ship} months from shipping"
    yield from fields(
        [
            ("Models", ", ".join(text(model) for model in sorted(terms.models)) or "every model"),
            ("Starts when", terms.starts),
            ("Ends at the latest", cap),
            *(("At risk", f"when {names.condition(risk.when)}: {text(risk.say)}") for risk in terms.risks),
            ("A claim needs", "; ".join(text(each) for each in terms.claim_needs)),
            ("Source", text(terms.source)),
        ]
    )


def facts(rulebook: Rulebook, names: Names) -> Iterator[str]:
    rows = []
    for fact in sorted(rulebook.facts.values(), key=lambda fact: fact.id):
        kind = ", ".join(text(title) for title in fact.choices.values()) or fact.type
        anchor = f'<a id="fact-{fact.id}"></a>`{fact.id}`'
        unit = text(fact.unit) if fact.unit else ""
        rows.append((anchor, text(fact.title), f"{kind} {unit}".strip(), fact.asked_of, text(fact.ask or "")))
    yield from table(("Fact", "What it says", "Values", "From", "Question"), rows)


def cases(rulebook: Rulebook, names: Names) -> Iterator[str]:
    def expected(case: Mapping[str, object]) -> str:
        return "; ".join(f"{key.replace('_', ' ')}: {_plain(value)}" for key, value in case.items())

    yield from table(
        ("Case", "Symptoms", "Expected"),
        [
            (text(case.title), _reported(case.report, names), text(expected(case.expect)))
            for _, case in sorted(rulebook.cases.items())
        ],
    )


def _plain(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(str(each) for each in value) or "none"
    return str(value)


def _reported(report: Mapping[str, object], names: Names) -> str:
    symptoms = report.get("symptoms")
    listed = symptoms if isinstance(symptoms, list) else []
    return ", ".join(names.symptom(str(each)) for each in listed if str(each) in names.rulebook.symptoms)
