"""Numbers that can hardly be meant, and numbers that no longer fit each other."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from statistics import median

from triage.logic.conditions import Condition, evaluate, facts_in
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import RateAgreement
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.space import Reasoning, heads
from triage.schedule.service_hours import minutes_of_day
from triage.values.plain_data import Path

OUT_OF_LINE, OUT_OF_LINE_PARTS = 5, 30
"""Times the usual amount of its kind: beyond, a decimal point is likely in the wrong place."""

LEAST_MINUTES_A_STEP = Decimal("0.2")

HOURS_OF_A_LOSS = Decimal("1.25")
"""What takes longer to repair is no lamp: something is not sold until then. Our estimate, no source."""

_Place = tuple[str, Path, Decimal]
_Usual = tuple[str, Path, Decimal | int | float, str, str]


def number_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes absurd-number, out-of-line, zero-price, fee-falls, response-order, care-band, terms-*."""
    rulebook = reason.rulebook
    for file, path, number, low, high in _usual(rulebook):
        if not Decimal(low) <= Decimal(str(number)) <= Decimal(high):
            message = f"{_name(path)} is {number}; usual is {low} to {high}"
            yield _found("absurd-number", file, message, "Fix it, or say in `lint_off` why it is meant", path)
    for alike in filter(None, _alike(rulebook)):
        times = OUT_OF_LINE if alike[0][0] != "parts.yml" else OUT_OF_LINE_PARTS
        usual = median(number for _, _, number in alike)
        odd = [each for each in alike if not usual <= times * each[2] <= times**2 * usual]
        if len(odd) == 1:  # several are a scale
            file, path, number = odd[0]
            message = f"{_name(path)} is {number}, where {usual} is usual here"
            yield _found("out-of-line", file, message, "Look at the decimal point", path)
    for file, path, number in _prices(rulebook):
        if number == 0:
            message = f"{_name(path)} is 0, so it counts as free"
            yield _found("zero-price", file, message, "Write what it costs", path)
    for path, agreement in _agreements(rulebook):
        fees = [band.fee for band in agreement.distance_bands]
        for index, (near, far) in enumerate(pairwise(fees), 1):
            if far < near:
                message = f"the fee falls from {near} to {far} although the way is longer"
                here = (*path, "distance_bands", index, "fee")
                yield _found("fee-falls", "rates.yml", message, "Fix the fees, or their order", here)
        yield from _contradictions(rulebook, path, agreement)
    yield from _models_apart(rulebook)
    yield from _response_order(rulebook)
    yield from _caps(rulebook)
    yield from _care_bands(rulebook)


def _found(code: str, file: str, message: str, fix: str, path: Path) -> Finding:
    return finding(code, file.rpartition("/")[2].removesuffix(".yml"), file, message, fix, path)


def _name(path: Path) -> str:
    return " of ".join(str(part) for part in reversed(path) if part != "default") or "it"


def _agreements(rulebook: Rulebook) -> Iterator[tuple[Path, RateAgreement]]:
    yield ("default",), rulebook.rates.default
    for name, agreement in rulebook.rates.contractors.items():
        yield ("contractors", name), agreement
    for index, (_, agreement) in enumerate(rulebook.rates.dated):
        yield ("dated", index), agreement


def _usual(rulebook: Rulebook) -> Iterator[_Usual]:
    """File, place, number, and what it usually lies between. Common practice, no source."""
    tolerances, care, store = rulebook.tolerances, rulebook.care, rulebook.rates.store
    yield "rulebook.yml", ("near_certain",), tolerances.near_certain, "0.6", "0.99"
    yield "rulebook.yml", ("chance_over",), tolerances.chance_over, "0.001", "0.5"
    yield "rulebook.yml", ("care", "filter_days"), care.filter_days, "1", "120"
    yield "rulebook.yml", ("care", "full_clean_days"), care.full_clean_days, "1", "180"
    yield "rulebook.yml", ("reopen_days",), rulebook.reopen_days, "0", "365"
    yield "rates.yml", ("store", "days_to_visit"), store.days_to_visit, "0", "14"
    for path, agreement in _agreements(rulebook):
        yield "rates.yml", (*path, "tax"), agreement.tax, "0", "0.25"
        yield "rates.yml", (*path, "parts_markup"), agreement.parts_markup, "0", "1"
        yield "rates.yml", (*path, "after_hours_factor"), agreement.after_hours_factor, "1", "3"
        yield "rates.yml", (*path, "minimum_minutes"), agreement.minimum_minutes, "0", "240"
        yield "rates.yml", (*path, "billed_step_minutes"), agreement.billed_step_minutes, "1", "120"
    most = store.clerk_hour
    yield "rulebook.yml", ("question_worth",), rulebook.tolerances.question_worth, "0", str(most)
    for number, part in rulebook.parts.items():
        yield "parts.yml", ("parts", number, "kg"), part.kg, "0", "150"
    for cause in rulebook.causes.values():
        file, hours = f"causes/{cause.id}.yml", cause.repair.labor_hours
        yield file, ("repair", "labor_hours"), hours, "0.05", "16"
        yield file, ("sales_lost",), cause.sales_lost, "0" if hours < HOURS_OF_A_LOSS else "0.1", "1"
    for check in rulebook.checks.values():
        least = max(Decimal(1), LEAST_MINUTES_A_STEP * len(check.steps))
        yield f"checks/{check.id}.yml", ("minutes",), check.minutes, str(least), "120"
        for cause_id, chance in check.resolves.items():
            yield f"checks/{check.id}.yml", ("resolves", cause_id), chance, "0.01", "0.99"
    for fact in rulebook.facts.values():
        yield f"facts/{fact.id}.yml", ("ask_seconds",), fact.ask_seconds, "1", "900"
    for rule in rulebook.evidence.values():
        for name, share in {**rule.seen_with, "others": rule.others}.items():
            yield rule.head.file, ("then", "seen_with", name), share, "0.001", "0.995"
    for terms in rulebook.warranty.values():
        for component, period in terms.periods.items():
            for key in ("parts_months", "labor_months"):
                path = ("periods", component, key)
                yield f"warranty/{terms.id}.yml", path, getattr(period, key), "0", "120"
    for urgency, response in rulebook.service_hours.priorities.items():
        yield "service_hours.yml", ("priorities", str(urgency)), response.hours, "0.5", "336"
    for day, span in rulebook.service_hours.week.items():
        open_hours = Decimal(minutes_of_day(span[1]) - minutes_of_day(span[0])) / 60
        yield "service_hours.yml", ("week", day), open_hours, "1", "24"
    for authority in rulebook.authorities.values():
        file = next(
            (f"limits/{one.id}.yml" for one in rulebook.limits.values() if one.kind == "authority"), ""
        )
        yield file, ("authorities", authority.id, "valid_days"), authority.valid_days, "1", "180"


def _alike(rulebook: Rulebook) -> Iterator[list[_Place]]:
    """Amounts that are of one kind, so that one of them can be out of line."""
    for key in ("trip", "labor_hour", "second_technician_hour"):
        yield [("rates.yml", (*path, key), getattr(each, key)) for path, each in _agreements(rulebook)]
    prices = [
        ("parts.yml", ("parts", number, "price"), part.price) for number, part in rulebook.parts.items()
    ]
    yield [each for each in prices if each[2]]  # a price of 0 is found by itself
    for table in rulebook.limits.values():
        if table.kind == "nte":
            for output in table.outputs:
                yield [
                    (f"limits/{table.id}.yml", ("rows", index, "then", output), amount)
                    for index, row in enumerate(table.rows)
                    if isinstance(amount := row.then.get(output), Decimal)
                ]


def _prices(rulebook: Rulebook) -> Iterator[_Place]:
    for number, part in rulebook.parts.items():
        yield "parts.yml", ("parts", number, "price"), part.price
    for path, agreement in _agreements(rulebook):
        yield "rates.yml", (*path, "labor_hour"), agreement.labor_hour
        yield "rates.yml", (*path, "second_technician_hour"), agreement.second_technician_hour
    store = rulebook.rates.store
    yield "rates.yml", ("store", "clerk_hour"), store.clerk_hour
    yield "rates.yml", ("store", "lost_sales_hour"), store.lost_sales_hour
    yield "rates.yml", ("swap_cost",), rulebook.rates.swap_cost


def _contradictions(rulebook: Rulebook, path: Path, agreement: RateAgreement) -> Iterator[Finding]:
    if agreement.tax and not agreement.tax_on:
        message = f"there is a tax of {agreement.tax}, but nothing it is on"
        yield _found("terms-contradict", "rates.yml", message, "Say so in `tax_on`", (*path, "tax"))
    heaviest = max((part.kg for part in rulebook.parts.values()), default=Decimal(0))
    if agreement.van_kg is not None and agreement.van_kg < heaviest:
        message = f"a van takes {agreement.van_kg} kg, less than a part of {heaviest} kg"
        yield _found("terms-contradict", "rates.yml", message, "Fix either", (*path, "van_kg"))


def _caps(rulebook: Rulebook) -> Iterator[Finding]:
    for terms in rulebook.warranty.values():
        longest = max((period.parts_months for period in terms.periods.values()), default=0)
        if terms.cap_months_from_ship is not None and terms.cap_months_from_ship < longest:
            message = f"warranty of {longest} months ends {terms.cap_months_from_ship} months from shipping"
            path = ("cap_months_from_ship",)
            yield _found("terms-contradict", f"warranty/{terms.id}.yml", message, "Fix either", path)


def _models_apart(rulebook: Rulebook) -> Iterator[Finding]:
    """A number of one model that is several times another's."""
    for fact in sorted({name for model in rulebook.models.values() for name in model.facts}):
        numbers = {
            model: abs(number)
            for model, each in rulebook.models.items()
            if isinstance(number := each.facts.get(fact), Decimal) and number
        }
        most, least = (pick(numbers, key=numbers.__getitem__, default="") for pick in (max, min))
        if numbers and numbers[most] > OUT_OF_LINE * numbers[least]:
            message = f"{fact} is {numbers[most]} for {most}, but {numbers[least]} for {least}"
            path = ("models", most, "facts", fact)
            yield _found("out-of-line", "models.yml", message, "Look at the decimal point", path)


def _response_order(rulebook: Rulebook) -> Iterator[Finding]:
    """The more urgent is there first; service hours take at least as long as elapsed ones."""
    hours = rulebook.service_hours
    if len(hours.priorities) > 1 and hours.default_priority == min(hours.priorities):
        message = "every visit is most urgent unless a rule says otherwise"
        fix = "Choose an ordinary `default_priority`"
        yield _found("response-order", "service_hours.yml", message, fix, ("default_priority",))
    for (number, sooner), (after, later) in pairwise(sorted(hours.priorities.items())):
        if sooner.hours > later.hours and (sooner.clock == "service" or later.clock == "elapsed"):
            message = (
                f"priority {number} has {sooner.hours} hours, longer than priority {after} with {later.hours}"
            )
            fix = "Give the more urgent priority (the smaller number) the shorter time"
            path = ("priorities", str(number))
            yield _found("response-order", "service_hours.yml", message, fix, path)


def _care_bands(rulebook: Rulebook) -> Iterator[Finding]:
    """An interval of care at whose end no rule on the days since changes its mind."""
    for fact, days in (
        ("filter_days", rulebook.care.filter_days),
        ("full_clean_days", rulebook.care.full_clean_days),
    ):
        rules = [head for head in heads(rulebook) if head.status == "live" and facts_in(head.when) == {fact}]
        changes = {day for head in rules for day in _changes(head.when, fact)}
        if changes and days not in changes:
            known = ", ".join(str(day) for day in sorted(changes)[:6])
            names = ", ".join(head.id for head in rules[:6])
            message = (
                f"care is due every {days} days, but the rules on {fact} ({names}) change after {known} days"
            )
            fix = "Move their bands to the interval, or the interval to them"
            yield _found("care-band", "rulebook.yml", message, fix, ("care", fact))


def _changes(when: Condition, fact: str) -> Iterator[int]:
    truths = (evaluate(when, {fact: Decimal(day)}) for day in range(400))
    for day, (before, after) in enumerate(pairwise(truths)):
        if before is not after:
            yield day
