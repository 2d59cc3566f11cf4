"""Find the machine, and its record at a glance."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.desk.danger_view import caution_title, danger_rows
from api.desk.record_view import record_of
from api.desk.search import finder
from api.http.auth import caller, page_roles, service
from api.pages.sign_in import DESK
from api.pages.words import ago, local_time, outcome_words
from triage.inputs.machine_search import WHOLE
from triage.service import machines

blueprint = Blueprint("desk_find", __name__)


@blueprint.get("/find")
@page_roles(*DESK)
def find() -> ResponseReturnValue:
    """With `part` only the list of machines found, for the search while typing."""
    query = request.args.get("q", "").strip()[:80]
    found = finder().find(query) if query else ()
    open_now = machines.open_dangers(service(), [each.machine.serial for each in found])
    dangers = {
        serial: [caution_title(service().rulebook, danger.caution) for danger in rows]
        for serial, rows in open_now.items()
    }
    if "part" in request.args:
        return render_template("_found.html", query=query, found=found, dangers=dangers)
    sure = [each for each in found if each.score >= WHOLE]
    if len(sure) == 1:
        return redirect(url_for("desk_find.machine", serial=sure[0].machine.serial), 303)
    return render_template("find.html", query=query, found=found, dangers=dangers)


@blueprint.get("/machines/<serial>")
@page_roles(*DESK)
def machine(serial: str) -> ResponseReturnValue:
    view = machines.machine(service(), serial, caller())
    limits = machines.limits(service(), serial, None, None, caller())
    return render_template(
        "machine.html",
        record=record_of(service(), view, limits=limits),
        dangers=danger_rows(service().rulebook, view.dangers),
        rulebook=service().rulebook,
        now=service().now(),
        ago=ago,
        local_time=local_time,
        outcome_words=outcome_words,
    )
