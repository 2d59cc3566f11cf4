"""The technician's ticket on a phone: the limit, an estimate priced as it is typed, the close-out.

Each form carries a key of its own, so that what a bad line makes a browser send twice happens once.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from typing import Any

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.field.limit_view import Glance, glance
from api.http.auth import caller, page_roles, service
from api.http.problems import status_of
from api.pages.bill_form import filled, lines_of, placed, rows_shown, typed_number
from api.pages.sent_once import sent_once
from api.pages.sign_in import DESK
from api.pages.texts import gettext
from api.pages.words import titled
from triage.inputs.photo import MOST_BYTES
from triage.records.authorization import open_authorization
from triage.records.payloads import Estimated
from triage.records.ticket import Ticket
from triage.repairs.close_out import NO_FAULT_FOUND
from triage.service import machines, repairs, requests, tickets, visits
from triage.service.outgoing import ask
from triage.service.photos import kept
from triage.values.errors import InputError, NotFoundError, Problem

blueprint = Blueprint("field_ticket", __name__, url_prefix="/field/tickets/<ticket_id>")
Data = dict[str, Any]


@blueprint.get("")
@page_roles("technician")
def page(ticket_id: str) -> ResponseReturnValue:
    return _page(_ticket(ticket_id))


@blueprint.post("/price")
@page_roles("technician")
def price(ticket_id: str) -> ResponseReturnValue:
    """The estimate priced: a part of the page for scripts, else the page with what was typed."""
    ticket, data = _ticket(ticket_id), _estimate(request.form)
    wrong: tuple[Problem, ...] = ()
    priced: Estimated | None = None
    try:
        priced = repairs.price(service(), ticket.id, data, caller())
    except InputError as error:
        wrong = _placed(error)
    if "part" in request.args:
        return render_template(
            "field/_priced.html", priced=priced, priced_seen=_seen(ticket, priced), problems=wrong
        )
    return _page(ticket, wrong, request.form, priced=priced)


@blueprint.post("/estimate")
@page_roles("technician", keeps=True)
def estimate(ticket_id: str) -> ResponseReturnValue:
    ticket, data = _ticket(ticket_id), _estimate(request.form)
    return _once(ticket, data, lambda: repairs.estimate(service(), ticket.id, data, caller()))


@blueprint.post("/close")
@page_roles("technician", keeps=True)
def close(ticket_id: str) -> ResponseReturnValue:
    ticket, data = _ticket(ticket_id), _closing(ticket_id, request.form)
    return _once(ticket, data, lambda: repairs.close(service(), ticket.id, data, caller()), closing=True)


@blueprint.post("/photos")
@page_roles("technician")
def add_photo(ticket_id: str) -> ResponseReturnValue:
    """One photo; sent again by a bad line it is the one that is there."""
    request.max_content_length = MOST_BYTES
    ticket, sent = _ticket(ticket_id), request.files.get("photo")
    try:
        if not sent:
            raise InputError([Problem(gettext("Choose a photo first."), "/photo")])
        kept.add(service(), ticket.id, sent.read(), caller())
    except InputError as error:
        return _page(ticket, error.told), status_of(error)
    return redirect(url_for("field_ticket.page", ticket_id=ticket.id), 303)


@blueprint.get("/photos/<int:number>")
@page_roles("technician", *DESK)
def photo(ticket_id: str, number: int) -> Response:
    return Response(kept.image(service(), ticket_id, number, caller()), content_type="image/jpeg")


@blueprint.post("/ask")
@page_roles("technician")
def ask_authority(ticket_id: str) -> ResponseReturnValue:
    """Sends the question to who may answer it; the technician never sees the link."""
    ticket = _ticket(ticket_id)
    try:
        asked = ask.ask(service(), ticket.id, caller())
    except InputError as error:
        return _page(ticket, error.told), 409
    names = ", ".join(dict.fromkeys(one.person for one in asked))
    return _page(ticket, told=gettext("%(names)s was asked by e-mail.", names=names))


def _ticket(ticket_id: str) -> Ticket:
    return tickets.ticket(service(), ticket_id, caller())


def _seen(ticket: Ticket, priced: Estimated | None) -> Glance | None:
    """The limit with what is typed; None where nothing is priced, or there is no machine."""
    if priced is None or ticket.machine is None:
        return None
    return glance(service(), ticket.machine, caller(), ticket, priced)[0]


def _estimate(form: Mapping[str, str]) -> Data:
    return {
        "lines": lines_of(form, service().rulebook.currency),
        **_said(form, "cause", "note"),
        **({"after_hours": form["hours"] == "after"} if form.get("hours") in ("after", "day") else {}),
    }


def _closing(ticket_id: str, form: Mapping[str, str]) -> Data:
    data = _estimate(form) | _said(form, "cured_by", "authorization")
    if on_site := form.get("on_site", "").strip():
        data["hours"] = typed_number(on_site)
    if photos := kept.photos(service(), ticket_id, caller()):
        data["photos"] = [f"photo-{one.number}" for one in photos]
    return data | ({"made_safe": True} if form.get("made_safe") else {})


def _said(form: Mapping[str, str], *names: str) -> Data:
    return {name: text for name in names if (text := form.get(name, "").strip())}


def _placed(error: InputError) -> tuple[Problem, ...]:
    return tuple(placed(problem, request.form, service().rulebook.currency) for problem in error.told)


def _once(
    ticket: Ticket, data: Data, act: Callable[[], Ticket], closing: bool = False
) -> ResponseReturnValue:
    """Carries a form out once by its key; sent again it leads to the same page."""
    if "look" in request.form:  # after a sign-in
        return _page(ticket, typed=request.form, closing=closing)
    target = url_for("field_ticket.page", ticket_id=ticket.id)

    def action() -> requests.Response:
        after = act()
        if closing and after.state == "open":
            message = gettext(
                "Not closed: your words tell of a danger. It stands open until it is made safe."
            )
            return requests.Response(409, {"message": message}, {})
        return requests.Response(303, {}, {})

    try:
        done = sent_once(data, action)
    except NotFoundError:
        raise
    except InputError as error:
        return _page(_ticket(ticket.id), _placed(error), request.form, closing=closing), status_of(error)
    if done.status == 409:
        return _page(
            _ticket(ticket.id), (Problem(str(done.body["message"])),), request.form, closing=True
        ), 409
    return redirect(target, 303)


def _page(
    ticket: Ticket,
    problems: tuple[Problem, ...] = (),
    typed: Mapping[str, str] | None = None,
    *,
    priced: Estimated | None = None,
    closing: bool = False,
    told: str = "",
) -> str:
    rulebook, now = service().rulebook, service().now()
    view = None if ticket.machine is None else machines.machine(service(), ticket.machine, caller())
    site = None if view is None else view.machine.site
    seen, warranty = (
        (None, []) if ticket.machine is None else glance(service(), ticket.machine, caller(), ticket)
    )
    repair, known = ticket.repair, visits.visits(service(), ticket.id, caller())
    last = filled(repair.estimate.bill.lines) if repair.estimate is not None else {"trip": "1"}
    form = typed or {}
    return render_template(
        "field/ticket.html",
        ticket=ticket,
        site=site,
        zone="UTC" if site is None else site.timezone,
        seen=seen,
        warranty=warranty,
        decision=ticket.decision or {},
        decided=ticket.decided,
        authorization=open_authorization(repair, now),
        waits=repair.waiting is not None,
        visit=next((one for one in reversed(known) if one.state != "done"), None),
        photos=kept.photos(service(), ticket.id, caller()),
        mail=bool(service().outgoing.mail),
        estimating=form if typed and not closing else {"trip": "1", **last},
        closed_with=form
        if typed and closing
        else {**last, "cause": repair.estimate.cause if repair.estimate else ""},
        more=3 if "more" in request.form else 1,
        rows_shown=rows_shown,
        closing=closing,
        priced=priced,
        priced_seen=_seen(ticket, priced),
        told=told,
        problems=problems,
        key=secrets.token_hex(16),
        causes=titled(rulebook.causes.values()),
        checks=titled(rulebook.checks.values()),
        no_fault=NO_FAULT_FOUND,
    )
