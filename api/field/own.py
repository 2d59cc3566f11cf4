"""The technician's start: own tickets by the time they are due, and a machine found however it is spelled."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.field.limit_view import glance
from api.http.auth import caller, page_roles, service
from triage.inputs.machine_search import WHOLE, find_machines, index_machines
from triage.service import machines, tickets
from triage.values.errors import NotFoundError

blueprint = Blueprint("field_own", __name__, url_prefix="/field")
MOST, MOST_FOUND = 200, 8


@blueprint.get("")
@page_roles("technician")
def start() -> ResponseReturnValue:
    return render_template(
        "field/own.html",
        tickets=machines.own_tickets(service(), caller(), MOST),
        query="",
        found=(),
    )


@blueprint.get("/find")
@page_roles("technician")
def find() -> ResponseReturnValue:
    """A ticket's number, a serial in any spelling, an asset tag, a store: straight there where it is sure."""
    query = request.args.get("q", "").strip()[:80]
    try:
        ticket = tickets.ticket(service(), query.upper().replace(" ", ""), caller()).id if query else None
    except NotFoundError:
        ticket = None
    if ticket is not None:
        return redirect(url_for("field_ticket.page", ticket_id=ticket), 303)
    serial = machines.as_recorded(service(), query, caller())
    found = find_machines(index_machines(machines.own_machines(service(), caller())), query, MOST_FOUND)
    sure = {each.machine.serial for each in found if each.score >= WHOLE}
    if serial != query or query in {each.machine.serial for each in found}:
        sure = {serial}
    if len(sure) == 1:
        return redirect(url_for("field_own.machine", serial=sure.pop()), 303)
    return render_template("field/found.html", query=query, found=found)


@blueprint.get("/machines/<serial>")
@page_roles("technician")
def machine(serial: str) -> ResponseReturnValue:
    """What may be spent on a machine without a ticket, and its open tickets."""
    view = machines.machine(service(), serial, caller())
    seen, warranty = glance(service(), serial, caller(), None)
    return render_template(
        "field/machine.html",
        view=view,
        seen=seen,
        warranty=warranty,
    )
