"""The decision tables of the rulebook in force, for tools that read DMN."""

from __future__ import annotations

from typing import Any

from flask import Response
from flask.views import MethodView

from api.http.auth import programme, roles
from api.http.json_bodies import Blueprint
from triage.rulebook_care.dmn.exporting import export_model
from triage.rulebook_care.dmn.write import write_model
from triage.values.errors import NotFoundError

blueprint = Blueprint("dmn", __name__, url_prefix="/v1/rulebook", description="Decision tables as DMN")


@blueprint.route("/tables.dmn")
class Tables(MethodView):
    @roles("ops", "reporter")
    @blueprint.response(
        200, {"type": "string", "format": "binary"}, content_type="application/xml", description="DMN 1.5 XML"
    )
    def get(self) -> Any:
        """The limit tables and the policy in force as DMN 1.5 XML."""
        rulebook = programme().rulebook
        with programme().store.read() as work:
            files = work.rulebooks.files(rulebook.version)
        if files is None:
            raise NotFoundError("the files of the rulebook in force are not kept")
        content = write_model(export_model(rulebook, files))
        return Response(
            content,
            content_type="application/xml",
            headers={"Content-Disposition": f'attachment; filename="tables-{rulebook.version[7:19]}.dmn"'},
        )
