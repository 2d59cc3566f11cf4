"""Pages that work without scripts: sign in, the symptom form, a ticket with its next question."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any
from urllib.parse import urlsplit

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.auth import COOKIE, caller, page_roles, programme
from triage.errors import ConflictError, InputError
from triage.rulebook import Fact

blueprint = Blueprint("pages", __name__)
DESK = ("agent", "ops")


@blueprint.get("/sign-in")
def sign_in() -> ResponseReturnValue:
    return render_template("sign_in.html", next=_own_path(request.args.get("next", "")), wrong=False)


@blueprint.post("/sign-in")
def signed_in() -> ResponseReturnValue:
    token, target = request.form.get("token", "").strip(), _own_path(request.form.get("next", ""))
    if programme().caller_for(token) is None:
        return render_template("sign_in.html", next=target, wrong=True), 401
    response = redirect(target)
    response.set_cookie(COOKIE, token, httponly=True, samesite="Strict", secure=request.is_secure)
    return response


@blueprint.post("/sign-out")
def sign_out() -> ResponseReturnValue:
    response = redirect(url_for("pages.sign_in"))
    response.delete_cookie(COOKIE)
    return response


@blueprint.get("/")
@page_roles(*DESK)
def start() -> ResponseReturnValue:
    page = programme().tickets(caller(), {"state": "open"}, request.args.get("cursor"), 25)
    return render_template("start.html", page=page, symptoms=programme().rulebook.symptoms)


@blueprint.get("/report")
@page_roles(*DESK)
def new_report() -> ResponseReturnValue:
    return _report_form({}, ())


@blueprint.post("/report")
@page_roles(*DESK)
def send_report() -> ResponseReturnValue:
    form = request.form
    data: dict[str, Any] = {"symptoms": form.getlist("symptom")}
    if form.get("machine", "").strip():
        data["machine"] = form["machine"].strip()
    if form.get("note", "").strip():
        data["note"] = form["note"].strip()
    try:
        ticket = programme().open_ticket(data, caller())
    except InputError as error:
        return _report_form(data, error.problems), 422
    return redirect(url_for("pages.ticket", ticket_id=ticket.id), 303)


def _report_form(data: dict[str, Any], problems: Any) -> str:
    return render_template(
        "report.html", symptoms=programme().rulebook.symptoms, data=data, problems=problems
    )


@blueprint.get("/tickets/<ticket_id>")
@page_roles(*DESK)
def ticket(ticket_id: str) -> ResponseReturnValue:
    return _ticket_page(ticket_id, {}, ())


@blueprint.post("/tickets/<ticket_id>/answers")
@page_roles(*DESK)
def answer(ticket_id: str) -> ResponseReturnValue:
    facts = programme().rulebook.facts
    given = {name: text.strip() for name, text in request.form.items() if name in facts and text.strip()}
    try:
        answers = {name: _typed(facts[name], text) for name, text in given.items()}
        programme().answer(ticket_id, answers, caller(), _version())
    except InputError as error:
        return _ticket_page(ticket_id, given, error.problems), _status(error)
    return redirect(url_for("pages.ticket", ticket_id=ticket_id), 303)


@blueprint.post("/tickets/<ticket_id>/checks")
@page_roles(*DESK)
def check(ticket_id: str) -> ResponseReturnValue:
    form = request.form
    try:
        programme().record_check(
            ticket_id, form.get("check", ""), form.get("result", ""), caller(), _version()
        )
    except InputError as error:
        return _ticket_page(ticket_id, {}, error.problems), _status(error)
    return redirect(url_for("pages.ticket", ticket_id=ticket_id), 303)


def _ticket_page(ticket_id: str, typed: dict[str, str], problems: Any) -> str:
    found = programme().ticket(ticket_id, caller())
    return render_template(
        "ticket.html",
        ticket=found,
        decision=found.decision,
        rulebook=programme().rulebook,
        events=programme().events(ticket_id, caller()),
        typed=typed,
        problems=problems,
    )


def _version() -> int | None:
    text = request.form.get("version", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _status(error: InputError) -> int:
    return 409 if isinstance(error, ConflictError) else 422


def _typed(fact: Fact, text: str) -> Any:
    """What a form can only send as text, in the JSON type the fact is read from."""
    if fact.type == "flag":
        return {"true": True, "false": False}.get(text, text)
    if fact.type == "number":
        return _number(text)
    return text


def _number(text: str) -> Any:
    try:
        return Decimal(text)
    except InvalidOperation:
        return text


def _own_path(target: str) -> str:
    """A path on this server to go on to; anything else leads to the start."""
    parts = urlsplit(target)
    own = target.startswith("/") and not target.startswith("//") and not parts.netloc and "\\" not in target
    return target if own else "/"
