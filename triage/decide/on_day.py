"""What of a rulebook applies on the day of a report, and the facts of its clock."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from triage.logic.conditions import Facts, FactValue, Truth, facts_in
from triage.logic.engine import Engine
from triage.records.report import Machine
from triage.rulebook.built_in_facts import CLOCK_FACTS, WEEKDAYS
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.rulebook.validity import Validity
from triage.schedule.service_hours import lets_in, public_holidays
from triage.values.time_zones import zone_named

_RULES = ("derive", "evidence", "cautions", "policy", "checks")


@dataclass(frozen=True, slots=True)
class _Without:
    """An engine that is silent about rules that do not apply."""

    engine: Engine
    dropped: frozenset[str]

    @property
    def name(self) -> str:
        return self.engine.name

    @property
    def strata(self) -> object:
        return getattr(self.engine, "strata", None)

    def truths(self, stage: str, facts: Facts) -> Mapping[str, Truth]:
        found = self.engine.truths(stage, facts)
        return {rule: truth for rule, truth in found.items() if rule not in self.dropped}


def applying(rulebook: Rulebook, engine: Engine, day: date) -> tuple[Rulebook, Engine]:
    """The rulebook without what is not valid on a day, under its own version, and an engine for it.

    Most rulebooks have nothing that is dated, and are given back as they are.
    """
    dated = _dated(rulebook)
    dropped = frozenset(key for key, valid in dated.items() if not valid.on(day))
    if not dropped:
        return rulebook, engine
    views = _views(rulebook)
    if dropped not in views:
        views[dropped] = _without(rulebook, dropped)
    return views[dropped], _Without(engine, frozenset(id_ for kind, id_ in dropped if kind != "facts"))


def _without(rulebook: Rulebook, dropped: frozenset[tuple[str, str]]) -> Rulebook:
    kept: dict[str, Any] = {
        kind: {id_: each for id_, each in getattr(rulebook, kind).items() if (kind, id_) not in dropped}
        for kind in _RULES
    }
    facts = frozenset(id_ for kind, id_ in dropped if kind == "facts")  # rules go on naming them
    aside = {**rulebook.set_aside, "facts": rulebook.set_aside.get("facts", frozenset()) | facts}
    return replace(rulebook, set_aside=aside, **kept)


def unused_facts(rulebook: Rulebook) -> frozenset[str]:
    """The facts that are not live, or not valid on the day: neither asked nor believed."""
    return rulebook.set_aside.get("facts", frozenset())


@once_per_rulebook
def _dated(rulebook: Rulebook) -> Mapping[tuple[str, str], Validity]:
    found = {}
    for kind in ("facts", *_RULES):
        for id_, each in getattr(rulebook, kind).items():
            valid = getattr(each, "head", each).valid
            if valid.dated:
                found[kind, id_] = valid
    return found


@once_per_rulebook
def _views(_rulebook: Rulebook) -> dict[frozenset[tuple[str, str]], Rulebook]:
    return {}


def clock_facts(rulebook: Rulebook, machine: Machine | None, at: datetime) -> dict[str, FactValue]:
    """Hour, weekday and holiday at the store, and whether it is open, as far as a rule looks at them.

    By the site's own clock; without a site nothing is known. `at` is timezone-aware.
    """
    wanted = _looked_at(rulebook)
    if not wanted or machine is None or machine.site is None:
        return {}
    here = at.astimezone(zone_named(machine.site.timezone))
    found: dict[str, FactValue] = {"hour": Decimal(here.hour), "weekday": WEEKDAYS[here.weekday()]}
    hours = rulebook.service_hours
    if hours.holidays_country is not None:
        days = public_holidays(hours.holidays_country, hours.holidays_subdivision, here.year)
        found["holiday"] = here.date() in days
    if machine.site.open_around_the_clock or machine.site.access_from:
        found["store_open"] = machine.site.open_around_the_clock or lets_in(machine.site, at)
    return {fact: value for fact, value in found.items() if fact in wanted}


@once_per_rulebook
def _looked_at(rulebook: Rulebook) -> frozenset[str]:
    return CLOCK_FACTS & frozenset(_facts_of(rulebook))


def _facts_of(rulebook: Rulebook) -> Iterator[str]:
    for when in rulebook.live_rules().values():
        yield from facts_in(when)
    for table in rulebook.limits.values():
        yield from table.inputs
    for terms in rulebook.warranty.values():
        for risk in terms.risks:
            yield from facts_in(risk.when)
