"""A ticket, an event and a machine as the API's JSON."""

from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from typing import Any

from api.http.conditional import etag
from triage.records.danger import Danger
from triage.records.ticket import Event, Ticket
from triage.rulebook.fact_values import write_value
from triage.service.machines import KEPT_DAYS, MachineView, TaskCare
from triage.values.dataclass_json import as_data
from triage.values.errors import InputError, Problem
from triage.values.time_zones import moment_of


def moment_in_query(text: str, name: str) -> datetime:
    """A time of a query; InputError names the parameter."""
    try:
        return moment_of(text)
    except ValueError as error:
        raise InputError([Problem(str(error), f"query:{name}")]) from None


def ticket_json(ticket: Ticket) -> dict[str, Any]:
    return {
        "ticket": ticket.id,
        "version": ticket.version,
        "state": ticket.state,
        "opened_at": ticket.opened_at.isoformat(),
        "changed_at": ticket.changed_at.isoformat(),
        "opened_by": ticket.opened_by,
        "follows": ticket.follows,
        "machine": ticket.machine,
        "site": ticket.site,
        "contractor": ticket.contractor,
        "outcome": ticket.outcome,
        "priority": ticket.priority,
        "skill": ticket.skill,
        "dangers": [danger_json(danger, ticket.id) for danger in ticket.dangers.standing],
        "report": ticket.report,
        "decision": ticket.decision,
        "closed": None if ticket.closed is None else as_data(ticket.closed),
        "repair": as_data(ticket.repair),
    }


def with_etag(
    ticket: Ticket, shown: Callable[[Ticket], dict[str, Any]] = ticket_json
) -> tuple[dict[str, Any], dict[str, str]]:
    """A body and the headers beside it."""
    return shown(ticket), {"ETag": etag(ticket.version)}


def estimate_json(ticket: Ticket) -> dict[str, Any]:
    """The ticket with the answer to its last estimate on top."""
    shown = ticket_json(ticket)
    estimate = shown["repair"]["estimate"]
    return shown | {
        "answer": estimate["answer"],
        "reasons": estimate["reasons"],
        "ask": estimate["ask"],
        "estimate": estimate,
        "authorization": shown["repair"]["authorization"] if estimate["answer"] == "approve" else None,
    }


def ticket_row(ticket: Ticket) -> dict[str, Any]:
    """A line of the list: without the report and the decision's numbers."""
    whole = ticket_json(ticket)
    for name in ("report", "decision", "closed", "repair"):
        del whole[name]
    cautions = dict.fromkeys(danger.caution for danger in ticket.dangers.standing)
    return whole | {"symptoms": ticket.report.get("symptoms", []), "dangers": list(cautions)}


def danger_json(danger: Danger, ticket: str) -> dict[str, Any]:
    """A danger that stands open, with the ticket that it was raised on: `ticket`, unless it says another."""
    return danger.as_data() | {"ticket": danger.ticket or ticket}


def event_json(event: Event) -> dict[str, Any]:
    return {
        "seq": event.seq,
        "kind": event.kind,
        "at": event.at.isoformat(),
        "who": event.who,
        "rulebook": event.rulebook,
        "payload": as_data(event.payload),
    }


def machine_json(view: MachineView) -> dict[str, Any]:
    machine, site = view.machine, view.machine.site
    shown_of_site = ("id", "name", "town", "timezone", "phone")
    return as_data(machine) | {
        "site": site and {name: getattr(site, name) for name in shown_of_site},
        "facts": {name: write_value(value) for name, value in machine.facts.items()},
        "care": [as_data(event) for event in view.history.care],
        "care_due": {"filter": _task_json(view.care.filter), "full_clean": _task_json(view.care.full_clean)},
        "findings": [asdict(finding) for finding in view.findings],
        "repairs": [as_data(repair) for repair in view.history.repairs],
        "dangers": [danger.as_data() for danger in view.dangers],
        "tickets": [ticket_row(ticket) for ticket in view.tickets],
    }


def _task_json(care: TaskCare | None) -> dict[str, Any] | None:
    if care is None:
        return None
    kept, share = care.kept, care.kept.share_kept
    due = {name: value for name, value in as_data(care.due).items() if name != "task"}
    return due | {
        f"last_{KEPT_DAYS}_days": {
            "days_known": kept.days,
            "days_kept": kept.days_kept,
            "share_kept": None if share is None else write_value(round(share, 4)),
            "times": kept.times,
            "times_late": kept.times_late,
            "longest_overdue_days": kept.longest_overdue_days,
        },
    }
