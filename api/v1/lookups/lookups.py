"""Look-ups of the live rulebook: what may be named in an estimate or a closing, and what is paid for it."""

from __future__ import annotations

from typing import Any

from flask.views import MethodView
from marshmallow import Schema, fields

from api.http.auth import READERS, caller, roles, service
from api.http.json_bodies import Blueprint
from api.http.typed import schema_of
from api.v1.schemas import text
from triage.rulebook.terms import RateAgreement
from triage.values.dataclass_json import as_data
from triage.values.errors import NotFoundError

blueprint = Blueprint(
    "lookups", __name__, url_prefix="/v1/lookups", description="What an estimate or a closing may name"
)


class NamedOut(Schema):
    id = fields.String()
    title = fields.String()


class CauseNamedOut(NamedOut):
    component = fields.String()


class PartNamedOut(NamedOut):
    price = fields.String(metadata={"description": "Without markup, in `currency`"})


class CausesOut(Schema):
    items = fields.List(fields.Nested(CauseNamedOut))


class PartsOut(Schema):
    currency = fields.String()
    items = fields.List(fields.Nested(PartNamedOut))


class ComponentsOut(Schema):
    items = fields.List(fields.String(), metadata={"example": ["compressor", "refrigeration"]})


class RatesQuery(Schema):
    contractor = text(64, metadata={"description": "Its id; a technician's own, if left out"})


class RatesOut(Schema):
    contractor = fields.String(allow_none=True, metadata={"description": "null: the default agreement"})
    currency = fields.String()
    items = fields.List(
        fields.Nested(schema_of(RateAgreement)), metadata={"description": "One for each period of validity"}
    )


@blueprint.route("/causes")
class Causes(MethodView):
    @roles(*READERS)
    @blueprint.response(200, CausesOut)
    def get(self) -> Any:
        """Causes that a closing may confirm."""
        found = sorted(service().rulebook.causes.values(), key=lambda one: one.id)
        return {"items": [{"id": one.id, "title": one.title, "component": one.component} for one in found]}


@blueprint.route("/parts")
class Parts(MethodView):
    @roles(*READERS)
    @blueprint.response(200, PartsOut)
    def get(self) -> Any:
        """Parts with their prices."""
        rulebook = service().rulebook
        items = [
            {"id": number, "title": part.title, "price": f"{part.price:f}"}
            for number, part in sorted(rulebook.parts.items())
        ]
        return {"currency": rulebook.currency, "items": items}


@blueprint.route("/components")
class Components(MethodView):
    @roles(*READERS)
    @blueprint.response(200, ComponentsOut)
    def get(self) -> Any:
        """Components that a bill's lines may name."""
        return {"items": sorted({cause.component for cause in service().rulebook.causes.values()})}


@blueprint.route("/rates")
class Rates(MethodView):
    @roles(*READERS)
    @blueprint.arguments(RatesQuery, location="query")
    @blueprint.response(200, RatesOut)
    def get(self, query: dict[str, Any]) -> Any:
        """The rate agreement of a contractor; a technician sees the own one only."""
        rulebook, viewer = service().rulebook, caller()
        asked = query.get("contractor")
        contractor = viewer.contractor if viewer.role == "technician" else asked
        if asked is not None and asked != contractor:
            raise NotFoundError(f'no contractor "{asked}"')
        own = rulebook.rates.of(contractor)
        return {
            "contractor": contractor if own else None,
            "currency": rulebook.currency,
            "items": [
                as_data(one) | {"tax_on": sorted(one.tax_on)} for one in own or rulebook.rates.of(None)
            ],
        }
