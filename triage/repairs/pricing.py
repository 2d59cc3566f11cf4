"""An estimate priced: every line against the rate agreement, and what the warranty pays apart from the rest.

A line without an amount gets the agreed price. A line above it, or one that the agreement does not pay at
all, is named with the reason; it stays in the total, for policy and the authority to see. What is above the
agreement is reckoned against the bill that it would pay, tax included. Where no tax line is given
the agreed tax is added. Labor warranty pays trip, distance, labor and second technician; parts warranty
pays parts and freight; tax follows the lines it is on. Of what warranty pays, the program bears each terms'
deductible. Billed time runs on from the start of the work; the hours of it outside the service hours are paid
at after-hours rates, the others at the rates of the day.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from triage.decide.spending.costs import (
    PAID_BY_LABOR_COVER,
    PAID_BY_PARTS_COVER,
    TAXED_AS,
    EstimateLine,
    LineKind,
    agreement_with,
    billed_hours,
    distance_fee,
    tax_on_lines,
    time_in_words,
)
from triage.decide.spending.warranty import covered_by_component, terms_by_component
from triage.records.bill import PROGRAM, Billed, BilledLine, NotAgreed
from triage.records.report import Machine, timezone_of
from triage.repairs.estimate_input import AskedLine
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import RateAgreement, WarrantyTerms
from triage.schedule.service_hours import hours_outside
from triage.values.money import Money, as_money, round_money

NOT_AGREED = "after-hours rates are not agreed for this ticket, which can wait for service hours"


@dataclass(frozen=True, slots=True)
class BillLine:
    """One priced line. `terms` is the warranty that pays it, None for the program; `outside` says what is not
    agreed, `above` how much that is. Amounts are rounded, in the rulebook's currency.
    """

    kind: LineKind
    detail: str
    amount: Decimal
    agreed: Decimal
    component: str
    terms: str | None
    outside: str | None
    asked: AskedLine
    above: Decimal


@dataclass(frozen=True, slots=True)
class Bill:
    """All lines of an estimate or a close-out, split by who pays."""

    lines: tuple[BillLine, ...]
    deductible: Decimal
    currency: str

    @property
    def total(self) -> Money:
        return self._sum(line.amount for line in self.lines)

    @property
    def claimed(self) -> Money:
        """What is claimed from warranty, the deductible taken off."""
        covered = (line.amount for line in self.lines if line.terms is not None)
        return self._sum((*covered, -self.deductible))

    @property
    def beyond_warranty(self) -> Money:
        """What the program pays: lines out of warranty, and the deductible."""
        return self.total - self.claimed

    @property
    def outside_agreement(self) -> Money:
        """What the rate agreement does not pay."""
        return self._sum(line.above for line in self.lines)

    @property
    def labor_hours(self) -> Decimal:
        return sum((line.asked.hours for line in self.lines if line.kind == "labor"), Decimal(0))

    def _sum(self, amounts: Iterable[Decimal]) -> Money:
        return as_money(sum(amounts, Decimal(0)), self.currency)


@dataclass(frozen=True, slots=True)
class Visit:
    """What a visit's price hangs on besides its lines. `on` is the day warranty is asked for, `visited_on`
    that of the rates.

    With `starts_at` its hours are split at the service hours; without, all are as `after_hours` says.
    """

    contractor: str | None
    machine: Machine | None
    component: str  # of the cause
    after_hours: bool
    after_hours_agreed: bool
    on: date
    visited_on: date
    starts_at: datetime | None = None


def priced(rulebook: Rulebook, visit: Visit, asked: Sequence[AskedLine]) -> Bill:
    """The bill of the lines asked for."""
    agreement = agreement_with(rulebook, visit.contractor, visit.visited_on)
    components = frozenset({visit.component, *(line.component for line in asked if line.component)})
    terms = terms_by_component(rulebook, visit.machine, components, visit.on)
    covered = covered_by_component(visit.machine, terms, components, visit.on)
    lines: list[BillLine] = []
    for line in asked:
        if line.kind == "tax":
            continue
        component = line.component or visit.component
        agreed = _agreed(rulebook, agreement, visit, line, [*lines], asked)
        payer = terms[component].id if _covered(line.kind, *covered[component]) else None
        lines.append(_bill_line(rulebook, line, agreed, component, payer))
    lines += _tax_lines(rulebook, agreement, visit, lines, asked)
    deductible = _deductible(lines, terms.values())
    return Bill(tuple(lines), deductible, rulebook.currency)


def _covered(kind: LineKind, parts: bool, labor: bool) -> bool:
    return (parts and kind in PAID_BY_PARTS_COVER) or (labor and kind in PAID_BY_LABOR_COVER)


@dataclass(frozen=True, slots=True)
class _Agreed:
    """What a line is, its agreed price, what of it the agreement pays on this bill, and why not all."""

    detail: str
    price: Decimal
    paid: Decimal
    why: str | None = None


def _bill_line(
    rulebook: Rulebook, line: AskedLine, agreed: _Agreed, component: str, payer: str | None
) -> BillLine:
    due = round_money(agreed.price, rulebook.currency)
    amount = due if line.amount is None else line.amount.amount
    outside = agreed.why
    if outside is None and amount > due:
        outside = f"{amount:.2f} is {amount - due:.2f} more than the agreement pays ({due:.2f})"
    above = max(amount - round_money(agreed.paid, rulebook.currency), Decimal(0))
    return BillLine(line.kind, agreed.detail, amount, due, component, payer, outside, line, above)


def _agreed(
    rulebook: Rulebook,
    agreement: RateAgreement,
    visit: Visit,
    line: AskedLine,
    before: Sequence[BillLine],
    asked: Sequence[AskedLine],
) -> _Agreed:
    match line.kind:
        case "trip":
            again = "the agreement pays one trip a visit" if any(b.kind == "trip" for b in before) else None
            return _Agreed("trip", agreement.trip, Decimal(0) if again else agreement.trip, again)
        case "distance":
            site = None if visit.machine is None else visit.machine.site
            fee = distance_fee(agreement, None if site is None else site.distance_km) or Decimal(0)
            return _Agreed("distance band", fee, fee)
        case "labor":
            time, weighted, paid, not_late = _time(rulebook, agreement, visit, line.hours)
            rate = agreement.labor_hour
            return _Agreed(time, weighted * rate, paid * rate, not_late)
        case "second_technician":
            time, weighted, paid, not_late = _time(rulebook, agreement, visit, line.hours)
            rate = line.technicians * agreement.second_technician_hour
            return _Agreed(f"{line.technicians} × {time}", weighted * rate, paid * rate, not_late)
        case "part":
            price = rulebook.parts[line.number].price * (1 + agreement.parts_markup) * line.quantity
            return _Agreed(f"{line.number} × {line.quantity}", price, price)
        case "freight":
            detail = "freight of the parts"
            if any(other.kind == "part" for other in asked):
                return _Agreed(detail, agreement.freight, agreement.freight)
            return _Agreed(detail, agreement.freight, Decimal(0), "freight without a part")
        case "tax":
            raise ValueError("tax is priced from the other lines")


def _time(
    rulebook: Rulebook, agreement: RateAgreement, visit: Visit, worked: Decimal
) -> tuple[str, Decimal, Decimal, str | None]:
    """Billed time in words, its hours with those after hours at their factor, the same as the agreement pays
    them, and why it does not.
    """
    hours = billed_hours(worked, agreement)
    late = hours if visit.after_hours else Decimal(0)
    if visit.starts_at is not None:
        zone = timezone_of(visit.machine)
        late = hours_outside(visit.starts_at, hours, rulebook.service_hours, zone)
    agreed = visit.after_hours_agreed or not late
    weighted = hours + late * (agreement.after_hours_factor - 1)
    return time_in_words(hours, late), weighted, weighted if agreed else hours, None if agreed else NOT_AGREED


def _tax_lines(
    rulebook: Rulebook,
    agreement: RateAgreement,
    visit: Visit,
    lines: Sequence[BillLine],
    asked: Sequence[AskedLine],
) -> list[BillLine]:
    """The tax, a line for each payer; the program's share is reckoned as if its lines stood alone."""
    given = next((line for line in asked if line.kind == "tax"), None)
    rate = f"{_plain(agreement.tax * 100)} %"

    def tax_of(some: Iterable[BillLine]) -> Decimal:
        plain = [EstimateLine(line.kind, line.detail, line.amount) for line in some]
        return tax_on_lines(plain, agreement.tax, agreement.tax_on, rulebook.currency)

    agreed = tax_of(lines)
    paid = tax_of(replace(line, amount=line.amount - line.above) for line in lines)
    asked_tax = given or AskedLine("tax")
    whole = _bill_line(rulebook, asked_tax, _Agreed(rate, agreed, paid), visit.component, None)
    if given is None and not agreed:
        return []
    taxed = [line for line in lines if TAXED_AS[line.kind] in agreement.tax_on and line.terms is not None]
    payers = list(dict.fromkeys(line.terms for line in taxed))
    base = sum((line.amount for line in lines if TAXED_AS[line.kind] in agreement.tax_on), Decimal(0))
    shares: dict[str | None, Decimal] = {}
    for payer in payers:
        part = sum((line.amount for line in taxed if line.terms == payer), Decimal(0))
        shares[payer] = round_money(whole.amount * part / base, rulebook.currency) if base else Decimal(0)
    if payers and all(line in taxed for line in lines if TAXED_AS[line.kind] in agreement.tax_on):
        shares[payers[-1]] += whole.amount - sum(shares.values(), Decimal(0))
    elif payers and whole.amount == agreed:
        own = tax_of(line for line in lines if line.terms is None)
        shares[payers[-1]] += whole.amount - own - sum(shares.values(), Decimal(0))
    shares[None] = whole.amount - sum(shares.values(), Decimal(0))
    found = [replace(whole, amount=share, terms=payer) for payer, share in shares.items() if share]
    rest = (replace(line, outside=None, above=Decimal(0)) for line in found[1:])
    return [found[0], *rest] if found else [whole]


def _deductible(lines: Iterable[BillLine], terms: Iterable[WarrantyTerms]) -> Decimal:
    claims: dict[str, Decimal] = {}
    for line in lines:
        if line.terms is not None:
            claims[line.terms] = claims.get(line.terms, Decimal(0)) + line.amount
    own = {each.id: each.deductible for each in terms}
    return sum((min(own[id_], claim) for id_, claim in claims.items()), Decimal(0))


def billed(bill: Bill) -> Billed:
    """The bill as it is written down."""
    outside = (
        NotAgreed(f"/lines/{index}", line.kind, line.detail, line.outside)
        for index, line in enumerate(bill.lines)
        if line.outside is not None
    )
    return Billed(
        lines=tuple(_billed_line(line, bill.currency) for line in bill.lines),
        total=bill.total,
        claimed=bill.claimed,
        deductible=as_money(bill.deductible, bill.currency),
        beyond_warranty=bill.beyond_warranty,
        outside=tuple(outside),
        outside_agreement=bill.outside_agreement if bill.outside_agreement.amount else None,
    )


def _billed_line(line: BillLine, currency: str) -> BilledLine:
    asked, is_part = line.asked, line.kind == "part"
    return BilledLine(
        kind=line.kind,
        detail=line.detail,
        amount=as_money(line.amount, currency),
        agreed=as_money(line.agreed, currency),
        component=line.component,
        paid_by=line.terms or PROGRAM,
        hours=asked.hours if line.kind in ("labor", "second_technician") else None,
        number=asked.number if is_part else None,
        quantity=asked.quantity if is_part else None,
        serials=asked.serials if is_part else None,
        note=asked.note or None,
        above=as_money(line.above, currency) if line.above else None,
    )


def _plain(number: Decimal) -> str:
    return f"{number.normalize():f}"
