"""What everything that this program can do is done with: records, rulebook, time. See the modules beside it.

A function of this package takes the service first and is one transaction; bad input raises InputError before
anything is stored. What a technician may not see is not found (NotFoundError).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from contextlib import AbstractContextManager
from datetime import datetime
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec, TypeVar

from triage.config import Outgoing, TwoPeople
from triage.decide.causes import inference
from triage.logic.engine import Engine
from triage.machine.commissioning.recorded import judge_of
from triage.machine.measures.upkeep import SIDES
from triage.records.ticket_id import new_ticket_id
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.release.scheduling import publish_due
from triage.service.live_rulebook import LiveRulebook, Serving
from triage.store import Store, Work
from triage.store.aside import Aside
from triage.store.connections import Observe
from triage.store.tables.derived.counted import Measures
from triage.store.tables.rulebooks import Publication
from triage.values.errors import InputError
from triage.values.shown import not_there

Data = Mapping[str, Any]
Asked = ParamSpec("Asked")
Found = TypeVar("Found")


class Service:
    """`clock` gives the current timezone-aware time; `files` are the rulebook's, to be stored whole with it.

    The live rulebook in the database serves; where none is yet, this one is made live (with `files`)
    and serves. `given` is the version that the operator has at hand, to tell it from the one that serves.
    `photos` is the folder that photos are kept in; None: the database keeps them.
    `compile_rulebook` makes the engine of an older rulebook when one of its decisions is explained.
    `two_people` says whether publishing a rulebook takes a second person.
    """

    def __init__(
        self,
        store: Store,
        rulebook: Rulebook,
        engine: Engine,
        clock: Callable[[], datetime],
        files: Data | None = None,
        compile_rulebook: Callable[[Rulebook], Engine] = inference.compile_rulebook,
        new_id: Callable[[], str] = new_ticket_id,
        given: str | None = None,
        outgoing: Outgoing | None = None,
        two_people: TwoPeople = "auto",
        photos: Path | None = None,
    ) -> None:
        self.store = store
        self.aside = Aside(store)
        self.now = clock
        self.compile = compile_rulebook
        self.new_id = new_id
        self.given = given or rulebook.version
        self.outgoing = outgoing or Outgoing()
        self.two_people = two_people
        self.photos = photos
        self._live = LiveRulebook(Serving(rulebook, engine), self._newest, self._load)
        if files is not None:
            self._publish_first(files)
        self.refresh()

    @property
    def rulebook(self) -> Rulebook:
        """The one that serves; it does not change within `one_version`."""
        return self._live.current().rulebook

    @property
    def engine(self) -> Engine:
        """Compiled from `rulebook`."""
        return self._live.current().engine

    @property
    def is_shared(self) -> bool:
        """Whether several threads may ask at once; a database in memory has one connection."""
        return self.store.can_be_shared

    def tell_of_queries(self, observe: Observe) -> None:
        """Tells `observe` of every query of the database from now on, and what it took."""
        self.store.watched.tell(observe)

    def one_version(self) -> AbstractContextManager[Serving]:
        """One request: what is begun inside it finishes with the rulebook it started with."""
        return self._live.one_version()

    def refresh(self) -> None:
        """Asks at once, not only every few seconds, which rulebook is live."""
        self._live.refresh()

    def _publish_first(self, files: Data) -> None:
        version = self.rulebook.version
        with self.store.write() as work:
            if work.rulebooks.live() is None:
                work.rulebooks.keep(version, files)
                work.rulebooks.publish(Publication(version, self.now(), "operator", "read at start"))

    def _newest(self) -> str | None:
        publish_due(self.store, self.now())
        with self.store.read() as work:
            publication = work.rulebooks.live()
        return None if publication is None else publication.version

    def _load(self, version: str) -> Serving:
        with self.store.read() as work:
            files = work.rulebooks.files(version)
        assert files is not None  # what is published is kept
        rulebook = rulebook_from_data(files, version)
        return Serving(rulebook, self.compile(rulebook))


def one_version(
    function: Callable[Concatenate[Service, Asked], Found],
) -> Callable[Concatenate[Service, Asked], Found]:
    """Lets a function of the service finish with the rulebook it started with."""

    @wraps(function)
    def pinned(service: Service, /, *args: Asked.args, **kwargs: Asked.kwargs) -> Found:
        with service.one_version():
            return function(service, *args, **kwargs)

    return pinned


def refuse_not_there(work: Work, filters: Mapping[str, str], **more: Collection[str]) -> None:
    """Raises InputError for a store, a contractor or a task that there is not: it would list nothing.

    `more`: filter -> what it may ask for.
    """
    known: dict[str, Collection[str]] = {"task": list(SIDES), **more}
    if "site" in filters:
        known["site"] = work.machines.site_names()
    if "contractor" in filters:
        known["contractor"] = [each.id for each in work.machines.contractors()]
    if problems := not_there({name: said for name, said in filters.items() if said}, known):
        raise InputError(problems)


def measures(service: Service) -> Measures:
    """What the live rulebook judges care and commissionings by, for lists."""
    return Measures(service.rulebook.care, judge_of(service.rulebook))
