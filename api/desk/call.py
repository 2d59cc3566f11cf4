"""One ticket on the phone: questions, checks, cautions to read out, the decision, and taking back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.desk import call_view as desk_view
from api.desk import summary as desk_summary
from api.desk.record_view import MachineRecord, record_of
from api.http.auth import caller, page_roles, service
from api.pages import choices
from api.pages.sign_in import DESK
from api.pages.words import ago, event_words, local_time, outcome_words, unit_words
from triage.inputs.spoken import is_dont_know, read_spoken
from triage.records.payloads import Parked
from triage.records.ticket import Event, Ticket
from triage.service import calls, machines, tickets
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem

blueprint = Blueprint("desk_call", __name__)


@blueprint.get("/tickets/<ticket_id>")
@page_roles(*DESK)
def ticket(ticket_id: str) -> ResponseReturnValue:
    return _page(ticket_id, wanted=request.args.get("fact"))


@blueprint.get("/tickets/<ticket_id>/history")
@page_roles(*DESK)
def history(ticket_id: str) -> ResponseReturnValue:
    found = tickets.ticket(service(), ticket_id, caller())
    rows = desk_view.history(service().rulebook, tickets.events(service(), ticket_id, caller()))
    zone = _timezone(found)
    return render_template("history.html", ticket=found, rows=rows, zone=zone, local_time=local_time)


@blueprint.get("/tickets/<ticket_id>/news")
@page_roles(*DESK)
def news(ticket_id: str) -> ResponseReturnValue:
    """Whether the ticket moved on, and who else has it open: for pages that stay open."""
    found = tickets.ticket(service(), ticket_id, caller())
    return {"version": found.version, "others": list(calls.others_on(service(), found.id, caller()))}


@blueprint.post("/tickets/<ticket_id>/answers")
@page_roles(*DESK)
def answer(ticket_id: str) -> ResponseReturnValue:
    fact_id, text = request.form.get("fact", ""), request.form.get("value", "").strip()

    def act(version: int | None) -> None:
        rulebook = service().rulebook
        if fact_id not in rulebook.facts:
            raise InputError([Problem(f'"{fact_id[:60]}" is no fact of the rulebook', "/answers")])
        if is_dont_know(text):
            calls.skip(service(), ticket_id, fact_id, caller(), version)
            return
        found = tickets.ticket(service(), ticket_id, caller())
        today = service().now().astimezone(_zone(found)).date()
        value = read_spoken(rulebook.facts[fact_id], text, today)
        answers, said = {fact_id: value}, {fact_id: text}
        tickets.answer(service(), ticket_id, answers, caller(), version, said)

    return _step(ticket_id, act, wanted=fact_id, typed=text)


@blueprint.post("/tickets/<ticket_id>/checks")
@page_roles(*DESK)
def check(ticket_id: str) -> ResponseReturnValue:
    name, result = request.form.get("check", ""), request.form.get("result", "")

    def act(version: int | None) -> None:
        if result == "wait":
            calls.park(service(), ticket_id, name, caller(), version)
        else:
            tickets.record_check(service(), ticket_id, name, result, caller(), version)

    return _step(ticket_id, act)


@blueprint.post("/tickets/<ticket_id>/read-out")
@page_roles(*DESK)
def read_out(ticket_id: str) -> ResponseReturnValue:
    return _step(ticket_id, lambda version: calls.acknowledge(service(), ticket_id, caller(), version))


@blueprint.post("/tickets/<ticket_id>/undo")
@page_roles(*DESK)
def undo(ticket_id: str) -> ResponseReturnValue:
    return _step(ticket_id, lambda version: calls.undo(service(), ticket_id, caller(), version))


def _step(
    ticket_id: str, act: Callable[[int | None], object], wanted: str | None = None, typed: str = ""
) -> ResponseReturnValue:
    """Does one step and shows the ticket; when refused, the page keeps what was typed."""
    version = _version()
    try:
        act(version)
    except NotFoundError:
        raise
    except ConflictError as error:
        return _page(ticket_id, wanted, typed, error.problems, since=version), 409
    except InputError as error:
        return _page(ticket_id, wanted, typed, error.problems), 422
    return redirect(url_for("desk_call.ticket", ticket_id=ticket_id), 303)


def _page(
    ticket_id: str,
    wanted: str | None = None,
    typed: str = "",
    problems: tuple[Problem, ...] = (),
    since: int | None = None,
) -> str:
    rulebook = service().rulebook
    call = calls.call(service(), ticket_id, caller())
    found, log = call.ticket, call.log
    record = _record(found)
    decision = found.decision or {}
    zone = "UTC" if record is None else record.timezone
    others = calls.others_on(service(), found.id, caller())
    shared = {
        "ticket": found,
        "decision": decision,
        "rulebook": rulebook,
        "record": record,
        "zone": zone,
        "others": others,
        "problems": problems,
        "local_time": local_time,
        "ago": ago,
        "now": service().now(),
        "outcome_words": outcome_words,
        "changed": _changed(log, since, found),
        "undoable": desk_view.undoable(rulebook, log),
    }
    stop = calls.unread(found)
    if stop and found.state == "open":
        return render_template("stop.html", stop=stop, typed=typed, **shared)
    rows = desk_view.facts(rulebook, found, log)
    return render_template(
        "call.html",
        asked=desk_view.asked(rulebook, found, wanted),
        out_of_turn=wanted is not None,
        typed=typed,
        causes=desk_view.causes(decision, call.decided_before),
        facts=rows,
        askable=choices.askable(rulebook),
        checks=choices.store_checks(rulebook),
        history=desk_view.history(rulebook, log),
        read_back=desk_summary.read_back(found, zone),
        to_copy=desk_summary.to_copy(rulebook, found, rows, zone),
        who_pays=desk_summary.who_pays(decision),
        kit=desk_summary.kit_words(rulebook, decision["visit"]["kit"]) if decision.get("visit") else (),
        unit_words=unit_words,
        parked=_parked(log) if found.parked_until is not None else None,
        **shared,
    )


def _record(found: Ticket) -> MachineRecord | None:
    if found.machine is None:
        return None
    return record_of(service(), machines.machine(service(), found.machine, caller()), decision=found.decision)


def _timezone(found: Ticket) -> str:
    if found.machine is None:
        return "UTC"
    site = machines.machine(service(), found.machine, caller()).machine.site
    return "UTC" if site is None else site.timezone


def _zone(found: Ticket) -> Any:
    name = _timezone(found)
    return UTC if name == "UTC" else ZoneInfo(name)


def _parked(log: Sequence[Event]) -> str | None:
    waits = (event.payload.check for event in reversed(log) if isinstance(event.payload, Parked))
    return next(waits, None)


def _changed(log: Any, since: int | None, found: Ticket) -> tuple[tuple[Event, str], ...]:
    """What happened after the version that a refused step was meant for."""
    if since is None or since >= found.version:
        return ()
    return tuple(
        (event, f"{event_words(event.kind)}: {row.text}".rstrip(": "))
        for row in desk_view.history(service().rulebook, log)
        for event in [row.event]
        if event.seq > since and event.kind != "decided"
    )


def _version() -> int | None:
    text = request.form.get("version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
