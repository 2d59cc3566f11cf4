"""Photos of a ticket: sent as they are, kept as JPEGs without what a camera adds."""

from __future__ import annotations

from typing import Any

from flask import Response, request, url_for
from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import READERS, caller, roles, service
from api.http.conditional import idempotent
from api.http.json_bodies import Blueprint
from triage.inputs.photo import MOST_BYTES
from triage.service.photos import kept

blueprint = Blueprint("photos", __name__, url_prefix="/v1", description="Photos of a ticket")
BODY = {"content": {"image/*": {"schema": {"type": "string", "format": "binary"}}}, "required": True}


@blueprint.before_request
def _larger() -> None:
    request.max_content_length = MOST_BYTES


class PhotoOut(Schema):
    number = fields.Integer()
    at = fields.String(metadata={"description": "RFC 3339"})
    who = fields.String()
    image = fields.String(metadata={"description": "Where the JPEG is found"})


class PhotosOut(Schema):
    items = fields.List(fields.Nested(PhotoOut))


def photo_json(photo: kept.Photo, endpoint: str, **about: Any) -> dict[str, Any]:
    """`endpoint` gives the image, of the ticket or the installation in `about`."""
    where = url_for(endpoint, number=photo.number, **about)
    return {"number": photo.number, "at": photo.at.isoformat(), "who": photo.who, "image": where}


def _shown(photo: kept.Photo, ticket_id: str) -> dict[str, Any]:
    return photo_json(photo, "photos.PhotoImage", ticket_id=ticket_id)


@blueprint.route("/tickets/<ticket_id>/photos")
class Photos(MethodView):
    @roles(*READERS)
    @blueprint.response(200, PhotosOut)
    def get(self, ticket_id: str) -> Any:
        """The ticket's photos by number."""
        found = kept.photos(service(), ticket_id, caller())
        return {"items": [_shown(photo, ticket_id) for photo in found]}

    @roles("agent", "technician", "ops")
    @idempotent
    @blueprint.doc(requestBody=BODY)
    @blueprint.response(201, PhotoOut)
    def post(self, ticket_id: str) -> Any:
        """A photo, as the bytes of a JPEG, PNG or WebP; the same one again is the one that is there."""
        shown = _shown(kept.add(service(), ticket_id, request.get_data(), caller()), ticket_id)
        return shown, {"Location": shown["image"]}


@blueprint.route("/tickets/<ticket_id>/photos/<int:number>.jpg")
class PhotoImage(MethodView):
    @roles(*READERS)
    @blueprint.response(200, content_type="image/jpeg")
    def get(self, ticket_id: str, number: int) -> Response:
        """The photo itself."""
        return Response(kept.image(service(), ticket_id, number, caller()), content_type="image/jpeg")
