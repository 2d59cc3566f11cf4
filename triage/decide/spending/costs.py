"""What a visit costs: an itemised estimate for each cause, and its distribution over the causes.

An agreement's lines: trip, distance band, labor in billed steps with its minimum, a second technician, each
part with the markup, freight when there are parts, and tax on the lines it names. After-hours rates apply to
labor and the second technician, not to the trip. Distances beyond the last band pay the last band's fee.
Labor warranty pays trip, distance, labor and second technician; parts warranty pays parts and freight,
each with its tax. Conventions: common practice, no source.

Every line is rounded half up to the currency's minor unit where it is made; sums are exact Decimals.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, Decimal
from functools import cached_property
from typing import Literal, TypeAlias

from triage.decide.spending.spread import VaryingCost, Work, uncertain
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Repair, Rulebook
from triage.rulebook.terms import RateAgreement
from triage.rulebook.validity import Validity
from triage.values.money import round_money

LineKind: TypeAlias = Literal["trip", "distance", "labor", "second_technician", "part", "freight", "tax"]

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
    after_hours: bool = False,
    distance_km: int | Decimal | None = None,
) -> dict[str, Estimate]:
    """The itemised estimate of each cause's typical repair, by the contractor's agreement or the default one,
    as they hold on the day of the visit.

    Without a distance no distance fee is counted. The same question is answered from memory the second time.
    """
    agreement = agreement_with(rulebook, contractor, on)
    agreed = contractor if agreement in rulebook.rates.of(contractor) else None
    fee = distance_fee(agreement, distance_km)
    made = _estimates_made(rulebook)
    found = {}
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
) -> dict[tuple[str, str | None, Validity, bool, Decimal | None], Estimate]:
    return {}


def _estimate(
    rulebook: Rulebook,
    cause: str,
    contractor: str | None,
    agreement: RateAgreement,
    after_hours: bool,
    fee: Decimal | None,
) -> Estimate:
    known = rulebook.causes.get(cause)
    repair = known.repair if known is not None else UNNAMED_REPAIR
    hours = billed_hours(repair.labor_hours, agreement)
    factor = agreement.after_hours_factor if after_hours else Decimal(1)
    rate_name = f"{hours.normalize():f} h" + (" after hours" if after_hours else "")
    lines: list[EstimateLine] = []

    def add(kind: LineKind, detail: str, amount: Decimal) -> None:
        rounded = round_money(amount, rulebook.currency)
        if rounded:
            lines.append(EstimateLine(kind, detail, rounded))

    add("trip", "trip", agreement.trip)
    if fee is not None:
        add("distance", "distance band", fee)
    add("labor", rate_name, hours * agreement.labor_hour * factor)
    helpers = repair.technicians - 1
    if helpers > 0:
        add(
            "second_technician",
            f"{helpers} × {rate_name}",
            helpers * hours * agreement.second_technician_hour * factor,
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


@dataclass(frozen=True, slots=True)
class PossibleCost:
    """One way the job may go: what it typically costs, its chance, and how it varies.

    It costs more than a limit where all of `bounds` do (a job and what is taken off it); without any it
    costs `amount` exactly, as a technician's estimate does.
    """

    amount: Decimal
    chance: float
    bounds: tuple[tuple[VaryingCost, Decimal], ...] = ()

    def chance_above(self, limit: Decimal) -> float:
        if not self.bounds:
            return 1.0 if self.amount > limit else 0.0
        return min(cost.chance_above(float(limit - more)) for cost, more in self.bounds)


@dataclass(frozen=True)
class CostDistribution:
    """What a job may come to, cause by cause; the chances sum to 1."""

    outcomes: tuple[PossibleCost, ...]

    @cached_property
    def expected(self) -> Decimal:
        """The mean of the typical costs, exact in the chances' decimal form; not rounded."""
        return sum((one.amount * Decimal(repr(one.chance)) for one in self.outcomes), Decimal(0))

    def chance_above(self, amount: Decimal) -> float:
        """The chance that the job costs more than `amount`, 0..1; 0 and 1 only of what is certain."""
        above = [(one.chance, one.chance_above(amount)) for one in self.outcomes if one.chance]
        only = {chance for _, chance in above}
        if only in ({0.0}, {1.0}):
            return only.pop()
        return uncertain(sum(share * chance for share, chance in above))
