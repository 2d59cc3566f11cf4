"""What every page of a ticket shows, whatever is done on it: what is decided, known and dangerous."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from api.desk import call_view as desk_view
from api.desk import danger_view
from api.desk.board import board, dangers_asked
from api.http.auth import caller, service
from api.pages import choices
from api.pages import history as logged
from api.pages.words import titled
from triage.records.payloads import Parked
from triage.records.ticket import Event, Ticket
from triage.service import calls, machines
from triage.service.photos import kept
from triage.values.errors import Problem

LEFT = ("nte", "spent_on_ticket", "spent_12_months", "headroom")


def call_now(ticket_id: str) -> tuple[calls.Call, Mapping[str, Any] | None]:
    """A call whose decision says what is left of its limit now, and the machine's limits for it.

    Since it was decided money may have been spent on the machine. None where no limit is to be told.
    """
    call = calls.call(service(), ticket_id, caller())
    found = call.ticket
    if found.machine is None or found.state != "open" or found.decision is None:
        return call, None
    limits = machines.limits(service(), found.machine, None, None, caller(), found.id)
    left = {name: limits["limit"][name] for name in LEFT}
    decision = {**found.decision, "limit": {**found.decision["limit"], **left}}
    return replace(call, ticket=replace(found, decision=decision)), limits


def shell(call: calls.Call, problems: tuple[Problem, ...] = (), since: int | None = None) -> dict[str, Any]:
    """What every page of a ticket shows: the bar, the dangers, who else is there, and what was refused.

    `since` is the version that a refused step was meant for.
    """
    rulebook, found = service().rulebook, call.ticket
    site = machines.site_of(service(), found)
    zone = machines.zone_of(service(), site)
    rows = logged.history(rulebook, call.log, zone)
    return {
        "board": board(rulebook, found, site, zone, service().now()),
        "dangers": danger_view.danger_rows(rulebook, found.dangers.standing, found.id),
        "reasons": danger_view.misread_reasons(),
        "closed": danger_view.closed_lines(rulebook, found),
        "stopped": danger_view.stopped(found.decision or {}),
        "waits": danger_view.waits(rulebook, found),
        "ticket": found,
        "decision": found.decision or {},
        "zone": zone,
        "notes": desk_view.notes(found, call.log),
        "photos": kept.photos(service(), found.id, caller()),
        "others": calls.others_on(service(), found.id, caller()),
        "problems": problems,
        "changed": _changed(rows, since, found),
        "undoable": logged.undoable(rulebook, call.log, zone),
        "facts": desk_view.facts(rulebook, found, call.log),
        "dangers_asked": dangers_asked(rulebook, found),
        "knows_nothing": calls.knows_nothing(call.log),
        "history": rows,
        "closed_facts": [fact for fact in rulebook.facts if _near_closed(found, fact)],
        "askable": titled(each for each in choices.askable(rulebook) if not _near_closed(found, each.id)),
        "checks": titled(choices.store_checks(rulebook)),
    }


def _near_closed(found: Ticket, fact: str) -> bool:
    return danger_view.near_closed(service().rulebook, found.decision or {}, fact)


def parked_for(call: calls.Call) -> str | None:
    """The check whose result is waited for, "" for something else; None where nothing is."""
    if call.ticket.parked_until is None:
        return None
    waits = (event.payload.check for event in reversed(call.log) if isinstance(event.payload, Parked))
    return next(waits, None)


def _changed(
    rows: Sequence[logged.HistoryRow], since: int | None, found: Ticket
) -> tuple[tuple[Event, str], ...]:
    """What happened after the version that a refused step was meant for."""
    if since is None or since >= found.version:
        return ()
    return tuple(
        (row.event, f"{row.words}: {row.text}".rstrip(": "))
        for row in rows
        if row.event.seq > since and row.event.kind != "decided"
    )
