"""Sites, contractors and machines: the record, brought up to date by loading."""

from collections.abc import Collection, Iterable
from dataclasses import fields, replace

from sqlalchemy import ColumnElement, bindparam, func, select
from sqlalchemy.orm import Session

from triage.records.report import Machine, Site
from triage.schedule.contractors import Contractor
from triage.store.tables.derived.judged import Judged
from triage.store.tables.models import ContractorRow, MachineRow, SiteRow
from triage.values.errors import NotFoundError

__all__ = ["Contractor", "Machines"]


_MARKS = " -_./"
"""What people leave out of a serial, or put in."""


def _column(name: str) -> str:
    """The column of a field of Machine."""
    return "contractor_id" if name == "contractor" else name


_SITES, _MACHINES = SiteRow.__table__, MachineRow.__table__
_MACHINE = tuple(field.name for field in fields(Machine) if field.name != "site")
_ONE = (
    select(
        *(_MACHINES.c[_column(name)] for name in _MACHINE),
        *(_SITES.c[field.name] for field in fields(Site)),
    )
    .select_from(_MACHINES.outerjoin(_SITES, _MACHINES.c.site_id == _SITES.c.id))
    .where(_MACHINES.c.serial == bindparam("serial"))
)
"""A machine and its site at once, as plain columns: they are asked for with every report."""


class Machines:
    def __init__(self, session: Session) -> None:
        self._session = session

    def get(self, serial: str) -> Machine:
        found = self._session.connection().execute(_ONE, {"serial": serial}) if serial.isprintable() else None
        row = None if found is None else found.first()
        if row is None:
            raise NotFoundError(f'no machine with the serial "{serial}"')
        site = row[len(_MACHINE) :]
        record = dict(zip(_MACHINE, row, strict=False))
        return Machine(**record, site=None if site[0] is None else Site(*site))

    def spelled_like(self, serial: str, contractor: str | None = None) -> tuple[str, ...]:
        """The serials, one contractor's or all, that differ from this one in case, blanks and marks only."""
        column, plain = func.upper(MachineRow.serial), serial.upper()
        for mark in _MARKS:
            column, plain = func.replace(column, mark, ""), plain.replace(mark, "")
        return self._serials(contractor, column == plain)

    def serials(self, contractor: str | None = None) -> tuple[str, ...]:
        """All serials, or one contractor's."""
        return self._serials(contractor)

    def _serials(self, contractor: str | None, *where: ColumnElement[bool]) -> tuple[str, ...]:
        query = select(MachineRow.serial).where(*where).order_by(MachineRow.serial)
        if contractor is not None:
            query = query.where(MachineRow.contractor_id == contractor)
        return tuple(self._session.scalars(query))

    def site(self, site_id: str) -> Site:
        row = self._session.get(SiteRow, site_id)
        if row is None:
            raise NotFoundError(f'no site "{site_id}"')
        return row.as_record(Site)

    def all(
        self, contractor: str | None = None, serials: Collection[str] | None = None
    ) -> tuple[Machine, ...]:
        """All machines, one contractor's, or these, by serial."""
        query = select(MachineRow, SiteRow).join(SiteRow, isouter=True).order_by(MachineRow.serial)
        if serials is not None:
            query = query.where(MachineRow.serial.in_(serials))
        if contractor is not None:
            query = query.where(MachineRow.contractor_id == contractor)
        rows = self._session.execute(query)
        return tuple(_machine(row, None if site is None else site.as_record(Site)) for row, site in rows)

    def site_names(self, ids: Collection[str] | None = None) -> dict[str, str]:
        """Of these sites, or of all."""
        query = select(SiteRow.id, SiteRow.name)
        rows = self._session.execute(query if ids is None else query.where(SiteRow.id.in_(ids)))
        return {row[0]: row[1] for row in rows}

    def sites(self, ids: Collection[str] | None = None) -> tuple[Site, ...]:
        """All, or these, by id."""
        query = select(SiteRow).order_by(SiteRow.id)
        rows = self._session.scalars(query if ids is None else query.where(SiteRow.id.in_(ids)))
        return tuple(row.as_record(Site) for row in rows)

    def contractors(self) -> tuple[Contractor, ...]:
        rows = self._session.scalars(select(ContractorRow).order_by(ContractorRow.id))
        return tuple(_contractor(row) for row in rows)

    def put_sites(self, sites: Iterable[Site]) -> None:
        sites = list(sites)
        for site in sites:
            self._session.merge(SiteRow.made_of(site))
        self._session.flush()
        Judged(self._session).forget_at(site.id for site in sites)

    def put_contractors(self, contractors: Iterable[Contractor]) -> None:
        for contractor in contractors:
            lists = {"serves": sorted(contractor.serves), "skills": sorted(contractor.skills)}
            self._session.merge(ContractorRow.made_of(contractor, **lists))
        self._session.flush()

    def put_machines(self, machines: Iterable[Machine]) -> None:
        """Adds machines or brings their record up to date; site and contractor must be there."""
        machines = list(machines)
        for machine in machines:
            site_id = None if machine.site is None else machine.site.id
            record = {_column(name): getattr(machine, name) for name in _MACHINE}
            self._session.merge(MachineRow(**record | {"site_id": site_id, "facts": dict(machine.facts)}))
        self._session.flush()
        Judged(self._session).forget(machine.serial for machine in machines)


def _contractor(row: ContractorRow) -> Contractor:
    found = row.as_record(Contractor)
    return replace(found, serves=frozenset(found.serves), skills=frozenset(found.skills))


def _machine(row: MachineRow, site: Site | None) -> Machine:
    return Machine(**{name: getattr(row, _column(name)) for name in _MACHINE}, site=site)
