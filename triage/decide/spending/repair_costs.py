"""What this repair may come to for the program: cause by cause, after warranty."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from triage.decide.spending.costs import WorkStart, repair_estimates
from triage.decide.spending.spread import CostDistribution, PossibleCost
from triage.decide.spending.warranty import covered_by_component, terms_by_component
from triage.logic.conditions import FactValue
from triage.records.report import EstimateTotal, Machine
from triage.rulebook.model import OTHER_CAUSE, Rulebook


@dataclass(frozen=True, slots=True)
class Job:
    """Amounts in the rulebook's currency.

    `costs` is what the repair may come to; a technician's estimate takes the place of the typical repairs
    there. `likely` is that estimate, or the mean. `sending` is for each cause what sending someone costs
    (typical repair, and sales lost until someone has been there), as the plan of checks weighs it.
    """

    costs: CostDistribution
    likely: Decimal
    sending: Mapping[str, float]
    cover_chance: float  # that the component at fault is covered for parts and labor
    notes: tuple[str, ...]


def job_for(
    rulebook: Rulebook,
    chances: Mapping[str, float],
    machine: Machine | None,
    after_hours: bool | WorkStart,
    on: date,
    visit_on: date,
    estimate: EstimateTotal | None = None,
    sides: FactValue | None = None,
) -> Job:
    """`chances` are those of the causes; warranty is asked for the day `on`, the rates for `visit_on`."""
    contractor = machine.contractor if machine is not None else None
    distance = machine.site.distance_km if machine is not None and machine.site is not None else None
    components = {cause: component_of(rulebook, cause) for cause in chances}
    concerned = frozenset(components.values())
    terms = terms_by_component(rulebook, machine, concerned, on)
    covered = covered_by_component(machine, terms, concerned, on)
    repairs = []
    typical_repairs = repair_estimates(rulebook, components, visit_on, contractor, after_hours, distance)
    for cause, typical in typical_repairs.items():
        component = components[cause]
        paid = covered[component]
        own = terms[component].deductible if any(paid) else Decimal(0)
        amount = min(typical.beyond_warranty(*paid) + own, typical.total)
        bounds = ((typical.varying(*paid), own), (typical.varying(False, False), Decimal(0)))
        repairs.append(PossibleCost(amount, chances[cause], bounds))
    sending = {
        cause: float(one.amount) + float(sales_lost(rulebook, cause, sides))
        for cause, one in zip(typical_repairs, repairs, strict=True)
    }
    if estimate is None:
        costs = CostDistribution(tuple(repairs))
        likely = costs.expected
    else:
        likely = estimate.beyond_warranty.amount
        costs = CostDistribution((PossibleCost(likely, 1.0),))
    covered_chances = (chance for cause, chance in chances.items() if all(covered[components[cause]]))
    return Job(
        costs=costs,
        likely=likely,
        sending=sending,
        cover_chance=min(1.0, sum(covered_chances)),
        notes=_notes(rulebook, machine, visit_on),
    )


def sales_lost(rulebook: Rulebook, cause: str | None, sides: FactValue | None = None) -> Decimal:
    """Sales lost until someone has been there. Of `both` sides a cause takes twice what it does of one; where
    `one` shows it, no more than half are lost; of `all`, as under stop-use, everything is.
    """
    store, known = rulebook.rates.store, rulebook.causes.get(cause or "")
    share = known.sales_lost if known is not None else Decimal(1)
    if sides == "all":
        share = Decimal(1)
    elif sides == "both":
        share = min(Decimal(1), 2 * share)
    elif sides == "one":
        share = min(Decimal("0.5"), share)
    return share * store.days_to_visit * store.open_hours_a_day * store.lost_sales_hour


def component_of(rulebook: Rulebook, cause: str) -> str:
    """The component of a cause; `other` for one the rulebook does not describe."""
    known = rulebook.causes.get(cause)
    return known.component if known is not None else OTHER_CAUSE


def _notes(rulebook: Rulebook, machine: Machine | None, visit_on: date) -> tuple[str, ...]:
    if machine is None:
        return ()
    notes = []
    if machine.contractor is None:
        notes.append("No contractor on record: the default rates apply.")
    elif rulebook.rates.agreed(machine.contractor, visit_on) is None:
        days = f" for {visit_on}" if rulebook.rates.of(machine.contractor) else ""
        notes.append(
            f"The rulebook has no rate agreement with {machine.contractor}{days}: the default rates apply."
        )
    if machine.site is None:
        notes.append("No site on record: no distance fee is counted, and times are in UTC.")
    return tuple(notes)
