"""A ticket, an event and a machine as the API's JSON."""

from __future__ import annotations

from typing import Any

from triage.fact_values import write_value
from triage.programme import MachineView
from triage.ticket import Event, Ticket


def ticket_json(ticket: Ticket) -> dict[str, Any]:
    return {
        "ticket": ticket.id,
        "version": ticket.version,
        "state": ticket.state,
        "opened_at": ticket.opened_at.isoformat(),
        "changed_at": ticket.changed_at.isoformat(),
        "opened_by": ticket.opened_by,
        "machine": ticket.machine,
        "site": ticket.site,
        "contractor": ticket.contractor,
        "outcome": ticket.outcome,
        "report": ticket.report,
        "decision": ticket.decision,
        "closed": ticket.closed,
    }


def ticket_row(ticket: Ticket) -> dict[str, Any]:
    """A line of the list: without the report and the decision's numbers."""
    whole = ticket_json(ticket)
    for name in ("report", "decision", "closed"):
        del whole[name]
    return whole | {"symptoms": ticket.report.get("symptoms", [])}


def event_json(event: Event) -> dict[str, Any]:
    return {
        "seq": event.seq,
        "kind": event.kind,
        "at": event.at.isoformat(),
        "who": event.who,
        "rulebook": event.rulebook,
        "payload": event.payload,
    }


def machine_json(view: MachineView) -> dict[str, Any]:
    machine, site = view.machine, view.machine.site
    return {
        "serial": machine.serial,
        "model": machine.model,
        "asset_tag": machine.asset_tag,
        "shipped_on": machine.shipped_on.isoformat(),
        "commissioned_on": machine.commissioned_on and machine.commissioned_on.isoformat(),
        "contractor": machine.contractor,
        "price": machine.price and f"{machine.price.amount} {machine.price.currency.code}",
        "site": site
        and {
            "id": site.id,
            "name": site.name,
            "town": site.town,
            "timezone": site.timezone,
            "phone": site.phone,
        },
        "facts": {name: write_value(value) for name, value in machine.facts.items()},
        "care": [
            {"kind": event.kind, "at": event.at.isoformat(), "by": event.by} for event in view.history.care
        ],
        "repairs": [
            {
                "at": repair.at.isoformat(),
                "ticket": repair.ticket,
                "cause": repair.cause,
                "cost": f"{repair.cost.amount} {repair.cost.currency.code}",
            }
            for repair in view.history.repairs
        ],
        "tickets": [ticket_row(ticket) for ticket in view.tickets],
    }
