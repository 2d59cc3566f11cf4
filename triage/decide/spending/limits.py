"""What may be spent: limits by decision tables, what was spent already, and who may say yes to more.

Tables of kind `nte` give `amount`, what one ticket may cost the program, and may give `amount_12_months`,
what the machine may cost in 12 calendar months. Where several speak, the smallest amount holds. Headroom is
what both leave after what was spent, and of the 12 months after what is promised to the machine's other
tickets too; never below zero.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from triage.decide.spending.spread import CostDistribution
from triage.logic.conditions import Facts, FactValue, Scalar
from triage.records.decision import LimitAnswer
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.decision_tables import TableError, evaluate_table
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Authority, LimitRow, LimitTable
from triage.values.money import as_money

AMOUNT, AMOUNT_12_MONTHS, AUTHORITY = "amount", "amount_12_months", "authority"


@dataclass(frozen=True, slots=True)
class Standing:
    """What may be spent before anybody is asked. Amounts in the rulebook's currency, unrounded."""

    nte: Decimal
    spent_on_ticket: Decimal
    spent_12_months: Decimal
    headroom: Decimal
    table: str | None
    row_line: int | None
    notes: tuple[str, ...]
    promised: Decimal = Decimal(0)  # to other tickets of the machine


def limit_facts(facts: Mapping[str, FactValue]) -> dict[str, FactValue]:
    """Facts as limit tables see them: a machine without contractor or model has the empty text there.

    So a row for "any other contractor", `not("a","b")`, holds for a machine that has none.
    """
    return {"contractor": "", "model": "", **facts}


def standing_limit(
    rulebook: Rulebook,
    facts: Facts,
    spent_on_ticket: Decimal,
    spent_12_months: Decimal,
    promised: Decimal = Decimal(0),
) -> Standing:
    """What may be spent on a ticket by the `nte` tables. `facts` include `after_hours`.

    A table without exactly the answer it owes lets nothing be spent, and a note says why.
    """
    seen = limit_facts(facts)
    ticket: tuple[Decimal, LimitTable | None, LimitRow | None] | None = None
    year: Decimal | None = None
    notes: list[str] = []
    for table in limit_tables(rulebook).nte:
        try:
            answer = evaluate_table(table, seen)
        except TableError as error:
            notes.append(f"Nothing may be spent without approval: {error}")
            ticket = (Decimal(0), table, None)
            continue
        amount = _amount(answer.outputs.get(AMOUNT))
        if amount is not None and (ticket is None or amount < ticket[0]):
            ticket = (amount, table, answer.row)
        in_year = _amount(answer.outputs.get(AMOUNT_12_MONTHS))
        if in_year is not None:
            year = in_year if year is None else min(year, in_year)
    if ticket is None:
        notes.append("The rulebook has no limit table of kind nte: nothing may be spent without approval.")
        ticket = (Decimal(0), None, None)
    nte, table_of, row = ticket
    headroom = nte - spent_on_ticket
    if year is not None and year - spent_12_months - promised < headroom:
        headroom = year - spent_12_months - promised
        other = f" {promised:.2f} of it is promised to the machine's other tickets." if promised else ""
        notes.append(
            f"The limit of {year:.2f} {rulebook.currency} for 12 months leaves less than that for the ticket."
            f"{other}"
        )
    return Standing(
        nte=nte,
        spent_on_ticket=spent_on_ticket,
        spent_12_months=spent_12_months,
        headroom=max(Decimal(0), headroom),
        table=table_of.id if table_of is not None else None,
        row_line=row.line or None if row is not None else None,
        notes=tuple(notes),
        promised=promised,
    )


def authority_for(rulebook: Rulebook, facts: Facts, amount: Decimal) -> Authority | None:
    """Who may say yes when the ticket comes to `amount`; None where the rulebook names nobody.

    The authority tables are asked with the fact `amount`. Where the ceiling of the one they name is too low,
    the next higher ceiling is taken: nobody is named who may not say yes.
    """
    seen = {**limit_facts(facts), "amount": amount}
    named = None
    for table in limit_tables(rulebook).authority:
        try:
            named = rulebook.authorities.get(str(evaluate_table(table, seen).outputs[AUTHORITY]))
        except TableError:
            continue
        if named is not None:
            break
    if named is not None and (named.up_to is None or named.up_to >= amount):
        return named
    able = [one for one in rulebook.authorities.values() if one.up_to is None or one.up_to >= amount]
    return min(able, key=lambda one: (one.up_to is None, one.up_to or Decimal(0), one.id), default=None)


def limit_for(
    rulebook: Rulebook,
    facts: Facts,
    standing: Standing,
    costs: CostDistribution,
    likely: Decimal,
    ask: bool = False,
) -> LimitAnswer:
    """The answer people see. `costs` is what the repair may come to for the program, `likely` what it
    probably will; an authority is named when that is above the headroom, or when `ask` says one is needed.
    """
    currency = rulebook.currency
    authority = None
    if ask or likely > standing.headroom:
        authority = authority_for(rulebook, facts, standing.spent_on_ticket + likely)
    return LimitAnswer(
        nte=as_money(standing.nte, currency),
        spent=as_money(standing.spent_on_ticket, currency),
        spent_12_months=as_money(standing.spent_12_months, currency),
        headroom=as_money(standing.headroom, currency),
        expected_repair=as_money(costs.expected, currency),
        chance_over=costs.chance_above(standing.headroom),
        authority=authority.id if authority is not None else None,
        authority_title=authority.title if authority is not None else None,
        reach=authority.reach if authority is not None else None,
        table=standing.table,
        row_line=standing.row_line,
        promised=as_money(standing.promised, currency),
        notes=standing.notes,
    )


def standing_of(limit: LimitAnswer) -> Standing:
    """What may be spent, as a decision said it."""
    return Standing(
        nte=limit.nte.amount,
        spent_on_ticket=limit.spent.amount,
        spent_12_months=limit.spent_12_months.amount,
        headroom=limit.headroom.amount,
        table=limit.table,
        row_line=limit.row_line,
        notes=limit.notes,
        promised=limit.promised.amount,
    )


@dataclass(frozen=True, slots=True)
class LimitTables:
    """A rulebook's tables by kind, in order of id."""

    nte: tuple[LimitTable, ...]
    authority: tuple[LimitTable, ...]


@once_per_rulebook
def limit_tables(rulebook: Rulebook) -> LimitTables:
    tables = sorted(rulebook.limits.values(), key=lambda table: table.id)
    return LimitTables(
        tuple(table for table in tables if table.kind == "nte"),
        tuple(table for table in tables if table.kind == "authority"),
    )


def _amount(value: Scalar | None) -> Decimal | None:
    return value if isinstance(value, Decimal) else None
