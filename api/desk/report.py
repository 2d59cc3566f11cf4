"""A new report: one box for what is heard on the phone; what it says is confirmed, and a call begun."""

from collections.abc import Mapping
from contextlib import suppress
from secrets import token_urlsafe
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from api.desk import danger_view
from api.desk.intake import answer_to, answers, named, told, understood
from api.http.auth import caller, page_roles, service
from api.pages.search import finder
from api.pages.sign_in import DESK
from api.pages.texts import LANGUAGE_COOKIE, clerk_language
from triage.decide.dangers import facts_behind
from triage.inputs.heard import Heard, hear
from triage.intake.places import Place, heard_place
from triage.service import dangers, machines, requests, tickets
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.time_zones import zone_named

blueprint = Blueprint("desk_report", __name__)
MOST_KEY = 64


@blueprint.get("/report")
@page_roles(*DESK)
def new_report() -> ResponseReturnValue:
    """`words` and `machine` may stand in the address, from the page of a machine."""
    words = request.args.get("words", "").strip()[:1000]
    return _form(MultiDict({"machine": request.args.get("machine", "")}), words)


@blueprint.post("/report")
@page_roles(*DESK, keeps=True)
def send_report() -> ResponseReturnValue:
    """With `match`, or after a sign-in, the form again; with `part` only what was understood."""
    form = request.form
    words = form.get("note", "").strip()
    if {"match", "look"} & form.keys():
        return _form(form, words, part="part" in form)
    key = f"POST /report {form.get('once', '')[:MOST_KEY]}" if form.get("once") else None
    before = None if key is None else requests.sent_before(service(), key, caller())
    if before is not None:
        return redirect(url_for("desk_call.ticket", ticket_id=before.body["ticket"]), 303)
    place, machine = _place(form, words)
    open_ticket = machines.open_on_machine(service(), machine) if machine and "second" not in form else None
    heard = hear(service().rulebook, words)
    if open_ticket is not None:
        return _form(form, words, open_ticket=open_ticket), 409
    if any(answer_to(form, name, each) is None for name, each in named(heard)):
        return _form(form, words, new_dangers=True), 409

    def opened() -> requests.Response:
        for each in heard:
            if why := form[f"heard.{each.words}"].strip():
                dangers.check_why(why, f"/heard.{each.words}")
        ticket = tickets.open_ticket(service(), _report(form, words, place, machine), caller())
        _lift_misread(ticket.id, heard, form)
        return requests.Response(303, {"ticket": ticket.id}, {})

    try:
        answer = opened() if key is None else requests.once(service(), key, caller(), "", opened)
    except InputError as error:
        return _form(form, words, error.told), 422
    return redirect(url_for("desk_call.ticket", ticket_id=answer.body["ticket"]), 303)


def _place(form: Mapping[str, str], words: str) -> tuple[Place, str]:
    """What the words say of the place, and the machine: the one chosen, else the only one that was named."""
    place = heard_place(finder().index, words)
    chosen = form.get("machine", "").strip()[:80]
    if chosen == form.get("was.machine", "") and place.sure:
        return place, place.machines[0].serial
    return place, machines.as_recorded(service(), chosen, caller()) if chosen else ""


def _report(form: MultiDict[str, str], words: str, place: Place, machine: str) -> dict[str, Any]:
    """REPORT.json of the form; a serial in no record is kept as it was said where the agent says so."""
    given = told(form, place)
    if "keep_serial" in form:
        given["serial_said"], machine = machine, ""
    if machine:
        given |= {"site": "", "serial_said": ""}
    known, unknown = answers(form)
    spoken = clerk_language() if LANGUAGE_COOKIE in request.cookies else ""
    rest = {"machine": machine, "note": words, "language": spoken, "answers": known, "unknown": unknown}
    filled = {name: value for name, value in (given | rest).items() if value}
    return {"symptoms": list(dict.fromkeys(form.getlist("symptom"))), **filled}


def _lift_misread(ticket_id: str, heard: tuple[Heard, ...], form: Mapping[str, str]) -> None:
    """Takes back each place of the new ticket's dangers that the agent marked as misread, with the reason."""
    rulebook = service().rulebook
    for danger in tickets.ticket(service(), ticket_id, caller()).dangers.open:
        behind = facts_behind(rulebook).get(danger.caution, frozenset())
        given = [
            (each.quote, form[name])
            for name, each in named(heard)
            if rulebook.words[each.words].danger in behind
        ]
        stand = {quote for quote, why in given if not why}
        misread = {quote: why for quote, why in given if why and quote not in stand}
        if danger.source == "words" and misread:
            with suppress(ConflictError):  # something else raises it as well: it stands
                dangers.lift_danger(
                    service(),
                    ticket_id,
                    danger.caution,
                    next(iter(misread.values())),
                    caller(),
                    how="misread",
                    quotes=tuple(misread),
                )


def _form(
    form: MultiDict[str, str],
    words: str,
    problems: tuple[Problem, ...] = (),
    open_ticket: str | None = None,
    new_dangers: bool = False,
    part: bool = False,
) -> str:
    rulebook = service().rulebook
    place, machine = _place(form, words)
    site, open_now = None, danger_view.danger_rows(rulebook, ())
    with suppress(NotFoundError):
        view = machines.machine(service(), machine, caller()) if machine else None
        if view is not None:
            site, open_now = view.machine.site, danger_view.danger_rows(rulebook, view.dangers)
            open_ticket = open_ticket or machines.open_on_machine(service(), machine)
    zone = machines.zone_of(service(), site)
    today = service().now().astimezone(zone_named(zone)).date()
    return render_template(
        "_understood.html" if part else "report.html",
        understood=understood(rulebook, words, place, machine, form, today),
        words=words,
        form=form,
        once=form.get("once") or token_urlsafe(12),
        problems=problems,
        unknown_serial=any(problem.pointer == "/machine" for problem in problems),
        open_ticket=open_ticket,
        new_dangers=new_dangers,
        reasons=danger_view.misread_reasons(),
        dangers=open_now,
        zone=zone,
    )
