"""Which machines' warranty ends soon: by the days of their records, so that a database can pick them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from triage.decide.spending.warranty import add_months, warranty_for
from triage.records.report import Machine
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import WarrantyTerms

_ONE = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Ending:
    """Machines on which a period of these months ends within the days asked about.

    Of `models`, or where there are none, of all but `other_models`. The period starts in `first`..`last`.
    With a cap counted from the ship date, the machine was shipped on `capped_first` or later, and the period
    ends by the last day asked about where it starts by `last` or it was shipped by `capped_last`.
    """

    models: frozenset[str]
    other_models: frozenset[str]
    from_ship_date: bool
    first: date
    last: date
    capped_first: date | None
    capped_last: date | None


def endings(rulebook: Rulebook, first: date, last: date) -> Iterator[Ending]:
    """Every way in which warranty of some component can end from `first` to `last`, both included."""
    every = tuple(rulebook.warranty.values())
    named = frozenset(model for terms in every for model in terms.models)
    seen = set()
    for terms in every:
        for months in sorted(_months(terms, every)):
            start = _begun(months, first, last)
            cap = terms.cap_months_from_ship
            capped = (None, None) if cap is None else _begun(cap, first, last)
            others = frozenset() if terms.models else named
            one = Ending(terms.models, others, terms.starts == "shipped", *start, *capped)
            if one not in seen:
                seen.add(one)
                yield one


def ends_of(rulebook: Rulebook, machine: Machine, first: date, last: date) -> dict[str, date]:
    """`component parts` or `component labor` -> its last day in warranty, of those from `first` to `last`."""
    components = {name for terms in rulebook.warranty.values() for name in terms.periods}
    found = {}
    for component in sorted(components):
        answer = warranty_for(rulebook, machine, component, first, {})
        for what, side in (("parts", answer.parts), ("labor", answer.labor)):
            if side.until is not None and first <= side.until <= last:
                found[f"{component} {what}"] = side.until
    return found


def _months(terms: WarrantyTerms, every: tuple[WarrantyTerms, ...]) -> set[int]:
    """The lengths of its periods, without those of components that other terms like it hold for longer."""
    like = [
        one
        for one in every
        if (one.models, one.starts, one.valid) == (terms.models, terms.starts, terms.valid)
        and (one.cap_months_from_ship or 10_000) >= (terms.cap_months_from_ship or 10_000)
    ]
    found = set()
    for component, period in terms.periods.items():
        longest = max(one.periods[component].parts_months for one in like if component in one.periods)
        if period.parts_months >= longest:
            found |= {period.parts_months, period.labor_months} - {0}
    return found


def _begun(months: int, first: date, last: date) -> tuple[date, date]:
    """The first and last day of beginning for which so many months end from `first` to `last`."""
    step = relativedelta(months=months)
    return (
        _moved(first - step - 3 * _ONE, _ONE, lambda day: add_months(day, months) >= first),
        _moved(last - step + 3 * _ONE, -_ONE, lambda day: add_months(day, months) <= last),
    )


def _moved(day: date, step: timedelta, holds: Callable[[date], bool]) -> date:
    while not holds(day):
        day += step
    return day
