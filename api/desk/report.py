"""A new report: the caller's words, the symptoms they point to, confirmed by the agent."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.http.auth import caller, page_roles, service
from api.pages.sign_in import DESK
from triage.inputs.symptom_words import match_symptoms
from triage.service import machines, tickets
from triage.values.errors import InputError, Problem

blueprint = Blueprint("desk_report", __name__)


@blueprint.get("/report")
@page_roles(*DESK)
def new_report() -> ResponseReturnValue:
    words = request.args.get("words", "").strip()[:1000]
    machine = request.args.get("machine", "").strip()[:200]
    return _form({"machine": machine, "note": words, "symptoms": []}, words, ())


@blueprint.post("/report")
@page_roles(*DESK)
def send_report() -> ResponseReturnValue:
    form = request.form
    words = form.get("note", "").strip()
    data: dict[str, Any] = {"symptoms": form.getlist("symptom")}
    data |= {name: text for name in ("machine", "note") if (text := form.get(name, "").strip())}
    if "match" in form:
        return _form(data, words, ())
    open_ticket = _open_ticket(data.get("machine")) if "second" not in form else None
    if open_ticket is not None:
        return _form(data, words, (), open_ticket), 409
    try:
        ticket = tickets.open_ticket(service(), data, caller())
    except InputError as error:
        return _form(data, words, error.problems), 422
    return redirect(url_for("desk_call.ticket", ticket_id=ticket.id), 303)


def _open_ticket(serial: str | None) -> str | None:
    if serial is None:
        return None
    return machines.open_on_machine(service(), serial)


def _form(
    data: dict[str, Any], words: str, problems: tuple[Problem, ...], open_ticket: str | None = None
) -> str:
    rulebook = service().rulebook
    matches = match_symptoms(rulebook, words) if words else ()
    chosen = set(data["symptoms"]) or {match.symptom for match in matches}
    matched = [match.symptom for match in matches]
    first = [rulebook.symptoms[name] for name in matched]
    first += [found for found in rulebook.symptoms.values() if found.id in chosen and found.id not in matched]
    return render_template(
        "report.html",
        data=data,
        words=words,
        first=first,
        phrases={match.symptom: match.phrase for match in matches},
        rest=[found for found in rulebook.symptoms.values() if found not in first],
        chosen=chosen,
        problems=problems,
        open_ticket=open_ticket,
    )
