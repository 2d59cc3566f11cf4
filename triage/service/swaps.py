"""The exchange of a ticket's machine: a depot unit is set aside, and the exchange is confirmed.

Only where the decision is to exchange. It is due as the decision says, like an urgent service call, and the
visit for it is scheduled as any other (`triage.service.visits`).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from triage.inputs.reader import InputReader
from triage.records.caller import Caller
from triage.records.custody import (
    DISPOSITIONS,
    TAKEN_OUT,
    CustodyEvent,
    DepotUnit,
    Match,
    exchange,
    match,
    match_units,
    step_words,
)
from triage.records.payloads import Swapped, SwapReserved
from triage.records.report import Machine, timezone_of
from triage.records.ticket import Ticket
from triage.service.changes import append, refuse_stale, seen_ticket
from triage.service.service import Service
from triage.store import Work
from triage.values.dataclass_json import as_data
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.shown import hint
from triage.values.time_zones import zone_named


@dataclass(frozen=True, slots=True)
class SwapView:
    """`refused` says why nothing can be set aside, and is None where it can. `units` come best first."""

    ticket: Ticket
    refused: str | None
    reserved: str | None
    units: tuple[Match, ...]
    custody: tuple[CustodyEvent, ...]


def swap(service: Service, ticket_id: str, viewer: Caller) -> SwapView:
    """What can be sent for the ticket's machine, and who had the serials of this exchange when."""
    with service.store.read() as work:
        return _view(service, work, seen_ticket(work, ticket_id, viewer), viewer)


def reserve(
    service: Service, ticket_id: str, data: Mapping[str, Any], who: Caller, if_version: int | None = None
) -> SwapView:
    """`{"unit": serial}` sets the unit aside and sends it on its way; null takes that back.

    Another unit takes the place of the one set aside before, which is at its depot again. Raises InputError
    for a unit that does not fit, ConflictError for one that is taken or where nothing is to be exchanged.
    """
    reader = InputReader(service.rulebook)
    reader.mapping(data, "", ("unit",), "a swap to come")
    if "unit" not in data:
        reader.problem("name the depot unit by its serial, or null to take it back", "/unit")
    serial = reader.name(data.get("unit"), "/unit")
    reader.finish()
    with service.store.write() as work:
        ticket = seen_ticket(work, ticket_id, who)
        refuse_stale(work, ticket, if_version)
        before = work.depot.on_the_way_for(ticket.id)
        if serial is None and before is None:
            raise ConflictError([Problem("no unit is set aside for this ticket", "/unit")])
        unit = None if serial is None else _free_unit(service, work, ticket, serial)
        now = service.now()
        if before is not None:
            home = work.depot.get(before.serial)
            work.depot.add(
                CustodyEvent(home.serial, "at_depot", now, who.name, ticket.id, ticket.machine, home.depot)
            )
        if unit is not None:
            work.depot.add(
                CustodyEvent(unit.serial, "on_the_way", now, who.name, ticket.id, ticket.machine, unit.depot)
            )
        reserved = SwapReserved(
            serial, None if unit is None else unit.depot, None if before is None else before.serial
        )
        changed = append(service, ticket.id, reserved, who, if_version)
        return _view(service, work, changed, who)


def confirm(
    service: Service, ticket_id: str, data: Mapping[str, Any], who: Caller, if_version: int | None = None
) -> SwapView:
    """`{"old_unit": refurbish | scrap | return, "at"}`: the unit set aside stands in the old one's place.

    Now, unless a time is given. Raises InputError for a time to come or before the unit was sent,
    ConflictError where none was.
    """
    reader = InputReader(service.rulebook)
    reader.mapping(data, "", ("old_unit", "at"), "a finished swap")
    wanted = data.get("old_unit")
    disposition = next((one for one in DISPOSITIONS if one == wanted), None)
    if disposition is None:
        reader.problem(f"say what becomes of the old unit: {', '.join(DISPOSITIONS)}", "/old_unit")
    now = service.now()
    at = now if data.get("at") is None else reader.moment(data["at"], "/at")
    if at > now:
        reader.problem(f"{at.isoformat()} has not come yet", "/at")
    reader.finish()
    assert disposition is not None
    with service.store.write() as work:
        ticket = seen_ticket(work, ticket_id, who)
        refuse_stale(work, ticket, if_version)
        old = _to_exchange(work, ticket)
        sent = work.depot.on_the_way_for(ticket.id)
        if sent is None:
            raise ConflictError("no unit is set aside for this ticket; set one aside first")
        if at < sent.at:
            message = f"{at.isoformat()} is before {sent.serial} was sent, {sent.at.isoformat()}"
            raise InputError([Problem(message, "/at")])
        unit = work.depot.get(sent.serial)
        done = exchange(old, unit, _known(work, unit.serial), disposition, ticket.id, at, who.name)
        work.machines.put_machines([done.installed, done.taken_out])
        for event in done.custody:
            work.depot.add(event)
        swapped = Swapped(old.serial, unit.serial, disposition, at)
        changed = append(service, ticket.id, swapped, who, if_version)
        return _view(service, work, changed, who)


def _to_exchange(work: Work, ticket: Ticket) -> Machine:
    """The machine that is to be exchanged; ConflictError with the reason where none is."""
    refused = _refused(work, ticket)
    if refused is not None or ticket.machine is None:
        raise ConflictError(refused or "the ticket names no machine")
    return work.machines.get(ticket.machine)


def _refused(work: Work, ticket: Ticket) -> str | None:
    if ticket.state == "closed":
        return f"ticket {ticket.id} is closed; reopen it first"
    if ticket.machine is None:
        return "the ticket names no machine; say which one it is, and it is redecided"
    chain = work.depot.chain(ticket.machine)
    if chain and chain[-1].step in TAKEN_OUT:
        return f"{ticket.machine} was swapped already and is {step_words(chain[-1].step)}"
    if ticket.outcome != "swap":
        return f"the decision is {ticket.outcome or 'not made'}, not swap; nothing is swapped"
    return None


def _free_unit(service: Service, work: Work, ticket: Ticket, serial: str) -> DepotUnit:
    machine = _to_exchange(work, ticket)
    try:
        unit = work.depot.get(serial)
    except NotFoundError:
        known = [one.serial for one in work.depot.at_depot()]
        raise InputError([Problem(f'no depot unit "{serial[:60]}"{hint(serial, known)}', "/unit")]) from None
    last = work.depot.chain(serial)[-1].step
    if last != "at_depot":
        raise ConflictError([Problem(f"{serial} is taken: {step_words(last)}", "/unit")])
    reasons = match(unit, machine, _today(service, machine)).reasons
    if reasons:
        raise InputError([Problem(f"{serial} does not fit: {reason}", "/unit") for reason in reasons])
    return unit


def _known(work: Work, serial: str) -> Machine | None:
    try:
        return work.machines.get(serial)
    except NotFoundError:
        return None


def _today(service: Service, machine: Machine) -> date:
    return service.now().astimezone(zone_named(timezone_of(machine))).date()


def _view(service: Service, work: Work, ticket: Ticket, viewer: Caller) -> SwapView:
    refused = _refused(work, ticket)
    units: tuple[Match, ...] = ()
    if refused is None:
        machine = _to_exchange(work, ticket)
        units = match_units(work.depot.at_depot(), machine, _today(service, machine))
    sent = work.depot.on_the_way_for(ticket.id)
    custody = _custody(work, ticket, viewer)
    return SwapView(ticket, refused, None if sent is None else sent.serial, units, custody)


def _custody(work: Work, ticket: Ticket, viewer: Caller) -> tuple[CustodyEvent, ...]:
    """Every step of the serials of this exchange; a technician sees none of another ticket's."""
    serials = [event.serial for event in work.depot.of_ticket(ticket.id)]
    serials += [] if ticket.machine is None else [ticket.machine]
    steps = [event for serial in dict.fromkeys(serials) for event in work.depot.chain(serial)]
    return tuple(event for event in steps if viewer.role != "technician" or event.ticket in (None, ticket.id))


def swap_as_data(view: SwapView) -> dict[str, Any]:
    """The view as JSON data."""
    visit = view.ticket.decided.visit if view.ticket.outcome == "swap" else None
    return {
        "ticket": view.ticket.id,
        "machine": view.ticket.machine,
        "refused": view.refused,
        "priority": None if visit is None else visit.priority,
        "due": None if visit is None else visit.due.isoformat(),
        "reserved": view.reserved,
        "units": [_match_as_data(one) for one in view.units],
        "custody": [as_data(event) for event in view.custody],
    }


def _match_as_data(one: Match) -> dict[str, Any]:
    said = {"unit": one.unit.serial, "fits": one.fits}
    return as_data(one.unit) | said | {"reasons": list(one.reasons), "to_check": list(one.to_check)}
