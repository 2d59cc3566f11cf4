"""The register of training by store, and the one-page guide of a machine model to print."""

from __future__ import annotations

import secrets
from collections.abc import Mapping

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.fleet.overview import filters_asked, offset_asked
from api.http.auth import caller, page_roles, service
from api.http.json_bodies import as_text
from api.http.problems import status_of
from api.pages.places import TITLES, places_in
from api.pages.sent_once import sent_once
from api.pages.sign_in import DESK
from api.pages.texts import clerk, gettext
from triage.repairs.exports import as_csv
from triage.service import machines, requests
from triage.service.installs import guide as guides
from triage.service.installs import training
from triage.values.errors import InputError, Problem

blueprint = Blueprint("training_page", __name__)
KEEPERS = ("technician", *DESK)
FILTERS = {"site": 64, "contractor": 64}
PAGE = 50


@blueprint.get("/training")
@page_roles(*KEEPERS)
def register() -> ResponseReturnValue:
    return _page()


@blueprint.get("/training.csv")
@page_roles(*KEEPERS)
def as_sheet() -> ResponseReturnValue:
    filters = filters_asked(FILTERS)
    found = training.stores(service(), caller(), _view(), filters)
    rows = (row for one in found for row in one.rows())
    answer = as_text(as_csv(training.COLUMNS, rows), "text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="training.csv"'
    return answer


@blueprint.post("/training")
@page_roles(*KEEPERS)
def note() -> ResponseReturnValue:
    form = request.form
    told = {name: form[name].strip() for name in ("site", "by", "signed") if form.get(name, "").strip()}
    people = [line.strip() for line in form.get("people", "").splitlines() if line.strip()]
    data = {**told, "people": people, "topics": form.getlist("topics")}

    def action() -> requests.Response:
        site = training.note(service(), data, caller()).site.id
        where = url_for("training_page.register", view="all", site=site)
        return requests.Response(303, {}, {"Location": where})

    try:
        done = sent_once(data, action)
    except InputError as error:
        return _page(error.told, form), status_of(error)
    return redirect(done.headers["Location"], 303)


@blueprint.post("/training/<int:number>/left")
@page_roles(*KEEPERS)
def left(number: int) -> ResponseReturnValue:
    store = training.left(service(), number, {}, caller())
    return redirect(url_for("training_page.register", view="all", site=store.site.id), 303)


@blueprint.get("/guide/<model>")
@page_roles(*KEEPERS)
def guide(model: str) -> ResponseReturnValue:
    """One page to leave at the machine, in both languages side by side."""
    found = guides.guide(service(), model)
    places = places_in(step for _, check in found.care.values() for step in check.steps)
    titles = {place: f"{TITLES[place]} · {clerk(TITLES[place], 'es')}" for place in places}
    return render_template("fleet/guide.html", guide=found, place_words=titles)


def _page(problems: tuple[Problem, ...] = (), form: Mapping[str, str] | None = None) -> str:
    filters, view = {name: said for name, said in filters_asked(FILTERS).items() if said}, _view()
    offset = offset_asked()
    found = training.stores(service(), caller(), view, filters)
    return render_template(
        "fleet/training.html",
        stores=found[offset : offset + PAGE],
        more=offset + PAGE if len(found) > offset + PAGE else None,
        count=len(found),
        view=view,
        views=view_titles(),
        filters=filters,
        topics=service().rulebook.installation.topics,
        sites=training.sites(service(), caller()),
        contractors=machines.contractors(service()),
        problems=problems,
        form=form or {},
        key=secrets.token_hex(16),
        standings={"due": gettext("Due"), "soon": gettext("Due soon"), "kept": gettext("Trained")},
    )


def view_titles() -> Mapping[str, str]:
    return {
        "due": gettext("To be trained"),
        "soon": gettext("Due within 30 days"),
        "all": gettext("All stores"),
    }


def _view() -> str:
    return request.args.get("view", "due")[:20]
