"""The fleet as a list and by site: each machine's state and what is to be looked after, worked out in SQL."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal, TypeAlias, get_args

from sqlalchemy import ColumnElement, and_, case, column, exists, false, func, or_, select, table
from sqlalchemy.orm import Session

from triage.decide.spending.ending import Ending
from triage.store.tables.care import LastCareRow
from triage.store.tables.dangers import DangerRow
from triage.store.tables.models import ContractorRow, CustodyRow, MachineRow, RepairRow, SiteRow, TicketRow

State: TypeAlias = Literal["danger", "down", "installing", "live"]
"""A machine is in one: a danger open, else down by an open trouble, else being installed (an installation
of it goes on, or it is not commissioned yet), else live."""
Mark: TypeAlias = Literal["care_overdue", "care_unknown", "warranty_ending", "repeat"]
"""Further things to look after, any number of them on a machine."""
STATES: tuple[State, ...] = get_args(State)
MARKS: tuple[Mark, ...] = get_args(Mark)
REPEATED = 2
"""Visits within the time asked about from which on trouble is repeated; the number that policy rules see."""
_INSTALLS = table("installs", column("machine"), column("state"))


@dataclass(frozen=True, slots=True)
class Asked:
    """By what machines are judged: from when on care is not overdue, by task and time zone, and so on."""

    care_since: Mapping[tuple[str, str], datetime]
    endings: Sequence[Ending]
    visits_since: datetime


@dataclass(frozen=True, slots=True)
class FleetMachine:
    """A line of the list; `site` and the like are empty where none is on record."""

    serial: str
    model: str
    asset_tag: str
    site: str
    site_name: str
    town: str
    contractor: str
    contractor_name: str
    shipped_on: date
    commissioned_on: date | None
    state: State
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class FleetSite:
    """A site with how many of its machines are in each state, and have each mark."""

    site: str
    name: str
    town: str
    machines: int
    counts: Mapping[str, int]


class Fleet:
    """Machines that were not taken out for another.

    Filters: `show`, a state or mark; `site`, `contractor` and `model` as they stand; `words` within texts.
    """

    def __init__(self, session: Session) -> None:
        self._session = session

    def zones(self) -> tuple[str, ...]:
        return tuple(self._session.scalars(select(SiteRow.timezone).distinct().order_by(SiteRow.timezone)))

    def machines(
        self, asked: Asked, filters: Mapping[str, str], offset: int = 0, limit: int | None = None
    ) -> tuple[FleetMachine, ...]:
        """By store and serial."""
        of_machine = (MachineRow.serial, MachineRow.model, MachineRow.asset_tag)
        of_place = (SiteRow.id, SiteRow.name, SiteRow.town, ContractorRow.id, ContractorRow.name)
        marks = [mark_holds(name, asked) for name in MARKS]
        days = (MachineRow.shipped_on, MachineRow.commissioned_on)
        query = _fleet(select(*of_machine, *of_place, *days, _state(), *marks), asked, filters)
        rows = self._session.execute(
            query.order_by(SiteRow.name, SiteRow.id, MachineRow.serial).offset(offset).limit(limit)
        )
        found = []
        for row in rows:
            held = tuple(name for name, holds in zip(MARKS, row[11:], strict=True) if holds)
            cells: list[Any] = [*(text or "" for text in row[:8]), *row[8:11], held]
            found.append(FleetMachine(*cells))
        return tuple(found)

    def counts(self, asked: Asked, filters: Mapping[str, str]) -> Mapping[str, int]:
        """How many machines are in each state and have each mark; `all` of them, whatever `show` says."""
        query = _fleet(select(func.count(), *_counted(asked)), asked, {**filters, "show": ""})
        return dict(zip(("all", *STATES, *MARKS), self._session.execute(query).one(), strict=True))

    def sites(
        self, asked: Asked, filters: Mapping[str, str], offset: int, limit: int
    ) -> tuple[FleetSite, ...]:
        """By name, those that have a machine which the filters pick; machines without a site come last."""
        place = (SiteRow.id, SiteRow.name, SiteRow.town)
        query = _fleet(select(*place, func.count(), *_counted(asked)), asked, filters)
        query = query.group_by(*place).order_by(SiteRow.name.is_(None), SiteRow.name, SiteRow.id)
        found = []
        for row in self._session.execute(query.offset(offset).limit(limit)):
            counts = dict(zip((*STATES, *MARKS), row[4:], strict=True))
            cells: list[Any] = [*(text or "" for text in row[:3]), row[3], counts]
            found.append(FleetSite(*cells))
        return tuple(found)


def _fleet(query: Any, asked: Asked, filters: Mapping[str, str]) -> Any:
    columns = {"site": SiteRow.id, "contractor": ContractorRow.id, "model": MachineRow.model}
    where = [column == filters[name] for name, column in columns.items() if filters.get(name)]
    for word in filters.get("words", "").split():
        texts = (MachineRow.serial, MachineRow.asset_tag, SiteRow.id, SiteRow.name, SiteRow.town)
        where.append(or_(*(column.icontains(word, autoescape=True) for column in texts)))
    show = filters.get("show")
    if show in STATES:
        where.append(_state() == show)
    elif show in MARKS:
        where.append(mark_holds(show, asked))
    taken_out = and_(MachineRow.site_id.is_(None), MachineRow.serial.in_(select(CustodyRow.serial)))
    joined = query.select_from(MachineRow).join(SiteRow, isouter=True).join(ContractorRow, isouter=True)
    return joined.where(~taken_out, *where)


def _counted(asked: Asked) -> list[ColumnElement[int]]:
    state = _state()
    held = [state == name for name in STATES] + [mark_holds(name, asked) for name in MARKS]
    return [func.coalesce(func.sum(case((one, 1), else_=0)), 0) for one in held]


def _state() -> ColumnElement[str]:
    in_danger = select(DangerRow.machine).where(DangerRow.machine.is_not(None))
    down = select(TicketRow.machine).where(
        TicketRow.state == "open", TicketRow.solved.is_(False), TicketRow.machine.is_not(None)
    )
    going_on = _INSTALLS.c.machine.is_not(None), _INSTALLS.c.state.not_in(("live", "canceled"))
    set_up = select(_INSTALLS.c.machine).where(*going_on)
    return case(
        (MachineRow.serial.in_(in_danger), "danger"),
        (MachineRow.serial.in_(down), "down"),
        (or_(MachineRow.commissioned_on.is_(None), MachineRow.serial.in_(set_up)), "installing"),
        else_="live",
    )


def mark_holds(mark: str, asked: Asked) -> ColumnElement[bool]:
    """Whether a machine, joined to its site, has the mark."""
    match mark:
        case "care_overdue":
            return exists().where(LastCareRow.serial == MachineRow.serial, before(asked.care_since))
        case "care_unknown":
            return and_(
                MachineRow.site_id.is_not(None), ~exists().where(LastCareRow.serial == MachineRow.serial)
            )
        case "warranty_ending":
            return or_(false(), *map(_ends, asked.endings))
        case _:
            visits = select(func.count()).where(RepairRow.serial == MachineRow.serial)
            return visits.where(RepairRow.at >= asked.visits_since).scalar_subquery() >= REPEATED


def before(moments: Mapping[tuple[str, str], datetime]) -> ColumnElement[bool]:
    """Whether a task was last done before the moment that stands for it and the site's time zone."""
    return or_(
        false(),
        *(
            and_(LastCareRow.task == task, SiteRow.timezone == zone, LastCareRow.at < moment)
            for (task, zone), moment in moments.items()
        ),
    )


def _ends(ending: Ending) -> ColumnElement[bool]:
    shipped = MachineRow.shipped_on
    start = shipped if ending.from_ship_date else func.coalesce(MachineRow.commissioned_on, shipped)
    by_the_end = start <= ending.last
    where = [start >= ending.first]
    if ending.capped_first is not None and ending.capped_last is not None:
        where.append(shipped >= ending.capped_first)
        by_the_end = or_(by_the_end, shipped <= ending.capped_last)
    if ending.models:
        where.append(MachineRow.model.in_(sorted(ending.models)))
    elif ending.other_models:
        where.append(MachineRow.model.not_in(sorted(ending.other_models)))
    return and_(*where, by_the_end)
