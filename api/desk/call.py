"""One ticket on the phone: questions, checks, cautions to read out, the decision, and taking back."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.desk import call_view as desk_view
from api.desk import danger_view
from api.desk.machine_year import year_of
from api.desk.record_view import record_of
from api.desk.shell import call_now, parked_for, shell
from api.desk.stop_page import shown_sign, was_shown
from api.http.auth import caller, page_roles, service
from api.pages import history as logged
from api.pages.places import place_words, places_in
from api.pages.sign_in import DESK
from api.pages.texts import gettext, speak_as_on
from api.pages.words import local_time, title_words
from triage.inputs.heard import hear
from triage.inputs.spoken import is_dont_know, read_spoken
from triage.records.danger import LIFTINGS
from triage.records.decision_parts import Caution
from triage.records.ticket import Ticket
from triage.service import calls, dangers, machines, tickets
from triage.values.errors import ConflictError, ForbiddenError, InputError, NotFoundError, Problem
from triage.values.time_zones import zone_named

blueprint = Blueprint("desk_call", __name__)


@blueprint.get("/tickets/<ticket_id>")
@page_roles(*DESK)
def ticket(ticket_id: str) -> ResponseReturnValue:
    return _page(ticket_id, wanted=request.args.get("fact"))


@blueprint.get("/tickets/<ticket_id>/history")
@page_roles(*DESK, "reporter")
def history(ticket_id: str) -> ResponseReturnValue:
    found = tickets.ticket(service(), ticket_id, caller())
    zone = _timezone(found)
    rows = logged.history(service().rulebook, tickets.events(service(), ticket_id, caller()), zone)
    dangers_now = danger_view.danger_rows(service().rulebook, found.dangers.standing, found.id)
    return render_template(
        "history.html", ticket=found, dangers=dangers_now, rows=rows, zone=zone, local_time=local_time
    )


@blueprint.get("/tickets/<ticket_id>/news")
@page_roles(*DESK)
def news(ticket_id: str) -> ResponseReturnValue:
    """Whether the ticket moved on, and who else has it open: for pages that stay open."""
    found = tickets.ticket(service(), ticket_id, caller())
    return {"version": found.version, "others": list(calls.others_on(service(), found.id, caller()))}


@blueprint.post("/tickets/<ticket_id>/answers")
@page_roles(*DESK, keeps=True)
def answer(ticket_id: str) -> ResponseReturnValue:
    fact_id, text = request.form.get("fact", ""), request.form.get("value", "").strip()

    def act(version: int | None) -> None:
        rulebook = service().rulebook
        if fact_id not in rulebook.facts:
            raise InputError([Problem(f'"{fact_id[:60]}" is no fact of the rulebook', "/answers")])
        found = tickets.ticket(service(), ticket_id, caller())
        today = service().now().astimezone(zone_named(_timezone(found))).date()
        try:
            value = None if is_dont_know(text) else read_spoken(rulebook.facts[fact_id], text, today)
        except InputError:
            if not hear(rulebook, text):
                raise
            value = None  # no answer, but a danger: its words are kept
        if value is None:
            calls.skip(service(), ticket_id, fact_id, caller(), version, text)
            return
        tickets.answer(service(), ticket_id, {fact_id: value}, caller(), version, {fact_id: text})

    return _step(ticket_id, act, wanted=fact_id, typed=text)


@blueprint.post("/tickets/<ticket_id>/checks")
@page_roles(*DESK)
def check(ticket_id: str) -> ResponseReturnValue:
    name, result = request.form.get("check", ""), request.form.get("result", "")

    def act(version: int | None) -> None:
        if result == "wait":
            calls.park(service(), ticket_id, name, caller(), version)
        else:
            together = request.form.getlist("together")
            tickets.record_check(service(), ticket_id, name, result, caller(), version, together)

    return _step(ticket_id, act)


@blueprint.post("/tickets/<ticket_id>/read-out")
@page_roles(*DESK)
def read_out(ticket_id: str) -> ResponseReturnValue:
    """Only a form of the stop page that shows what is to be read out, and that says it was, confirms it."""
    sign, said = request.form.get("shown", ""), request.form.get("said") == "1"

    def act(version: int | None) -> None:
        found = tickets.ticket(service(), ticket_id, caller())
        stop = calls.unread(found)
        if stop and version in (None, found.version) and not (said and was_shown(sign, found, stop)):
            message = gettext("Read the text out first, word for word, and say that you did.")
            raise InputError([Problem(message, "/said")])
        calls.acknowledge(service(), ticket_id, caller(), version)

    return _step(ticket_id, act)


@blueprint.post("/tickets/<ticket_id>/dangers/<caution>/lift")
@page_roles(*DESK, keeps=True)
def lift(ticket_id: str, caution: str) -> ResponseReturnValue:
    """Lifts a danger: what was heard was misread, or, by the operations lead, the machine was made safe."""
    why, how = request.form.get("why", "").strip(), request.form.get("how", "")

    def act(version: int | None) -> None:
        if how not in LIFTINGS:
            raise InputError([Problem("say how: misread, or safe", "/how")])
        quotes = request.form.getlist("quote")
        dangers.lift_danger(service(), ticket_id, caution, why, caller(), version, how, quotes)

    return _step(ticket_id, act)


@blueprint.post("/tickets/<ticket_id>/nothing-known")
@page_roles(*DESK)
def nothing_known(ticket_id: str) -> ResponseReturnValue:
    """The clerk knows nothing more: only what is about safety is still asked."""
    return _step(ticket_id, lambda version: calls.skip_all(service(), ticket_id, caller(), version))


@blueprint.post("/tickets/<ticket_id>/details")
@page_roles(*DESK, keeps=True)
def details(ticket_id: str) -> ResponseReturnValue:
    """Who called, the number to call back on, a note, or the machine, told after the report."""
    told = {name: request.form.get(name, "").strip() for name in ("caller", "phone", "note", "machine")}
    return _step(ticket_id, lambda version: calls.add_details(service(), ticket_id, told, caller(), version))


@blueprint.post("/tickets/<ticket_id>/undo")
@page_roles(*DESK)
def undo(ticket_id: str) -> ResponseReturnValue:
    return _step(ticket_id, lambda version: calls.undo(service(), ticket_id, caller(), version))


def _step(
    ticket_id: str, act: Callable[[int | None], object], wanted: str | None = None, typed: str = ""
) -> ResponseReturnValue:
    """Does one step and shows the ticket; when refused, the page keeps what was typed."""
    version = sent_version()
    if "look" in request.form:
        return _page(ticket_id, wanted, typed)
    try:
        act(version)
    except NotFoundError:
        raise
    except ConflictError as error:
        return make_response(_page(ticket_id, wanted, typed, error.told, since=version), 409)
    except InputError as error:
        status = 403 if isinstance(error, ForbiddenError) else 422
        return make_response(_page(ticket_id, wanted, typed, error.told), status)
    return redirect(url_for("desk_call.ticket", ticket_id=ticket_id), 303)


def _page(
    ticket_id: str,
    wanted: str | None = None,
    typed: str = "",
    problems: tuple[Problem, ...] = (),
    since: int | None = None,
) -> ResponseReturnValue:
    """The ticket as it is worked on; where nothing is left to ask or to check, on to the end of the call."""
    rulebook = service().rulebook
    call, limits = call_now(ticket_id)
    found = call.ticket
    speak_as_on(found.language)
    view = None if found.machine is None else machines.machine(service(), found.machine, caller())
    decision = found.decision or {}
    stop = calls.unread(found)
    if stop and found.state == "open":
        shown = {"stop": _in_full(decision, stop), "shown": shown_sign(found, stop), "typed": typed}
        return render_template("stop.html", **shell(call, problems, since), **shown)
    parked = parked_for(call)
    asked = desk_view.asked(rulebook, found, wanted)
    wanted_check = request.args.get("check") or parked
    group = desk_view.checks_now(decision, wanted_check) if wanted_check else ()
    if found.state != "open" or "end" in request.args:
        work = "end"
    elif asked is not None and (wanted is not None or not group):
        work = "question"
    else:
        group = group or (() if decision.get("solved") else desk_view.checks_now(decision))
        work = "check" if group else "end"
    closed_question = _closed_question(decision, wanted)
    if work == "end" and not problems and not closed_question and "look" not in request.form:
        return redirect(url_for("life.end", ticket_id=found.id), 303)
    return render_template(
        "call.html",
        work=work,
        asked=asked,
        group=group,
        lines=desk_view.lines(rulebook, group) if work == "check" else (),
        places=places_in(line for step in group for line in step["steps"]),
        place_words=place_words(),
        out_of_turn=wanted is not None,
        typed=typed,
        record=None if view is None else record_of(service(), view, limits=limits, decision=decision),
        year=None if view is None else year_of(rulebook, view, service().now()),
        causes=desk_view.causes(rulebook, decision, call.decided_before),
        nothing_left=wanted is None and any(not each["safety"] for each in decision["questions"]),
        closed_question=closed_question,
        parked=parked,
        **shell(call, problems, since),
    )


def _in_full(decision: Mapping[str, Any], stop: Sequence[Caution]) -> list[Mapping[str, Any]]:
    """The cautions to read out as the decision's JSON has them."""
    rules = {said.rule for said in stop}
    return [caution for caution in decision["cautions"] if caution["rule"] in rules]


def _closed_question(decision: Mapping[str, Any], wanted: str | None) -> str:
    """The title of a question that was opened and is closed for danger; empty otherwise."""
    rulebook = service().rulebook
    closed = wanted in rulebook.facts and danger_view.near_closed(rulebook, decision, str(wanted))
    return title_words(rulebook.facts, str(wanted)) if closed else ""


def _timezone(found: Ticket) -> str:
    return machines.zone_of(service(), machines.site_of(service(), found))


def sent_version() -> int | None:
    text = request.form.get("version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
