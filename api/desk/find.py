"""Find the machine or the ticket; the machine's record at a glance, and a report begun by one key."""

from secrets import token_urlsafe

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.desk.danger_view import danger_rows
from api.desk.machine_year import calls_lately, year_of
from api.desk.record_view import record_of
from api.http.auth import caller, page_roles, service
from api.pages.places import place_words
from api.pages.search import finder
from api.pages.sign_in import DESK
from api.pages.texts import tell
from api.pages.words import title_words
from triage.inputs.machine_search import WHOLE
from triage.service import machines, tickets
from triage.values.errors import NotFoundError

blueprint = Blueprint("desk_find", __name__)
MOST_TICKETS = 6


@blueprint.get("/find")
@page_roles(*DESK)
def find() -> ResponseReturnValue:
    """Machines, and tickets open or closed; with `part` only what was found, for the search while typing."""
    query = request.args.get("q", "").strip()[:80]
    found = finder().find(query) if query else ()
    open_now = machines.open_dangers(service(), [each.machine.serial for each in found])
    dangers = {
        serial: [title_words(service().rulebook.cautions, danger.caution) for danger in rows]
        for serial, rows in open_now.items()
    }
    shown = {"query": query, "found": found, "dangers": dangers, "rulebook": service().rulebook}
    shown["tickets"] = tickets.listed(service(), "all", {"words": query}, limit=MOST_TICKETS) if query else ()
    if "part" in request.args:
        return render_template("_found.html", **shown)
    ticket = _ticket(query)
    if ticket is not None:
        return redirect(url_for("desk_call.ticket", ticket_id=ticket), 303)
    sure = [each for each in found if each.score >= WHOLE]
    if len(sure) == 1:
        return redirect(url_for("desk_find.machine", serial=sure[0].machine.serial), 303)
    return render_template("find.html", **shown)


def _ticket(query: str) -> str | None:
    """The ticket with this number, however it is written; None where there is none."""
    try:
        return tickets.ticket(service(), query.upper().replace(" ", ""), caller()).id if query else None
    except NotFoundError:
        return None


@blueprint.get("/machines/<serial>")
@page_roles(*DESK)
def machine(serial: str) -> ResponseReturnValue:
    view = machines.machine(service(), serial, caller())
    limits = machines.limits(service(), serial, None, None, caller())
    found = {id_: each for id_, each in service().rulebook.symptoms.items() if not each.says_little}
    open_tickets = [
        (ticket, machines.limits(service(), serial, None, None, caller(), ticket.id)["limit"])
        for ticket in view.tickets
        if ticket.state == "open"
    ]
    return render_template(
        "machine.html",
        once=token_urlsafe(12),
        common=[found[id_] for id_ in tickets.symptoms_lately(service()) if id_ in found][:9],
        record=record_of(service(), view, limits=limits),
        dangers=danger_rows(service().rulebook, view.dangers),
        taken_out=view.taken_out,
        open_tickets=open_tickets,
        calls_lately=calls_lately(view.tickets, service().now()),
        came_back=list(map(tell, machines.came_back(service(), view))),
        year=year_of(service().rulebook, view, service().now()),
        known={ticket.id for ticket in view.tickets},
        place_words=place_words(),
    )
