"""The rulebook's single files in words: rates, parts, hours, models and the manifest."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from triage.rulebook.model import Rulebook
from triage.rulebook.terms import RateAgreement
from triage.rulebook_care.book.parts import Names, fields, table, text


def of_rates(rulebook: Rulebook) -> Iterator[str]:
    """What visits cost, one column an agreement."""
    rates = rulebook.rates
    columns = [("Default", rates.default), *((name, one) for name, one in rates.contractors.items())]
    rows = [list(_agreement(one)) for _, one in columns]
    titles = [title for title, _ in rows[0]]
    yield from table(
        ("Rate", *(text(name) for name, _ in columns)),
        [(title, *(text(row[index][1]) for row in rows)) for index, title in enumerate(titles)],
    )
    store = rates.store
    yield from fields(
        [
            ("A clerk's hour", f"{store.clerk_hour:.2f}"),
            ("Lost sales, an hour", f"{store.lost_sales_hour:.2f}"),
            ("Open hours a day", f"{store.open_hours_a_day:f}"),
            ("Days to a visit", f"{store.days_to_visit:f}"),
            ("Exchange of a machine", f"{rates.swap_cost:.2f}"),
        ]
    )


def _agreement(one: RateAgreement) -> Iterable[tuple[str, str]]:
    bands = "; ".join(f"to {band.up_to_km:f} km {band.fee:.2f}" for band in one.distance_bands)
    return (
        ("Trip", f"{one.trip:.2f}"),
        ("Labor, an hour", f"{one.labor_hour:.2f}"),
        ("Second technician, an hour", f"{one.second_technician_hour:.2f}"),
        ("Billed in steps of", f"{one.billed_step_minutes} min"),
        ("At least", f"{one.minimum_minutes} min"),
        ("After hours, times", f"{one.after_hours_factor:f}"),
        ("Parts markup", f"{_percent(one.parts_markup)} %"),
        ("Tax", f"{_percent(one.tax)} % on {', '.join(sorted(one.tax_on)) or 'nothing'}"),
        ("Freight", f"{one.freight:.2f}"),
        ("Distance", bands or "–"),
        ("A van carries", "any weight" if one.van_kg is None else f"{one.van_kg:f} kg"),
        ("Parts in a van, worth", "any amount" if one.van_value is None else f"{one.van_value:.2f}"),
    )


def _percent(share: Decimal) -> str:
    return f"{(100 * share).normalize():f}"


def of_parts(rulebook: Rulebook) -> Iterator[str]:
    yield from table(
        ("Number", "Part", "Price", "Weight, kg"),
        [
            (f"`{part.number}`", text(part.title), f"{part.price:.2f}", f"{part.kg:f}")
            for part in rulebook.parts.values()
        ],
    )


def of_hours(rulebook: Rulebook) -> Iterator[str]:
    hours = rulebook.service_hours
    yield from table(("Day", "From", "To"), [(day, *times) for day, times in hours.week.items()])
    yield from table(
        ("Priority", "There within"),
        [
            (
                str(number),
                f"{one.hours:f} {'hours around the clock' if one.clock == 'elapsed' else 'service hours'}",
            )
            for number, one in sorted(hours.priorities.items())
        ],
    )
    yield from fields([("Where nothing is said", f"priority {hours.default_priority}")])


def of_models(rulebook: Rulebook, names: Names) -> Iterator[str]:
    for name, model in rulebook.models.items():
        yield f"**{text(name)}**: {text(model.title)}"
        yield ""
        rows = [(names.fact(fact), names.value(fact, value)) for fact, value in model.facts.items()]
        yield from table(("Fact", "Value"), rows)
        yield from fields([("Source", text(model.source))])


def of_manifest(rulebook: Rulebook) -> Iterator[str]:
    tolerances = rulebook.tolerances
    yield from fields(
        [
            ("Title", text(rulebook.title)),
            ("Currency", text(rulebook.currency)),
            ("Near certain from a chance of", f"{tolerances.near_certain:g}"),
            ("Chance of running over a limit that is accepted", f"{tolerances.chance_over:g}"),
            ("A question is asked from a worth of", f"{tolerances.question_worth:.2f}"),
            ("Air filter cleaned every", f"{rulebook.care.filter_days} days"),
            ("Full clean every", f"{rulebook.care.full_clean_days} days"),
        ]
    )
