"""What a visit costs: an itemised estimate for each cause, and its distribution over the causes.

An agreement's lines: trip, distance band, labor in billed steps with its minimum, a second technician, each
part with the markup, freight when there are parts, and tax on the lines it names. After-hours rates apply to
labor and the second technician, not to the trip, and to those hours only that lie outside the service hours
where it is known when work starts. Distances beyond the last band pay the last band's fee.
Labor warranty pays trip, distance, labor and second technician; parts warranty pays parts and freight,
each with its tax. Conventions: common practice, no source.

Every line is rounded half up to the currency's minor unit where it is made; sums are exact Decimals.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_CEILING, Decimal
from functools import cached_property
from typing import Literal, TypeAlias

from triage.decide.spending.spread import VaryingCost, Work
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Repair, Rulebook
from triage.rulebook.terms import RateAgreement
from triage.rulebook.validity import Validity
from triage.schedule.service_hours import hours_outside
from triage.values.money import round_money

LineKind: TypeAlias = Literal["trip", "distance", "labor", "second_technician", "part", "freight", "tax"]


@dataclass(frozen=True, slots=True)
class WorkStart:
    """When work starts, and the time zone of its site."""

    at: datetime
    timezone: str


UNNAMED_REPAIR = Repair(Decimal(1))
"""For a cause the rulebook gives no repair (`other`): an hour on the spot. Common practice, no source."""

PAID_BY_LABOR_COVER: frozenset[LineKind] = frozenset({"trip", "distance", "labor", "second_technician"})
PAID_BY_PARTS_COVER: frozenset[LineKind] = frozenset({"part", "freight"})
TAXED_AS: Mapping[LineKind, str] = {
    "trip": "trip",
    "distance": "trip",
    "labor": "labor",
    "second_technician": "labor",
    "part": "parts",
    "freight": "freight",
}
"""A distance fee is taxed like the trip, a second technician like labor."""


@dataclass(frozen=True, slots=True)
class EstimateLine:
    """One line; `amount` is rounded, in the rulebook's currency. A part's `detail` starts with its number."""

    kind: LineKind
    detail: str
    amount: Decimal


@dataclass(frozen=True)
class Estimate:
    """The typical repair of one cause, before warranty."""

    cause: str
    contractor: str | None  # None: the default agreement
    lines: tuple[EstimateLine, ...]
    tax: Decimal  # the rate
    tax_on: frozenset[str]
    currency: str
    work: Work

    @property
    def total(self) -> Decimal:
        return sum((line.amount for line in self.lines), Decimal(0))

    def beyond_warranty(self, parts_covered: bool, labor_covered: bool) -> Decimal:
        """What the program pays once covered lines are taken out, tax on the rest included."""
        return self._beyond[parts_covered, labor_covered]

    @cached_property
    def _beyond(self) -> Mapping[tuple[bool, bool], Decimal]:
        sides = (False, True)
        return {(parts, labor): self._payable(parts, labor) for parts in sides for labor in sides}

    def varying(self, parts_covered: bool, labor_covered: bool) -> VaryingCost:
        """The same when hours and parts vary; memorized."""
        return self._varying[parts_covered, labor_covered]

    @cached_property
    def _varying(self) -> Mapping[tuple[bool, bool], VaryingCost]:
        sides = (False, True)
        return {(parts, labor): self._varies(parts, labor) for parts in sides for labor in sides}

    def _varies(self, parts_covered: bool, labor_covered: bool) -> VaryingCost:
        left = self._left(parts_covered, labor_covered)

        def taxed(*kinds: LineKind) -> float:
            rates = {kind: 1 + (self.tax if TAXED_AS[kind] in self.tax_on else 0) for kind in kinds}
            return float(sum(line.amount * rates[line.kind] for line in left if line.kind in rates))

        billed = max(self.work.minimum, math.ceil(self.work.hours / self.work.step - 1e-9) * self.work.step)
        labor = taxed("labor", "second_technician")
        fixed = taxed("trip", "distance", "freight")
        return VaryingCost(fixed, labor / billed if billed else 0.0, taxed("part"), self.work)

    def _payable(self, parts_covered: bool, labor_covered: bool) -> Decimal:
        left = self._left(parts_covered, labor_covered)
        tax = tax_on_lines(left, self.tax, self.tax_on, self.currency)
        return sum((line.amount for line in left), tax)

    def _left(self, parts_covered: bool, labor_covered: bool) -> list[EstimateLine]:
        """The lines but tax that warranty does not pay."""
        paid_by_warranty = (PAID_BY_PARTS_COVER if parts_covered else frozenset()) | (
            PAID_BY_LABOR_COVER if labor_covered else frozenset()
        )
        return [line for line in self.lines if line.kind != "tax" and line.kind not in paid_by_warranty]


def repair_estimates(
    rulebook: Rulebook,
    causes: Iterable[str],
    on: date,
    contractor: str | None = None,
    after_hours: bool | WorkStart = False,
    distance_km: int | Decimal | None = None,
) -> dict[str, Estimate]:
    """The itemised estimate of each cause's typical repair, by the contractor's agreement or the default one,
    as they hold on the day of the visit. From a start of work on its hours are split at the service hours.

    Without a distance no distance fee is counted. The same question is answered from memory the second time.
    """
    agreement = agreement_with(rulebook, contractor, on)
    agreed = contractor if agreement in rulebook.rates.of(contractor) else None
    fee = distance_fee(agreement, distance_km)
    made = _estimates_made(rulebook)
    found = {}
    causes = tuple(causes)
    if isinstance(after_hours, WorkStart):
        after_hours = _on_one_side(rulebook, after_hours, agreement, causes)
    for cause in causes:
        key = (cause, agreed, agreement.valid, after_hours, fee)
        known = made.get(key)
        if known is None:
            known = _estimate(rulebook, cause, agreed, agreement, after_hours, fee)
            if len(made) > _ESTIMATES_KEPT:
                made.clear()
            made[key] = known
        found[cause] = known
    return found


_ESTIMATES_KEPT = 10_000


@once_per_rulebook
def _estimates_made(
    rulebook: Rulebook,
) -> dict[tuple[str, str | None, Validity, bool | WorkStart, Decimal | None], Estimate]:
    return {}


def _repair_of(rulebook: Rulebook, cause: str) -> Repair:
    known = rulebook.causes.get(cause)
    return known.repair if known is not None else UNNAMED_REPAIR


def _on_one_side(
    rulebook: Rulebook, start: WorkStart, agreement: RateAgreement, causes: Iterable[str]
) -> bool | WorkStart:
    """Whether all hours are after hours, or none; the start itself where some repair runs over a boundary."""
    longest = max((_repair_of(rulebook, cause).labor_hours for cause in causes), default=Decimal(0))
    hours = billed_hours(longest, agreement)
    late = _late_hours(rulebook, start, hours)
    return late == hours if late in (0, hours) else start


def _late_hours(rulebook: Rulebook, after_hours: bool | WorkStart, hours: Decimal) -> Decimal:
    if isinstance(after_hours, WorkStart):
        return hours_outside(after_hours.at, hours, rulebook.service_hours, after_hours.timezone)
    return hours if after_hours else Decimal(0)


def _estimate(
    rulebook: Rulebook,
    cause: str,
    contractor: str | None,
    agreement: RateAgreement,
    after_hours: bool | WorkStart,
    fee: Decimal | None,
) -> Estimate:
    repair = _repair_of(rulebook, cause)
    hours = billed_hours(repair.labor_hours, agreement)
    late = _late_hours(rulebook, after_hours, hours)
    weighted = hours + late * (agreement.after_hours_factor - 1)
    rate_name = time_in_words(hours, late)
    lines: list[EstimateLine] = []

    def add(kind: LineKind, detail: str, amount: Decimal) -> None:
        rounded = round_money(amount, rulebook.currency)
        if rounded:
            lines.append(EstimateLine(kind, detail, rounded))

    add("trip", "trip", agreement.trip)
    if fee is not None:
        add("distance", "distance band", fee)
    add("labor", rate_name, weighted * agreement.labor_hour)
    helpers = repair.technicians - 1
    if helpers > 0:
        add(
            "second_technician",
            f"{helpers} × {rate_name}",
            helpers * weighted * agreement.second_technician_hour,
        )
    for number, quantity in repair.parts.items():
        part = rulebook.parts[number]
        price = part.price * (1 + agreement.parts_markup) * quantity
        add("part", f"{number} × {quantity}", price)
    if repair.parts:
        add("freight", "freight of the parts", agreement.freight)
    tax = tax_on_lines(lines, agreement.tax, agreement.tax_on, rulebook.currency)
    if tax:
        lines.append(EstimateLine("tax", f"{(agreement.tax * 100).normalize():f} %", tax))
    spread = rulebook.tolerances.repair_spread if repair.spread is None else repair.spread
    return Estimate(
        cause,
        contractor,
        tuple(lines),
        agreement.tax,
        frozenset(agreement.tax_on),
        rulebook.currency,
        Work(
            hours=float(repair.labor_hours),
            step=agreement.billed_step_minutes / 60,
            minimum=agreement.minimum_minutes / 60,
            spread=float(spread),
        ),
    )


def agreement_with(rulebook: Rulebook, contractor: str | None, on: date) -> RateAgreement:
    """The contractor's rate agreement of the day of the visit, or the default one."""
    return rulebook.rates.agreement(contractor, on)


def time_in_words(hours: Decimal, late: Decimal) -> str:
    """Billed hours, and how many of them are after hours."""
    words = f"{hours.normalize():f} h"
    if not late:
        return words
    return words + (
        " after hours" if late == hours else f", {round(late, 2).normalize():f} h of it after hours"
    )


def billed_hours(labor_hours: Decimal, agreement: RateAgreement) -> Decimal:
    """Hours as billed: rounded up to whole steps, at least the minimum."""
    step = Decimal(agreement.billed_step_minutes)
    steps = (labor_hours * 60 / step).to_integral_value(rounding=ROUND_CEILING)
    return max(steps * step, Decimal(agreement.minimum_minutes)) / 60


def tax_on_lines(
    lines: Iterable[EstimateLine], rate: Decimal, tax_on: Iterable[str], currency: str
) -> Decimal:
    """The tax on those of the lines that are taxed, rounded."""
    named = frozenset(tax_on)
    taxed = sum((line.amount for line in lines if TAXED_AS.get(line.kind) in named), Decimal(0))
    return round_money(taxed * rate, currency)


def distance_fee(agreement: RateAgreement, distance_km: int | Decimal | None) -> Decimal | None:
    """The fee of the distance's band; None without a distance or bands."""
    bands = agreement.distance_bands
    if distance_km is None or not bands:
        return None
    return next((band.fee for band in bands if distance_km <= band.up_to_km), bands[-1].fee)
