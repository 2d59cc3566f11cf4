"""The files of the rulebook's folder one by one: read, checked, saved and deleted. For ops only.

A file's ETag is the SHA-256 of its bytes: who changes a file says in If-Match which one was read, and who
makes one says that there must be none (`If-None-Match: *`). What is saved is not live until published.
"""

import logging
from typing import Any

from flask import Response, make_response, request
from flask.views import MethodView
from marshmallow import Schema, fields
from werkzeug.exceptions import BadRequest, PreconditionRequired

from api.http.auth import caller, roles
from api.http.check_words import as_data, cases_as_data, reasons
from api.http.json_bodies import Blueprint, body_up_to
from api.http.work_folder import MOST_FORM_BYTES, checks, work_folder
from triage.rulebook_care.editing.files import as_saved, known_path
from triage.values.errors import InputError
from triage.values.yaml_source import MOST_BYTES

log = logging.getLogger(__name__)
blueprint = Blueprint(
    "rulebook_files",
    __name__,
    url_prefix="/v1/rulebook/files",
    description="The rulebook's files, one by one",
)
IF_MATCH = {
    "in": "header",
    "name": "If-Match",
    "schema": {"type": "string"},
    "description": "The file's ETag; 412 if the file is another by now, 428 without it",
}
IF_NONE_MATCH = {
    "in": "header",
    "name": "If-None-Match",
    "schema": {"type": "string", "enum": ["*"]},
    "description": "`*`, and no If-Match, for a file that must not be there yet",
}


class FileRowOut(Schema):
    path = fields.String(metadata={"example": "evidence/filter-overdue.yml"})
    sha256 = fields.String(allow_none=True, metadata={"description": "Of its bytes; null: it is no text"})


class FilesOut(Schema):
    files = fields.List(fields.Nested(FileRowOut))
    read_only = fields.String(allow_none=True, metadata={"description": "Why nothing can be saved, if so"})


class FileOut(Schema):
    path = fields.String()
    sha256 = fields.String()
    text = fields.String(metadata={"description": "As it is on disk, comments and all"})


class PlaceOut(Schema):
    file = fields.String(allow_none=True)
    line = fields.Integer(allow_none=True)
    column = fields.Integer(allow_none=True)
    message = fields.String()


class FoundOut(PlaceOut):
    severity = fields.String(metadata={"description": "error, warning or note"})
    code = fields.String()
    fix = fields.String()


class FileCheckOut(Schema):
    ok = fields.Boolean(metadata={"description": "Whether it can be saved as finished"})
    problems = fields.List(fields.Nested(PlaceOut), metadata={"description": "What this text breaks"})
    findings = fields.List(fields.Nested(FoundOut), metadata={"description": "The lint's, of this file"})
    standing = fields.List(
        fields.Nested(PlaceOut), metadata={"description": "What is broken elsewhere without this text"}
    )
    cases = fields.Dict(metadata={"description": "How the cases came out, where asked for"})


class FileCheckIn(Schema):
    text = fields.String(required=True, metadata={"description": f"At most {MOST_BYTES:,} bytes of YAML"})
    cases = fields.Boolean(
        load_default=False, metadata={"description": "Run this rule's cases and the whole reports, too"}
    )


class FileIn(Schema):
    text = fields.String(required=True, metadata={"description": f"At most {MOST_BYTES:,} bytes of YAML"})
    unfinished = fields.Boolean(
        load_default=False, metadata={"description": "Save it although something is wrong with it"}
    )


class DeleteQuery(Schema):
    unfinished = fields.Boolean(
        load_default=False, metadata={"description": "Delete it although something needs it"}
    )


def _answer(path: str, text: str, sha256: str, status: int = 200) -> Response:
    response = make_response({"path": path, "sha256": sha256, "text": text}, status)
    response.set_etag(sha256)
    return response


def _opened(path: str) -> str | None:
    """The SHA-256 that If-Match names; None where the caller says that there is no file yet."""
    if request.if_match.star_tag:
        return work_folder().read(path).sha256
    named = list(request.if_match.as_set())
    if len(named) > 1:
        raise BadRequest("If-Match takes one ETag, that of the file as it was read.")
    if named:
        return named[0]
    if request.if_none_match.star_tag:
        return None
    raise PreconditionRequired("Send If-Match with the file's ETag, or If-None-Match: * for a new file.")


@blueprint.route("")
class Files(MethodView):
    @roles("ops")
    @blueprint.response(200, FilesOut)
    def get(self) -> Any:
        """All files of the folder, each with the SHA-256 of its bytes."""
        work = work_folder()
        return {
            "files": [{"path": path, "sha256": _sha256(path)} for path in work.paths()],
            "read_only": work.why_read_only(),
        }


def _sha256(path: str) -> str | None:
    try:
        return work_folder().read(path).sha256
    except InputError:
        return None


@blueprint.route("/<path:path>")
class OneFile(MethodView):
    @roles("ops")
    @blueprint.response(200, FileOut)
    def get(self, path: str) -> Any:
        """A file's text; its ETag goes into If-Match of a change."""
        found = work_folder().read(path)
        return _answer(found.path, found.text, found.sha256)

    @roles("ops")
    @body_up_to(MOST_FORM_BYTES)
    @blueprint.doc(parameters=[IF_MATCH, IF_NONE_MATCH])
    @blueprint.arguments(FileIn)
    @blueprint.response(200, FileOut)
    @blueprint.alt_response(201, schema=FileOut, description="A new file")
    def put(self, body: dict[str, Any], path: str) -> Any:
        """Save a file whole, byte for byte with LF line ends. Refused where it would break the rulebook."""
        opened, content = _opened(known_path(path)), as_saved(body["text"])
        if not body["unfinished"]:
            checked = checks().check(path, content)
            if not checked.ok:
                raise InputError(reasons(checked))
        saved = work_folder().save(path, body["text"], opened)
        log.info("%s saved %s", caller().name, path)
        return _answer(path, saved.text, saved.sha256, 201 if opened is None else 200)

    @roles("ops")
    @blueprint.doc(parameters=[IF_MATCH])
    @blueprint.arguments(DeleteQuery, location="query")
    @blueprint.response(204)
    def delete(self, query: dict[str, Any], path: str) -> None:
        """Delete a file. Refused where something needs it."""
        opened = _opened(known_path(path))
        if opened is None:
            raise PreconditionRequired("Send If-Match with the ETag of the file that is to go.")
        if not query["unfinished"]:
            needed = checks().check(path, None)
            if not needed.ok:
                raise InputError(reasons(needed))
        work_folder().delete(path, opened)
        log.info("%s deleted %s", caller().name, path)


@blueprint.route("/<path:path>/check")
class CheckFile(MethodView):
    @roles("ops")
    @body_up_to(MOST_FORM_BYTES)
    @blueprint.arguments(FileCheckIn)
    @blueprint.response(200, FileCheckOut)
    def post(self, body: dict[str, Any], path: str) -> Any:
        """What a text would break in place of the file, and how the cases come out. Nothing is saved."""
        content = as_saved(body["text"])
        found = as_data(checks().check(known_path(path), content))
        if body["cases"]:
            found["cases"] = cases_as_data(checks().run_cases(path, content))
        return found
