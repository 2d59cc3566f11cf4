"""A new report: the caller's words, the symptoms and dangers they point to, confirmed by the agent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.desk import danger_view
from api.http.auth import caller, page_roles, service
from api.pages.sign_in import DESK
from api.pages.texts import LANGUAGE_COOKIE, clerk_language
from api.pages.words import local_time
from triage.decide.dangers import facts_behind
from triage.inputs.heard import Heard, hear
from triage.inputs.symptom_words import match_symptoms
from triage.service import dangers, machines, tickets
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem

blueprint = Blueprint("desk_report", __name__)


@dataclass(frozen=True, slots=True)
class HeardRow:
    """A place of the note where a danger was heard; `name` is its field in the form.

    `before`, `quote` and `after` are its sentence; `ask` makes sure of it. `misread` is the reason the agent
    gave why the words mean no danger; empty while they stand.
    """

    name: str
    title: str
    before: str
    quote: str
    after: str
    ask: str
    misread: str


@blueprint.get("/report")
@page_roles(*DESK)
def new_report() -> ResponseReturnValue:
    words = request.args.get("words", "").strip()[:1000]
    return _form(
        {"machine": _serial(request.args.get("machine", "")), "note": words, "symptoms": []}, words, ()
    )


def _serial(typed: str) -> str:
    typed = typed.strip()[:200]
    return machines.as_recorded(service(), typed, caller()) if typed else ""


@blueprint.post("/report")
@page_roles(*DESK)
def send_report() -> ResponseReturnValue:
    form = request.form
    words = form.get("note", "").strip()
    data: dict[str, Any] = {"symptoms": form.getlist("symptom")}
    spoken = clerk_language() if LANGUAGE_COOKIE in request.cookies else ""
    given = {"machine": _serial(form.get("machine", "")), "note": words, "language": spoken}
    data |= {name: text for name, text in given.items() if text}
    heard = hear(service().rulebook, words)
    if "match" in form:
        return _form(data, words, ())
    open_ticket = _open_ticket(data.get("machine")) if "second" not in form else None
    if open_ticket is not None:
        return _form(data, words, (), open_ticket), 409
    if any(_reason(form, name, each) is None for name, each in _named(heard)):
        return _form(data, words, (), new_dangers=True), 409
    try:
        for each in heard:
            if why := form[f"heard.{each.words}"].strip():
                dangers.check_why(why, f"/heard.{each.words}")
        ticket = tickets.open_ticket(service(), data, caller())
    except InputError as error:
        return _form(data, words, error.told), 422
    _lift_misread(ticket.id, heard, form)
    return redirect(url_for("desk_call.ticket", ticket_id=ticket.id), 303)


def _named(heard: tuple[Heard, ...]) -> Iterator[tuple[str, Heard]]:
    """Each place with the name of its field in the form: the second one of a list is `heard.LIST.2`."""
    number: Counter[str] = Counter()
    for each in heard:
        number[each.words] += 1
        nth = number[each.words]
        yield f"heard.{each.words}" + (f".{nth}" if nth > 1 else ""), each


def _reason(form: Mapping[str, str], name: str, heard: Heard) -> str | None:
    """Why the agent says that a place was misread, empty if it stands; None where it was not shown yet."""
    if form.get(f"quoted.{name}", heard.quote) != heard.quote:
        return None
    return form.get(name)


def _lift_misread(ticket_id: str, heard: tuple[Heard, ...], form: Mapping[str, str]) -> None:
    """Takes back each place of the new ticket's dangers that the agent marked as misread, with the reason."""
    rulebook = service().rulebook
    for danger in tickets.ticket(service(), ticket_id, caller()).dangers.open:
        behind = facts_behind(rulebook).get(danger.caution, frozenset())
        given = [
            (each.quote, form[name])
            for name, each in _named(heard)
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


def _open_ticket(serial: str | None) -> str | None:
    if serial is None:
        return None
    return machines.open_on_machine(service(), serial)


def _heard_rows(words: str) -> tuple[HeardRow, ...]:
    rulebook = service().rulebook
    rows = []
    for name, each in _named(hear(rulebook, words)):
        fact = rulebook.words[each.words].danger
        ask = rulebook.facts[fact].ask if fact is not None and fact in rulebook.facts else None
        start = max(words.rfind(mark, 0, each.start) for mark in ".!?\n") + 1
        ends = [end for mark in ".!?\n" if (end := words.find(mark, each.end)) >= 0]
        rows.append(
            HeardRow(
                name,
                rulebook.words[each.words].title,
                words[start : each.start].lstrip(),
                each.quote,
                words[each.end : min(ends, default=len(words))],
                ask or "",
                _reason(request.form, name, each) or "",
            )
        )
    return tuple(rows)


def _machine_dangers(serial: str | None) -> tuple[tuple[danger_view.DangerRow, ...], str]:
    """The dangers open on the machine, none where no such machine is on record; and its time zone."""
    try:
        view = machines.machine(service(), serial, caller()) if serial else None
    except NotFoundError:
        view = None
    if view is None:
        return (), "UTC"
    site = view.machine.site
    return danger_view.danger_rows(service().rulebook, view.dangers), "UTC" if site is None else site.timezone


def _form(
    data: dict[str, Any],
    words: str,
    problems: tuple[Problem, ...],
    open_ticket: str | None = None,
    new_dangers: bool = False,
) -> str:
    rulebook = service().rulebook
    matches = match_symptoms(rulebook, words) if words else ()
    chosen = set(data["symptoms"]) or {match.symptom for match in matches}
    matched = [match.symptom for match in matches]
    first = [rulebook.symptoms[name] for name in matched]
    first += [found for found in rulebook.symptoms.values() if found.id in chosen and found.id not in matched]
    rest = [found for found in rulebook.symptoms.values() if found not in first]
    open_now, zone = _machine_dangers(data.get("machine"))
    return render_template(
        "report.html",
        data=data,
        words=words,
        first=first,
        phrases={match.symptom: match.phrase for match in matches},
        rest=[found for found in rest if not found.says_little],
        last=[found for found in rest if found.says_little],
        chosen=chosen,
        problems=problems,
        open_ticket=open_ticket,
        new_dangers=new_dangers,
        heard=_heard_rows(words),
        reasons=danger_view.misread_reasons(),
        dangers=open_now,
        zone=zone,
        local_time=local_time,
    )
