"""Installations: planned, and taken step by step from the site survey to live."""

from dataclasses import asdict
from typing import Any

from flask import Response, request, url_for
from flask.views import MethodView
from marshmallow import Schema, fields, validate

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import etag, idempotent, wanted_version
from api.http.json_bodies import Blueprint
from api.v1.photos import BODY, PhotoOut, PhotosOut, photo_json
from api.v1.schemas import core, moment, text
from triage.inputs.photo import MOST_BYTES
from triage.records.installs.job import STATES
from triage.service.installs import jobs, view
from triage.service.installs.reading import STEPS
from triage.service.photos import kept

PLAN = {"site": "halt-001", "machine": "LH20-10001", "contractor": "fogline"}
STEP_EXAMPLES = {
    each["step"]: {"value": each}
    for each in (
        {"step": "survey", "answers": {"circuit/dedicated": True, "circuit/volts": 119.5}},
        {"step": "date", "at": "2026-12-03T09:00:00-05:00", "minutes": 180, "technician": "Ray"},
        {"step": "kit", "counts": {"hopper": 2, "leg": 4}, "machine": "LH20-10001"},
        {"step": "set_up", "answers": {"shipping_bolt_removed": True, "night_mode/start": "23:00"}},
        {
            "step": "training",
            "people": ["Dana"],
            "topics": ["fill", "clean"],
            "watched": True,
            "signed": "Dana",
        },
        {"step": "hand_over", "answers": {"points/care_guide_left": True}},
        {"step": "promise", "point": "tray_in", "until": "2026-12-10", "why": "The tray is on its way"},
        {"step": "finish"},
        {"step": "call_back", "why": "It leaks since the first night"},
        {"step": "cancel", "why": "The store is rebuilt"},
    )
}

blueprint = Blueprint("installs", __name__, url_prefix="/v1", description="Installations")


class PlanIn(Schema):
    site = text(64, required=True)
    model = text(64, metadata={"description": "The model, where the serial is not known yet"})
    machine = text(64, metadata={"description": "Serial, however it is spelled"})
    contractor = text(64)
    note = text(500)


class StepIn(Schema):
    """Which keys go with which step is said by the error for one that does not."""

    step = fields.String(required=True, validate=validate.OneOf(STEPS))
    answers = fields.Dict(
        metadata={"description": "survey, set_up, hand_over: by the fields' places; null takes one back"}
    )
    at = moment("when somebody comes (date)")
    minutes = core("integer", "date: how long it takes; 180, if left out")
    contractor = text(64, metadata={"description": "date: who comes; the one planned, if left out"})
    technician = text(100, metadata={"description": "date"})
    counts = fields.Dict(metadata={"description": "kit: what was in the boxes, by id", "example": {"leg": 4}})
    machine = text(64, metadata={"description": "kit: the serial on the plate"})
    people = fields.List(text(200), metadata={"description": "training: who"})
    topics = fields.List(text(64), metadata={"description": "training: on what"})
    by = text(200, metadata={"description": "training: who trained them; the caller, if left out"})
    signed = text(200, metadata={"description": "training: who signed"})
    watched = core("boolean", "training: whether they set up one side while watched")
    point = text(64, metadata={"description": "promise: the open item"})
    until = core("string", "promise: the day by which it is put right", format="date")
    why = text(500, metadata={"description": "promise, call_back, cancel: a sentence"})


class ItemOut(Schema):
    point = fields.String()
    title = fields.String()
    result = fields.String(metadata={"description": "failed or missing"})
    found = fields.String()
    wanted = fields.String()
    fix = fields.String()
    blocks = fields.Boolean(metadata={"description": "Keeps the machine from going live"})
    until = fields.String(metadata={"description": "The day by which it is to be put right"})
    promised = fields.Boolean()


class InstallOut(Schema):
    install = fields.String()
    version = fields.Integer()
    state = fields.String(validate=validate.OneOf(STATES))
    next = fields.List(fields.String(), metadata={"description": "Steps that may follow"})
    site = fields.String()
    model = fields.String()
    contractor = fields.String(allow_none=True)
    machine = fields.String(allow_none=True)
    note = fields.String()
    planned_at = fields.String()
    changed_at = fields.String()
    live_at = fields.String(allow_none=True)
    answers = fields.Dict()
    counts = fields.Dict(allow_none=True)
    visits = fields.List(fields.Dict(), metadata={"description": "`free`: a call-back, at no charge"})
    trained = fields.List(fields.Dict())
    called_back = fields.Dict(allow_none=True, metadata={"description": "By when, and why"})
    findings = fields.List(fields.Dict(), metadata={"description": "{id, title, result, found, wanted, why}"})
    punch_list = fields.List(fields.Nested(ItemOut))
    photos = fields.Integer()
    calendar = fields.String(allow_none=True, metadata={"description": "The visit as iCalendar"})


class FieldOut(Schema):
    place = fields.String()
    ask = fields.String()
    type = fields.String()
    choices = fields.Dict()


class PointOut(Schema):
    point = fields.String()
    title = fields.String()
    stage = fields.String()
    blocks = fields.Boolean()
    days = fields.Integer()
    fields_ = fields.List(fields.Nested(FieldOut), data_key="fields")


class FormOut(Schema):
    points = fields.List(fields.Nested(PointOut))
    kit = fields.List(fields.Dict(), metadata={"description": "{id, title, count, models}"})
    topics = fields.Dict()


class InstallsQuery(Schema):
    state = fields.String(validate=validate.OneOf(STATES))
    site = text(64)
    machine = text(64, metadata={"description": "Serial, however it is spelled"})
    contractor = text(64, metadata={"description": "A technician sees the own contractor's only"})


class InstallsOut(Schema):
    items = fields.List(fields.Nested(InstallOut))


def install_json(seen: view.InstallView) -> dict[str, Any]:
    where = url_for("installs.InstallCalendar", install_id=seen.install.id)
    return jobs.install_data(seen) | {"calendar": where if seen.install.visits else None}


def _answer(seen: view.InstallView) -> Any:
    where = url_for("installs.OneInstall", install_id=seen.install.id)
    return install_json(seen), {"ETag": etag(seen.install.version), "Location": where}


@blueprint.route("/installs")
class Installs(MethodView):
    @roles(*READERS)
    @blueprint.arguments(InstallsQuery, location="query")
    @blueprint.response(200, InstallsOut)
    def get(self, query: dict[str, str]) -> Any:
        """Installations by the time somebody is to come, at most 200."""
        return {"items": [install_json(one) for one in view.listed(service(), caller(), query)]}

    @roles("agent", "ops")
    @idempotent
    @blueprint.arguments(PlanIn, example=PLAN)
    @blueprint.response(201, InstallOut)
    def post(self, body: dict[str, Any]) -> Any:
        """Plan an installation."""
        return _answer(jobs.plan(service(), body, caller()))


@blueprint.route("/installs/form")
class Form(MethodView):
    @roles(*READERS)
    @blueprint.response(200, FormOut)
    def get(self) -> Any:
        """What an installation takes by the live rulebook: points with their fields, kit, topics."""
        installation = service().rulebook.installation
        every = installation.points.values()
        points = [asdict(one) | {"point": one.id, "fields_": one.fields} for one in every]
        kit = [asdict(one) for one in installation.kit.values()]
        return {"points": points, "kit": kit, "topics": installation.topics}


@blueprint.route("/installs/<install_id>")
class OneInstall(MethodView):
    @roles(*READERS)
    @blueprint.response(200, InstallOut)
    def get(self, install_id: str) -> Any:
        """An installation with its findings and its punch list."""
        return _answer(view.one(service(), install_id, caller()))


@blueprint.route("/installs/<install_id>/steps")
class Steps(MethodView):
    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.arguments(StepIn, examples=STEP_EXAMPLES)
    @blueprint.response(201, InstallOut)
    def post(self, body: dict[str, Any], install_id: str) -> Any:
        """The next step, from the survey to the finish."""
        return _answer(jobs.step(service(), install_id, body, caller(), wanted_version()))


@blueprint.route("/installs/<install_id>/visit.ics")
class InstallCalendar(MethodView):
    @roles(*READERS)
    @blueprint.response(200, content_type="text/calendar")
    def get(self, install_id: str) -> Response:
        """The visit planned last, as an iCalendar object."""
        content = view.calendar(service(), install_id, caller())
        response = Response(content, content_type="text/calendar; charset=utf-8; method=PUBLISH")
        response.headers["Content-Disposition"] = 'attachment; filename="installation.ics"'
        return response


@blueprint.route("/installs/<install_id>/photos")
class InstallPhotos(MethodView):
    @roles(*READERS)
    @blueprint.response(200, PhotosOut)
    def get(self, install_id: str) -> Any:
        """The installation's photos by number."""
        found = kept.photos(service(), install_id, caller(), view.ALBUM)
        return {"items": [_photo_json(install_id, photo) for photo in found]}

    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.doc(requestBody=BODY)
    @blueprint.response(201, PhotoOut)
    def post(self, install_id: str) -> Any:
        """A photo, as the bytes of a JPEG, PNG or WebP; the same one again is the one that is there."""
        request.max_content_length = MOST_BYTES
        photo = kept.add(service(), install_id, request.get_data(), caller(), view.ALBUM)
        shown = _photo_json(install_id, photo)
        return shown, {"Location": shown["image"]}


@blueprint.route("/installs/<install_id>/photos/<int:number>.jpg")
class InstallPhoto(MethodView):
    @roles(*READERS)
    @blueprint.response(200, content_type="image/jpeg")
    def get(self, install_id: str, number: int) -> Response:
        """The photo itself."""
        image = kept.image(service(), install_id, number, caller(), view.ALBUM)
        return Response(image, content_type="image/jpeg")


def _photo_json(install_id: str, photo: kept.Photo) -> dict[str, Any]:
    return photo_json(photo, "installs.InstallPhoto", install_id=install_id)
