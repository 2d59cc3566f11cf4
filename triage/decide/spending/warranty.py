"""Warranty warranty of one component on one day: parts and labor apart, and until when.

Months are calendar months (dateutil relativedelta): a day that the last month lacks becomes its last day, so
that 29 February plus 12 months is 28 February. Warranty runs from the day it starts to the corresponding day,
both in warranty; this inclusive last day is common practice and what a claim is measured by here. A cap
counted from the ship date ends warranty earlier, never later. Zero months are no warranty at all.

Without a commissioning date the months are counted from the ship date: no machine was commissioned before it
was shipped, so nothing is promised that may have ended. Whether more is in warranty then stays unknown. What
puts warranty at risk is said, and never voids it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from dateutil.relativedelta import relativedelta

from triage.logic.conditions import Facts, evaluate
from triage.records.decision import WarrantyAnswer, WarrantySide
from triage.records.report import Machine
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import WarrantyPeriod, WarrantyTerms

DEFAULT = "default"
NO_PERIOD = WarrantyPeriod(0, 0)
CHOICES_KEPT = 4096


@dataclass(frozen=True, slots=True)
class WarrantyStart:
    """The day warranty starts; `assumed` where no commissioning date is known and the ship date stands in."""

    on: date
    assumed: bool


@lru_cache(maxsize=4096)
def add_months(start: date, months: int) -> date:
    """The corresponding day `months` calendar months later, or the last day of a shorter month."""
    return start + relativedelta(months=months)


def terms_for(rulebook: Rulebook, machine: Machine, component: str, on: date) -> WarrantyTerms | None:
    """The terms that apply on a day: those naming the model before those for every model.

    Of several equally specific ones the most favorable for the component (parts, then labor) is taken, then
    the first by id.
    """
    return _best(_offer(rulebook, machine, on), machine, component)


@dataclass(frozen=True, slots=True)
class _Offer:
    """The terms for a model, in order of id, and the components for which one of them has its own period."""

    terms: tuple[WarrantyTerms, ...]
    named: frozenset[str]
    chosen: dict[tuple[date, date | None, str], WarrantyTerms] = field(default_factory=dict)


def _offer(rulebook: Rulebook, machine: Machine, on: date) -> _Offer:
    """What is offered for the machine: terms are left out where the day of their `valid_by` does not fit."""
    offers = _offers(rulebook)
    for model in (machine.model, None):
        offer = offers.get(model)
        if offer is None:
            continue
        if not any(terms.valid.dated for terms in offer.terms):
            return offer
        days = {"fault": on, "shipped": machine.shipped_on}
        days["commissioned"] = machine.commissioned_on or machine.shipped_on
        fitting = tuple(terms for terms in offer.terms if terms.valid.on(days[terms.valid_by]))
        if fitting or model is None:
            return _Offer(fitting, offer.named)
    return offers[None]


@once_per_rulebook
def _offers(rulebook: Rulebook) -> Mapping[str | None, _Offer]:
    """Model -> its offer; None -> the offer for a model that no terms name."""
    every = sorted(rulebook.warranty.values(), key=lambda terms: terms.id)
    models = {model for terms in every for model in terms.models}
    candidates: dict[str | None, list[WarrantyTerms]] = {
        model: [terms for terms in every if model in terms.models] for model in models
    }
    candidates[None] = [terms for terms in every if not terms.models]
    return {
        model: _Offer(tuple(terms), frozenset(named for each in terms for named in each.periods))
        for model, terms in candidates.items()
    }


def _best(offer: _Offer, machine: Machine, component: str) -> WarrantyTerms | None:
    if len(offer.terms) < 2:
        return offer.terms[0] if offer.terms else None
    key = (machine.shipped_on, machine.commissioned_on, component if component in offer.named else DEFAULT)
    chosen = offer.chosen.get(key)
    if chosen is None:
        chosen = _most_favorable(offer.terms, machine, component)
        if len(offer.chosen) >= CHOICES_KEPT:
            offer.chosen.clear()
        offer.chosen[key] = chosen
    return chosen


def _most_favorable(candidates: Iterable[WarrantyTerms], machine: Machine, component: str) -> WarrantyTerms:
    def favor(terms: WarrantyTerms) -> tuple[date, date]:
        period = period_of(terms, component)
        months = (period.parts_months, period.labor_months)
        parts, labor = (_until(terms, machine, each) or date.min for each in months)
        return parts, labor

    return max(candidates, key=favor)


def period_of(terms: WarrantyTerms, component: str) -> WarrantyPeriod:
    """The months of a component, or the default ones."""
    return terms.periods.get(component) or terms.periods.get(DEFAULT) or NO_PERIOD


def warranty_start(terms: WarrantyTerms, machine: Machine) -> WarrantyStart:
    """From when months are counted."""
    if terms.starts == "shipped":
        return WarrantyStart(machine.shipped_on, False)
    if machine.commissioned_on is None:
        return WarrantyStart(machine.shipped_on, True)
    return WarrantyStart(machine.commissioned_on, False)


def warranty_for(
    rulebook: Rulebook, machine: Machine | None, component: str, on: date, facts: Facts
) -> WarrantyAnswer:
    """Warranty of `component` on the day `on`; `facts` decide what puts it at risk.

    Without a machine or without terms for it nothing is in warranty, and `terms` is None.
    """
    terms = terms_for(rulebook, machine, component, on) if machine is not None else None
    if machine is None or terms is None:
        nothing = WarrantySide(component, False, None)
        return WarrantyAnswer(None, nothing, nothing, (), ())
    period = period_of(terms, component)
    return WarrantyAnswer(
        terms=terms.id,
        parts=_side(terms, machine, component, period.parts_months, on),
        labor=_side(terms, machine, component, period.labor_months, on),
        at_risk=tuple(risk.say for risk in terms.risks if evaluate(risk.when, facts) is True),
        claim_needs=terms.claim_needs,
    )


def cover_known(rulebook: Rulebook, machine: Machine | None, component: str, on: date) -> bool:
    """Whether the answer of `warranty_for` is certain for parts and labor both.

    It is not without a machine or terms; nor where the commissioning date is missing, the months from the
    ship date have run out, and warranty might still run from a later commissioning.
    """
    terms = terms_for(rulebook, machine, component, on) if machine is not None else None
    if machine is None or terms is None:
        return False
    if not warranty_start(terms, machine).assumed:
        return True
    period = period_of(terms, component)
    return all(
        months == 0 or _side(terms, machine, component, months, on).covered or _capped(terms, machine, on)
        for months in (period.parts_months, period.labor_months)
    )


def warranty_notes(rulebook: Rulebook, machine: Machine | None, component: str, on: date) -> tuple[str, ...]:
    """What people must know about the dates behind an answer."""
    if machine is None:
        return ()
    terms = terms_for(rulebook, machine, component, on)
    if terms is None:
        return (f"The rulebook has no warranty terms for the model {machine.model}{_by(rulebook, on)}.",)
    if warranty_start(terms, machine).assumed:
        return (
            "No commissioning date on record: warranty is counted from the ship date "
            f"{machine.shipped_on.isoformat()}, so it may run longer than said.",
        )
    return ()


def covered_by_component(
    machine: Machine | None, terms: Mapping[str, WarrantyTerms], components: frozenset[str], on: date
) -> Mapping[str, tuple[bool, bool]]:
    """Component -> whether its parts, and labor on it, are in warranty on the day.

    `terms` are those of `terms_by_component`.
    """
    found = dict.fromkeys(components, (False, False))
    if machine is None:
        return found
    by_period: dict[tuple[str, WarrantyPeriod], tuple[bool, bool]] = {}
    for component, its_terms in terms.items():
        period = period_of(its_terms, component)
        covered = by_period.get((its_terms.id, period))
        if covered is None:
            covered = by_period[its_terms.id, period] = (
                _side(its_terms, machine, component, period.parts_months, on).covered,
                _side(its_terms, machine, component, period.labor_months, on).covered,
            )
        found[component] = covered
    return found


def terms_by_component(
    rulebook: Rulebook, machine: Machine | None, components: frozenset[str], on: date
) -> Mapping[str, WarrantyTerms]:
    """Component -> the terms that apply to it on a day; without those that have none."""
    if machine is None:
        return {}
    offer = _offer(rulebook, machine, on)
    found = {component: _best(offer, machine, component) for component in components}
    return {component: terms for component, terms in found.items() if terms is not None}


def _by(rulebook: Rulebook, on: date) -> str:
    return f" on {on}" if any(terms.valid.dated for terms in rulebook.warranty.values()) else ""


def _side(terms: WarrantyTerms, machine: Machine, component: str, months: int, on: date) -> WarrantySide:
    until = _until(terms, machine, months)
    covered = until is not None and warranty_start(terms, machine).on <= on <= until
    return WarrantySide(component, covered, until)


def _until(terms: WarrantyTerms, machine: Machine, months: int) -> date | None:
    """The last day in warranty; None where there is no warranty from the start."""
    if months == 0:
        return None
    end = add_months(warranty_start(terms, machine).on, months)
    if terms.cap_months_from_ship is not None:
        end = min(end, add_months(machine.shipped_on, terms.cap_months_from_ship))
    return end


def _capped(terms: WarrantyTerms, machine: Machine, on: date) -> bool:
    """Past the cap from the ship date, when warranty has ended whatever the commissioning date."""
    cap = terms.cap_months_from_ship
    return cap is not None and on > add_months(machine.shipped_on, cap)
