"""The pages of a ticket's later life: one page with every way on, each at an address of its own."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any, TypeAlias

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import NotFound

from api.desk import summary
from api.desk.call import sent_version
from api.desk.call_view import asked_next
from api.desk.shell import call_now, parked_for, shell
from api.http.auth import caller, page_roles, service
from api.life import ways
from api.life.forms import Form
from api.pages.bill_form import placed, rows
from api.pages.sign_in import DESK
from api.pages.texts import as_clerks_hear, gettext, speak_as_on
from api.pages.words import title_words, titled
from triage.records.ticket import Ticket
from triage.repairs.close_out import NO_FAULT_FOUND, NOTHING, REPAIR
from triage.service import calls, machines, repairs, swaps, tickets, visits
from triage.service.dangers import may_lift
from triage.service.outgoing import ask
from triage.values.dataclass_json import as_data
from triage.values.errors import ConflictError, ForbiddenError, InputError, NotFoundError, Problem

blueprint = Blueprint("life", __name__)
Act: TypeAlias = Callable[[str, Form, int | None], object]
MOST_IN_MINUTES = 5
PARTS = 4
"""Rows for parts on a form."""


@blueprint.get("/tickets/<ticket_id>/end")
@page_roles(*DESK)
def end(ticket_id: str) -> ResponseReturnValue:
    return _page(ticket_id)


@blueprint.get("/tickets/<ticket_id>/end/<way>")
@page_roles(*DESK)
def one_way(ticket_id: str, way: str) -> ResponseReturnValue:
    if way not in ACTS:
        raise NotFound(gettext("There is no such page of a ticket."))
    return _page(ticket_id, way)


@blueprint.post("/tickets/<ticket_id>/end/<way>")
@page_roles(*DESK, keeps=True)
def go(ticket_id: str, way: str) -> ResponseReturnValue:
    """Does what the form of a way says; when refused, the page keeps what was typed."""
    if way not in ACTS:
        raise NotFound(gettext("There is no such page of a ticket."))
    form, version = _form(ticket_id), sent_version()
    if "look" in request.form:
        return _page(ticket_id, way)
    try:
        ACTS[way](ticket_id, form, version)
    except NotFoundError:
        raise
    except ConflictError as error:
        return _refused(_page(ticket_id, way, _told(error, form), version), 409)
    except InputError as error:
        status = 403 if isinstance(error, ForbiddenError) else 422
        return _refused(_page(ticket_id, way, _told(error, form)), status)
    done = "mail" if form.text("by") == "mail" else way
    return redirect(url_for("life.end", ticket_id=ticket_id, done=done), 303)


def _refused(page: ResponseReturnValue, status: int) -> ResponseReturnValue:
    """The page with that status; where a danger was raised meanwhile, the way to what is read out first."""
    return make_response(page, status) if isinstance(page, str) else page


def _form(ticket_id: str) -> Form:
    found = tickets.ticket(service(), ticket_id, caller())
    zone = machines.zone_of(service(), machines.site_of(service(), found))
    several = {name: request.form.getlist(name) for name in request.form}
    return Form(request.form, several, zone, service().rulebook.currency)


def _told(error: InputError, form: Form) -> tuple[Problem, ...]:
    return tuple(placed(problem, form.fields, form.currency) for problem in error.told)


def _close(ticket_id: str, form: Form, version: int | None) -> None:
    data: dict[str, Any] = {
        **form.chosen(cause="cause", cured_by="cured_by", note="note", authorization="authorization"),
        **form.moment("at"),
        "lines": form.lines(),
        "photos": form.text("photos").split(),
        "made_safe": form.several.get("made_safe", []),
    }
    if form.text("hours"):
        data["hours"] = form.number("hours")
    if repairs.close(service(), ticket_id, data, caller(), version).state == "open":
        message = gettext("Not closed: a danger is heard in these words and stands open now.")
        raise ConflictError([Problem(message, "/note")])


def _book(ticket_id: str, form: Form, version: int | None) -> None:
    data = {"state": "scheduled", **form.chosen(at="at", contractor="contractor", technician="technician")}
    data |= form.chosen(way_in="way_in")
    if form.text("visit"):
        data["visit"] = form.number("visit")
    visits.record_visit(service(), ticket_id, _whole(data), caller(), version)


def _visit(ticket_id: str, form: Form, version: int | None) -> None:
    data = {"state": form.text("state"), "visit": form.number("visit"), **form.moment("at")}
    visits.record_visit(service(), ticket_id, _whole(data), caller(), version)


def _whole(data: Mapping[str, Any]) -> dict[str, Any]:
    """The number of a visit as the service reads it."""
    with suppress(ValueError, KeyError, TypeError):
        return {**data, "visit": int(data["visit"])}
    return dict(data)


def _ask(ticket_id: str, form: Form, version: int | None) -> None:
    if form.text("by") == "mail":
        ask.ask(service(), ticket_id, caller())
        return
    _only_lead()
    data = form.chosen(answer="answer", why="why", person="person", authority="authority")
    if data.get("answer") == "yes_up_to":
        data["amount"] = form.amount("amount")
    asked: dict[str, Any] = {**data, "estimate": form.number("estimate")}
    repairs.approve(service(), ticket_id, asked, caller(), version)


def _call_back(ticket_id: str, form: Form, version: int | None) -> None:
    text = form.text("minutes")
    minutes = int(text) if text.isascii() and text.isdigit() and len(text) <= MOST_IN_MINUTES else 0
    calls.call_back(service(), ticket_id, minutes, caller(), version)


def _swap(ticket_id: str, form: Form, version: int | None) -> None:
    if form.text("old_unit"):
        _only_lead()
        data = {"old_unit": form.text("old_unit"), **form.moment("at")}
        swaps.confirm(service(), ticket_id, data, caller(), version)
    else:
        swaps.reserve(service(), ticket_id, {"unit": form.text("unit") or None}, caller(), version)


def _estimate(ticket_id: str, form: Form, version: int | None) -> None:
    _only_lead()
    data = {"lines": form.lines(), **form.chosen(cause="cause", note="note")}
    repairs.estimate(service(), ticket_id, data, caller(), version)


def _reopen(ticket_id: str, form: Form, version: int | None) -> None:
    repairs.reopen(service(), ticket_id, form.text("why"), caller(), version)


def _only_lead() -> None:
    if caller().role != "ops":
        raise ForbiddenError(gettext("Only the operations lead enters this here."))


ACTS: Mapping[str, Act] = {
    "close": _close,
    "book": _book,
    "ask": _ask,
    "call-back": _call_back,
    "swap": _swap,
    "visit": _visit,
    "estimate": _estimate,
    "reopen": _reopen,
}
"""What the form of each way does."""


def _done() -> Mapping[str, str]:
    return {
        "close": gettext("The ticket is closed."),
        "book": gettext("The visit is booked."),
        "ask": gettext("The answer is kept."),
        "mail": gettext("The question was sent by e-mail."),
        "call-back": gettext("The call back is noted."),
        "swap": gettext("The swap is noted."),
        "visit": gettext("The visit is noted."),
        "estimate": gettext("The estimate is priced and answered."),
        "reopen": gettext("The ticket is open again."),
    }


def _page(
    ticket_id: str, way: str | None = None, problems: tuple[Problem, ...] = (), since: int | None = None
) -> ResponseReturnValue:
    rulebook = service().rulebook
    call, limits = call_now(ticket_id)
    found, decision = call.ticket, call.ticket.decision or {}
    speak_as_on(found.language)
    if found.state == "open" and calls.unread(found):
        return redirect(url_for("desk_call.ticket", ticket_id=found.id), 303)
    machine = None if found.machine is None else machines.machine(service(), found.machine, caller()).machine
    shared = shell(call, problems, since)
    speaks = None if limits is None else limits["limit"]["ask"]
    around = _around(call, summary.Told(found, machine, None, service().now(), shared["zone"]), speaks)
    says = ways.says(around)
    with as_clerks_hear():
        texts = {
            "read_back": summary.read_back(around.told),
            "read_back_english": summary.read_back(around.told, "en"),
            "points": summary.before_hanging_up(rulebook, around.told) if found.state == "open" else (),
            "store_text": summary.store_text(around.told),
            "technician_text": summary.technician_text(rulebook, around.told, shared["facts"]),
        }
    return render_template(
        "end.html",
        work="end",
        ways=ways.ways(around),
        says=says,
        way=way or says,
        days=ways.days(around),
        asked_next=asked_next(rulebook, found),
        asked_for=way is not None,
        around=around,
        written_to=ask.people_to_ask(service(), found.id, caller()) if service().outgoing.mail else (),
        visit=around.told.visit,
        done=_done().get(request.args.get("done", "")),
        who_pays=summary.who_pays(decision) if decision else "",
        rows=rows(PARTS),
        form=request.form,
        causes=_causes(found),
        cured=_cured(found),
        open_number=_open_authorization(found),
        liftable=[row for row in shared["dangers"] if may_lift(rulebook, row.caution, caller())],
        kit=summary.kit_words(rulebook, around.asked.kit) if around.asked else (),
        **texts,
        **shared,
    )


def _around(call: calls.Call, told: summary.Told, speaks: Mapping[str, Any] | None) -> ways.Around:
    found = call.ticket
    known = visits.visits(service(), found.id, caller())
    visit, contractors = known[-1] if known else None, machines.contractors(service())
    sender = contractors.get(visit.contractor or "") if visit else None
    told = replace(
        told,
        visit=visit,
        sends=sender.name if sender else "",
        waits_for=parked_for(call) or "",
        knows_nothing=calls.knows_nothing(call.log),
    )
    around = ways.Around(told, service().rulebook, contractors=contractors)
    if found.state != "open":
        return around
    with suppress(ConflictError):
        times, asked = visits.free_times(service(), found.id, caller())
        around = replace(around, times=times, asked=asked, sends=True)
    waiting = found.repair.waiting
    if waiting is not None and waiting.ask is not None:
        speaks = as_data(waiting.ask)
    return replace(around, ask=speaks, swap=swaps.swap(service(), found.id, caller()))


def _causes(found: Ticket) -> list[tuple[str, str]]:
    """Every cause by its chance now, then that no fault was found: value and title."""
    known = service().rulebook.causes
    ranked = [one["cause"] for one in (found.decision or {}).get("causes", ())]
    order = [*(id_ for id_ in ranked if id_ in known), *(id_ for id_ in known if id_ not in ranked)]
    titled = [(id_, title_words(known, id_)) for id_ in order]
    return [*titled, (NO_FAULT_FOUND, gettext("No fault found"))]


def _cured(found: Ticket) -> list[tuple[str, str]]:
    """What may have fixed it, the likeliest first: checks that did, nothing, a repair, any other check."""
    checks = service().rulebook.checks
    did = [one["check"] for one in found.report.get("checks") or () if one["result"] == "cured"]
    first = [(id_, title_words(checks, id_)) for id_ in dict.fromkeys(did) if id_ in checks]
    rest = titled(check for check in checks.values() if check.id not in did)
    own = [(REPAIR, gettext("A repair")), (NOTHING, gettext("Nothing: it came right by itself"))]
    return [*first, *(own if not did else reversed(own)), *rest]


def _open_authorization(found: Ticket) -> str:
    authorization = found.repair.authorization
    return authorization.number if authorization is not None and authorization.state == "open" else ""
