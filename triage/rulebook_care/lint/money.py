"""Limit tables and money: rows that overlap, gaps, terms and agreements in turn, ceilings, after hours."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from triage.logic.conditions import AllOf, Anything, Compare, FactTest, Interval, UnaryTest
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import LimitRow, LimitTable
from triage.rulebook.validity import Validity, gaps, overlaps
from triage.rulebook_care.lint.findings import Finding, finding, too_hard
from triage.rulebook_care.reasoning.formulas import Formula, TooHard
from triage.rulebook_care.reasoning.space import Reasoning, table_inputs
from triage.values.plain_data import Path

EMPTY_WHEN_UNKNOWN = frozenset({"contractor", "model"})
"""Inputs that are the empty text where they are not known (`limits.limit_facts`)."""


def limit_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes limit-overlap, limit-gap, limit-gap-unknown, row-never-reached, never-fires, too-hard."""
    rulebook = reason.rulebook
    for _, table in sorted(rulebook.limits.items()):
        file = f"limits/{table.id}.yml"
        try:
            yield from _rows(reason, table, file)
            yield from _gaps(reason, table, file)
        except TooHard:
            yield too_hard(table.id, file, "the rows leave a gap or overlap")


def _rows(reason: Reasoning, table: LimitTable, file: str) -> Iterator[Finding]:
    conditions = [row.condition for row in table.rows]
    here = _known(reason, table, only=EMPTY_WHEN_UNKNOWN)
    for index, condition in enumerate(conditions):
        path = ("rows", index)
        true = [*here, reason.true(condition)]
        if reason.together(true) is None:
            message = f"row {index + 1} of {table.id} can never hold"
            yield finding("never-fires", table.id, file, message, "Fix its tests, or take it out", path)
            continue
        if table.hit_policy == "FIRST":
            earlier = [reason.not_true(other) for other in conditions[:index]]
            if earlier and reason.together([*true, *earlier]) is None:
                message = f"the rows before row {index + 1} of {table.id} leave no case to it"
                yield finding(
                    "row-never-reached", table.id, file, message, "Move it up, or take it out", path
                )
        if table.hit_policy != "UNIQUE":
            continue
        for before, other in enumerate(conditions[:index]):
            both = reason.together([*true, reason.true(other)])
            if both is not None:
                where = reason.example(both, [condition, other])
                message = f"rows {before + 1} and {index + 1} of {table.id} both hold with {where}"
                fix = "Narrow one, or choose the hit policy FIRST and put the row that counts above"
                yield finding("limit-overlap", table.id, file, message, fix, path)


def _gaps(reason: Reasoning, table: LimitTable, file: str) -> Iterator[Finding]:
    conditions = [row.condition for row in table.rows]
    none_holds = [reason.not_true(condition) for condition in conditions]
    gap = reason.together([*_known(reason, table), *none_holds])
    if gap is not None:
        where = reason.space.example(gap, table_inputs(table))
        message = f"no row of {table.id} holds with {where}"
        fix = "Add a row for it; without an answer nothing may be spent"
        yield finding("limit-gap", table.id, file, message, fix, ("rows",))
        return
    gap = reason.together([*_known(reason, table, only=EMPTY_WHEN_UNKNOWN), *none_holds])
    if gap is not None:
        where = reason.space.example(gap, table_inputs(table))
        message = f"no row of {table.id} holds with {where}"
        fix = "Add a row that does not test it; without an answer nothing may be spent"
        yield finding("limit-gap-unknown", table.id, file, message, fix, ("rows",))


def _known(reason: Reasoning, table: LimitTable, only: frozenset[str] | None = None) -> list[Formula]:
    return [reason.is_known(name) for name in table_inputs(table) if only is None or name in only]


AMOUNT = "amount"


def money_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes dated-overlap, dated-gap, ceiling-below-row, after-hours-below-day."""
    rulebook = reason.rulebook
    yield from _agreements(rulebook)
    yield from _terms(rulebook)
    for table in rulebook.limits.values():
        if table.kind == "authority" and AMOUNT in table.inputs:
            yield from _ceilings(rulebook, table)
        else:
            yield from _after_hours(reason, table)


def _agreements(rulebook: Rulebook) -> Iterator[Finding]:
    rates = rulebook.rates
    for contractor in rates.parties:
        spans: list[tuple[Path, Validity]] = []
        if contractor is None:
            spans.append((("default",), rates.default.valid))
        elif contractor in rates.contractors:
            spans.append((("contractors", contractor), rates.contractors[contractor].valid))
        spans += [
            (("dated", index), one.valid)
            for index, (name, one) in enumerate(rates.dated)
            if name == contractor
        ]
        who = "the default agreement" if contractor is None else f"the agreement with {contractor}"
        without = "the first default rates" if contractor is None else "the default rates"
        places = [("rates.yml", path, valid) for path, valid in spans]
        yield from _in_turn("rates", who, places, f"{without} apply")


def _terms(rulebook: Rulebook) -> Iterator[Finding]:
    every = sorted(rulebook.warranty.values(), key=lambda terms: terms.id)
    for model in (None, *sorted({model for terms in every for model in terms.models})):
        these = [terms for terms in every if (model in terms.models if model else not terms.models)]
        for kind in sorted({terms.valid_by for terms in these}):
            spans: list[tuple[str, Path, Validity]] = [
                (f"warranty/{terms.id}.yml", (), terms.valid) for terms in these if terms.valid_by == kind
            ]
            if any(valid.dated for _, _, valid in spans) and len(spans) > 1:
                names = ", ".join(terms.id for terms in these)
                who = f"the warranty terms {names} for {model or 'every model'}"
                yield from _in_turn(names, who, spans, "other terms apply, or none")


def _in_turn(
    rule: str, who: str, spans: Sequence[tuple[str, Path, Validity]], without: str
) -> Iterator[Finding]:
    valid = [one for _, _, one in spans]
    for before, index, days in overlaps(valid):
        if not (valid[before].dated or valid[index].dated) and rule != "rates":
            continue
        file, path, _ = spans[index]
        message = f"{who} stands twice for {_said(days)}"
        yield finding(
            "dated-overlap", rule, file, message, "Let one end the day before the other begins", path
        )
    file, path, _ = spans[-1]
    for days in gaps(valid):
        message = f"{who} leaves {_said(days)} out: there {without}"
        yield finding("dated-gap", rule, file, message, "Move `valid_from` or `valid_to`, or add one", path)


def _said(days: Validity) -> str:
    return f"the days {days}" if days.dated else "every day"


def _ceilings(rulebook: Rulebook, table: LimitTable) -> Iterator[Finding]:
    for index, row in enumerate(table.rows):
        authority = rulebook.authorities.get(str(row.then.get("authority")))
        if authority is None or authority.up_to is None:
            continue
        most = _most(row.when.get(AMOUNT, Anything()))
        if most is None or most > authority.up_to:
            reach = "any amount" if most is None else f"{most}"
            message = (
                f"row {index + 1} sends up to {reach} to {authority.id}, who may approve {authority.up_to}"
            )
            fix = "Raise the ceiling, or let the row end there"
            path: Path = ("rows", index, "then", "authority")
            yield finding("ceiling-below-row", table.id, f"limits/{table.id}.yml", message, fix, path)


def _most(test: UnaryTest) -> Decimal | None:
    match test:
        case Compare("=" | "<" | "<=", Decimal() as most) | Interval(_, Decimal() as most):
            return most
        case _:
            return None


def _after_hours(reason: Reasoning, table: LimitTable) -> Iterator[Finding]:
    late = [(i, row) for i, row in enumerate(table.rows) if _flag(row) is True]
    by_day = [row for row in table.rows if _flag(row) is False]
    for index, row in late:
        for other in by_day:
            less, more = row.then.get(AMOUNT), other.then.get(AMOUNT)
            if not (isinstance(less, Decimal) and isinstance(more, Decimal) and less < more):
                continue
            if not _meet(reason, row.when, other.when):
                continue
            message = f"row {index + 1} lets {less} be spent after hours, where {more} may be by day"
            fix = "After-hours work costs more; raise it, or silence this with the reason"
            path: Path = ("rows", index, "then", AMOUNT)
            yield finding("after-hours-below-day", table.id, f"limits/{table.id}.yml", message, fix, path)
            break


def _flag(row: LimitRow) -> object:
    test = row.when.get("after_hours")
    return test.value if isinstance(test, Compare) and test.operator == "=" else None


def _meet(reason: Reasoning, one: Mapping[str, UnaryTest], other: Mapping[str, UnaryTest]) -> bool:
    """Whether both rows can hold but for the hour."""
    parts = [
        AllOf(tuple(FactTest(n, t) for n, t in when.items() if n != "after_hours")) for when in (one, other)
    ]
    try:
        return reason.together([reason.true(part) for part in parts]) is not None
    except TooHard:
        return False
