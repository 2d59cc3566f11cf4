"""The register of training: how every store stands, training noted after an installation, people who left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from triage.records.caller import Caller
from triage.records.installs.job import Trained
from triage.records.installs.training import Standing, StoreTraining, Training, store_training
from triage.records.report import Site
from triage.service.installs.reading import StepReader, trained_people
from triage.service.service import Service, one_version
from triage.store import Work
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.shown import not_there
from triage.values.time_zones import lies_ahead, zone_named

VIEWS: Mapping[str, frozenset[Standing]] = {
    "due": frozenset({"due"}),
    "soon": frozenset({"due", "soon"}),
    "all": frozenset({"due", "soon", "kept"}),
}
FILTERS = ("site", "contractor")
COLUMNS = (
    *("site", "site_name", "town", "standing", "due_on", "missing"),
    *("training", "person", "topics", "trained_on", "by", "signed", "install", "counts_until", "left_on"),
)
Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Store:
    """A store with its register, on `today` of its calendar."""

    site: Site
    found: StoreTraining
    today: date

    @property
    def standing(self) -> Standing:
        return self.found.standing(self.today)

    def data(self) -> dict[str, Any]:
        """As JSON data."""
        return {
            "site": self.site.id,
            "name": self.site.name,
            "town": self.site.town,
            "standing": self.standing,
            "missing": list(self.found.missing),
            "due_on": self.found.due_on and self.found.due_on.isoformat(),
            "people": [self.person(one) for one in (*self.found.here, *self.found.left)],
        }

    def person(self, one: Training) -> dict[str, Any]:
        return {
            "training": one.id,
            "person": one.person,
            "topics": list(one.topics),
            "trained_on": one.at.astimezone(zone_named(self.site.timezone)).date().isoformat(),
            "by": one.by,
            "signed": one.signed,
            "install": one.install,
            "counts_until": self.found.again[one.id].isoformat(),
            "left_on": one.left_on and one.left_on.isoformat(),
        }

    def rows(self) -> list[dict[str, object]]:
        """By COLUMNS, a person and training a row; one row of a store without. Lists stay lists."""
        told = self.data()
        people = told.pop("people") or [{}]
        own = dict.fromkeys(COLUMNS) | told | {"site_name": told["name"]}
        return [own | each for each in people]


@one_version
def stores(service: Service, viewer: Caller, view: str, filters: Mapping[str, str]) -> list[Store]:
    """By name; a technician's are those with a machine in its contractor's care. InputError for what there is
    not.
    """
    problems = []
    if view not in VIEWS:
        problems.append(Problem(f'no view "{view[:20]}"; write one of {", ".join(VIEWS)}', "query:view"))
    asked = {name: filters[name] for name in FILTERS if filters.get(name)}
    with service.store.read() as work:
        known = {
            "site": work.machines.site_names() if "site" in asked else (),
            "contractor": [each.id for each in work.machines.contractors()] if "contractor" in asked else (),
        }
        problems += not_there(asked, known)
        if problems:
            raise InputError(problems)
        found = _stores(service, work, asked | _own(viewer))
    return [one for one in found if one.standing in VIEWS[view]]


def sites(service: Service, viewer: Caller) -> Sequence[Site]:
    """Stores with a machine, by name; a technician's with one in its contractor's care."""
    with service.store.read() as work:
        return work.trainings.sites(_own(viewer))


@one_version
def note(service: Service, data: Data, who: Caller) -> Store:
    """`{"site", "people", "topics", "by", "signed", "at"}`: by default now, by the caller."""
    keys = ("site", "people", "topics", "by", "signed", "at")
    reader, now = StepReader(service, data, keys, "a training"), service.now()
    with service.store.write() as work:
        site = reader.site(work)
        people, topics = trained_people(reader)
        by, signed = reader.words("by") or who.name, reader.words("signed", needed=True)
        at = now if reader.data.get("at") is None else reader.moment(reader.data["at"], "/at")
        if lies_ahead(at, now):
            reader.problem("this lies in the future; enter training once it is done", "/at")
        reader.finish()
        _seen(service, work, site, who)
        work.trainings.add(site, Trained(people, topics, by, signed, False), at, who.name)
        return _seen(service, work, site, who)


@one_version
def left(service: Service, number: int, data: Data, who: Caller) -> Store:
    """`{"on"}`, today without: whoever this training is of does not work at that store any more."""
    reader = StepReader(service, data, ("on",), "a leaving")
    with service.store.write() as work:
        one = work.trainings.get(number)
        store = _seen(service, work, one.site, who)
        on = reader.day(reader.data.get("on"), "/on") or store.today
        if on > store.today:
            reader.problem("this lies in the future; enter it on the day", "/on")
        reader.finish()
        if one.left_on is not None:
            raise ConflictError(f"{one.person} left on {one.left_on}")
        same = [each.id for each in store.found.here if each.person.casefold() == one.person.casefold()]
        work.trainings.leave(same, on)
        return _seen(service, work, one.site, who)


def _own(viewer: Caller) -> dict[str, str]:
    return {"contractor": viewer.contractor or ""} if viewer.role == "technician" else {}


def _seen(service: Service, work: Work, site: str, viewer: Caller) -> Store:
    found = _stores(service, work, {"site": site, **_own(viewer)})
    if not found:
        raise NotFoundError(f'no machine is on record at "{site}"')
    return found[0]


def _stores(service: Service, work: Work, asked: Mapping[str, str]) -> list[Store]:
    installation, now = service.rulebook.installation, service.now()
    sites = work.trainings.sites(asked)
    trainings, found = work.trainings.of([site.id for site in sites]), []
    for site in sites:
        today = now.astimezone(zone_named(site.timezone)).date()
        own = trainings.get(site.id, ())
        stands = store_training(own, installation.topics, installation.training_days, site.timezone, today)
        found.append(Store(site, stands, today))
    return found
