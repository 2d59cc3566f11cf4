"""Installations on a phone: what waits, a new one planned, and each taken step by step to live.

Each step is a form of its own with a key, and keeps what is typed on a bad line like a technician's ticket.
"""

import secrets
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from api.http.auth import caller, page_roles, service
from api.http.problems import status_of
from api.pages.bill_form import typed_number
from api.pages.sent_once import sent_once
from api.pages.sign_in import DESK
from api.pages.texts import gettext
from triage.inputs.photo import MOST_BYTES
from triage.records.installs.job import STATES
from triage.rulebook.installation import STAGES, Field
from triage.service import machines, requests
from triage.service.installs import jobs, view
from triage.service.installs.reading import STEPS
from triage.service.photos import kept
from triage.values.errors import InputError, NotFoundError, Problem, path_to
from triage.values.time_zones import zone_named

blueprint = Blueprint("field_installs", __name__, url_prefix="/installs")
INSTALLERS = ("technician", *DESK)
Form = Mapping[str, str]


@blueprint.get("")
@page_roles(*INSTALLERS)
def listed() -> ResponseReturnValue:
    return _list()


@blueprint.post("")
@page_roles(*DESK)
def plan() -> ResponseReturnValue:
    form = request.form
    named = ("site", "machine", "model", "contractor", "note")
    data = {name: form[name].strip() for name in named if form.get(name, "").strip()}

    def action() -> requests.Response:
        made = jobs.plan(service(), data, caller()).install.id
        return requests.Response(303, {}, {"Location": url_for("field_installs.page", install_id=made)})

    try:
        done = sent_once(data, action)
    except InputError as error:
        return _list(error.told, form), status_of(error)
    return redirect(done.headers["Location"], 303)


def _list(problems: tuple[Problem, ...] = (), form: Form | None = None) -> str:
    asked = {name: request.args.get(name, "").strip() for name in view.FILTERS}
    found = view.listed(service(), caller(), {} if form else asked)
    return render_template(
        "field/installs.html",
        asked=asked,
        open=[one for one in found if one.install.state not in ("live", "canceled")],
        live=[one for one in found if one.install.state == "live"],
        canceled=[one for one in found if one.install.state == "canceled" == asked["state"]],
        states={state: state_words(state) for state in STATES},
        sites=machines.sites(service()) if caller().role in DESK else (),
        contractors=machines.contractors(service()),
        problems=problems,
        form=form or {},
        key=secrets.token_hex(16),
        state_words=state_words,
    )


@blueprint.get("/<install_id>")
@page_roles(*INSTALLERS)
def page(install_id: str) -> ResponseReturnValue:
    return _page(install_id)


@blueprint.post("/<install_id>/<name>")
@page_roles(*INSTALLERS)
def step(install_id: str, name: str) -> ResponseReturnValue:
    seen = view.one(service(), install_id, caller())
    if name not in STEPS:
        raise NotFoundError(f'there is no step "{name[:40]}"')
    try:
        data = {"step": name, **_read(seen, name, request.form)}

        def action() -> requests.Response:
            jobs.step(service(), install_id, data, caller())
            return requests.Response(303, {}, {})

        sent_once(data, action)
    except NotFoundError:
        raise
    except InputError as error:
        return _page(install_id, _worded(error), request.form, name), status_of(error)
    return redirect(url_for("field_installs.page", install_id=seen.install.id, _anchor=name), 303)


@blueprint.post("/<install_id>/photos")
@page_roles(*INSTALLERS)
def add_photo(install_id: str) -> ResponseReturnValue:
    request.max_content_length = MOST_BYTES
    sent = request.files.get("photo")
    try:
        if not sent:
            raise InputError([Problem(gettext("Choose a photo first."), "/photo")])
        kept.add(service(), install_id, sent.read(), caller(), view.ALBUM)
    except InputError as error:
        return _page(install_id, error.told), status_of(error)
    return redirect(url_for("field_installs.page", install_id=install_id, _anchor="photos"), 303)


@blueprint.get("/<install_id>/photos/<int:number>")
@page_roles(*INSTALLERS)
def photo(install_id: str, number: int) -> Response:
    image = kept.image(service(), install_id, number, caller(), view.ALBUM)
    return Response(image, content_type="image/jpeg")


@blueprint.get("/<install_id>/visit.ics")
@page_roles(*INSTALLERS)
def calendar(install_id: str) -> Response:
    content = view.calendar(service(), install_id, caller())
    return Response(content, content_type="text/calendar; charset=utf-8; method=PUBLISH")


def _page(
    install_id: str, problems: tuple[Problem, ...] = (), typed: Form | None = None, failed: str = ""
) -> str:
    seen = view.one(service(), install_id, caller())
    installation, install = service().rulebook.installation, seen.install
    return render_template(
        "field/install.html",
        seen=seen,
        install=install,
        stages=[(stage, installation.of_stage(stage)) for stage in STAGES],
        findings={one.id: one for one in seen.findings},
        kit=installation.kit_of(install.model),
        topics=installation.topics,
        can=jobs.can_follow(install),
        ahead=_ahead(seen),
        steps=step_words(),
        typed=typed or {},
        failed=failed,
        written=_written,
        contractors=machines.contractors(service()),
        photos=kept.photos(service(), install_id, caller(), view.ALBUM),
        problems=problems,
        key=secrets.token_hex(16),
        state_words=state_words,
    )


def _ahead(seen: view.InstallView) -> str:
    """The step that comes next, whose form stands open."""
    install, installation = seen.install, service().rulebook.installation
    if install.state in ("planned", "dated"):
        survey = {point.id for point in installation.of_stage("survey")}
        if any(item.point in survey for item in seen.blocking):
            return "survey"
    if install.state in ("planned", "call_back"):
        return "date"
    if install.state == "dated" or (
        install.state == "in_work" and view.missing_kit(service().rulebook, install)
    ):
        return "kit"
    if install.state != "in_work":
        return ""
    open_ = {item.point for item in seen.items}
    for stage in ("set_up", "hand_over"):
        points = {point.id for point in installation.of_stage(stage)} - {"training"}
        if open_ & points:
            return stage
        if stage == "set_up" and "training" in open_:
            return "training"
    return "finish"


def state_words(state: str) -> str:
    return {
        "planned": gettext("Planned"),
        "dated": gettext("Date set"),
        "in_work": gettext("In work"),
        "call_back": gettext("Called back"),
        "live": gettext("Live"),
        "canceled": gettext("Canceled"),
    }[state]


def step_words() -> Mapping[str, str]:
    return {
        "survey": gettext("Site survey"),
        "date": gettext("Date"),
        "kit": gettext("Kit"),
        "set_up": gettext("Set-up"),
        "training": gettext("Training"),
        "hand_over": gettext("Handover"),
        "photos": gettext("Photos"),
        "finish": gettext("Finish"),
    }


def _written(install: Any, field: Field, typed: Form) -> str:
    """What stands in a field: as typed, else as stored."""
    if field.place in typed:
        return typed[field.place]
    value = install.answers.get(field.place)
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case list() | tuple():
            return "-".join(map(str, value))
        case _:
            return str(value)


def _worded(error: InputError) -> tuple[Problem, ...]:
    """Problems with the question they belong to."""
    fields = {
        field.place: field.ask
        for point in service().rulebook.installation.points.values()
        for field in point.fields
    }
    asked = ((one, fields.get("".join(path_to(one.pointer or "")[1:]))) for one in error.told)
    return tuple(one if ask is None else Problem(f"{ask} {one.message}", one.pointer) for one, ask in asked)


def _read(seen: view.InstallView, name: str, form: MultiDict[str, str]) -> dict[str, Any]:
    """A step's data of what was typed."""
    said = {key: text for key, text in form.items() if text.strip() and key != "key"}
    if name in STAGES:
        fields = [field for point in service().rulebook.installation.of_stage(name) for field in point.fields]
        return {"answers": _answers(seen, fields, form)}
    match name:
        case "date":
            zone = zone_named(seen.site.timezone)
            at = said.get("at", "")
            try:
                moment = datetime.fromisoformat(at)
            except ValueError:
                raise InputError([Problem(gettext("Choose day and time."), "/at")]) from None
            moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
            return {**_only(said, "technician", "contractor"), "at": moment.isoformat()}
        case "kit":
            typed = {key[4:]: text.strip() for key, text in said.items() if key[:4] == "kit:"}
            counts = {key: int(one) if one.isdecimal() else one for key, one in typed.items()}
            return {"counts": counts, **_only(said, "machine")}
        case "training":
            people = [line.strip() for line in form.get("people", "").splitlines() if line.strip()]
            watched = form.get("watched") == "yes"
            return {"people": people, "topics": form.getlist("topics"), "watched": watched} | _only(
                said, "signed", "by"
            )
    return _only(said, "point", "until", "why")


def _only(said: Form, *names: str) -> dict[str, Any]:
    return {name: said[name].strip() for name in names if name in said}


def _answers(seen: view.InstallView, fields: list[Field], form: Form) -> dict[str, Any]:
    """What was typed; null for what was stored and is empty now."""
    found: dict[str, Any] = {}
    for field in fields:
        text = form.get(field.place, "").strip()
        if text:
            found[field.place] = _typed(field, text)
        elif field.place in form and field.place in seen.install.answers:
            found[field.place] = None
    return found


def _typed(field: Field, text: str) -> Any:
    match field.type:
        case "flag":
            return {"yes": True, "no": False}.get(text, text)
        case "number":
            return typed_number(text)
        case "hours" if "-" in text or "–" in text:
            return [part.strip() for part in text.replace("–", "-").split("-")]
        case _:
            return text
