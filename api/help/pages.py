"""Help as pages, from Markdown beside the templates; the API's reference, from its OpenAPI document."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from pathlib import Path
from typing import Any

from flask import Blueprint, current_app, render_template
from flask.typing import ResponseReturnValue
from markdown_it import MarkdownIt
from markupsafe import Markup

from api.http.problems import TITLES
from api.pages.texts import gettext, page_language
from triage.values.errors import NotFoundError

blueprint = Blueprint("help", __name__)
DOCUMENT = "barrelwise_document"
"""The app's extension that makes the OpenAPI document."""
FOLDER = Path(__file__).parents[1] / "templates" / "help"
PAGES = ("tutorial", "glossary", "api", "changelog", "upgrade")
_MARKDOWN = MarkdownIt("commonmark", {"html": False}).enable("table")


@blueprint.get("/help")
@blueprint.get("/help/<name>")
def page(name: str = "tutorial") -> ResponseReturnValue:
    """A page in the language of the pages, in English where it is not translated."""
    if name not in PAGES:
        raise NotFoundError("there is no such page of help")
    own = FOLDER / page_language() / f"{name}.md"
    path = own if own.is_file() else FOLDER / "en" / f"{name}.md"
    return render_template(
        "help/page.html",
        name=name,
        language=path.parent.name,
        titles=titles(),
        body=Markup(_MARKDOWN.render(path.read_text(encoding="utf-8"))),
    )


@blueprint.get("/problems/<int:status>")
def problem(status: int) -> ResponseReturnValue:
    """What the `type` of a problem leads to: what it means and what to do."""
    if status not in TITLES:
        raise NotFoundError("there is no such problem")
    return render_template(
        "help/problem.html",
        status=status,
        name=HTTPStatus(status).phrase,
        title=TITLES[status],
        what=WHAT_TO_DO[status],
        titles=titles(),
    )


@blueprint.get("/api")
def reference() -> ResponseReturnValue:
    document = current_app.extensions[DOCUMENT].to_dict()
    return render_template(
        "help/reference.html",
        titles=titles(),
        document=document,
        tags=_by_tag(document),
        schemas=document["components"]["schemas"],
        type_words=_type_words,
        problems={status: TITLES[status] for status in WHAT_TO_DO},
    )


def titles() -> Mapping[str, str]:
    return {
        "tutorial": gettext("Tutorial"),
        "glossary": gettext("Glossary"),
        "api": gettext("The API in short"),
        "changelog": gettext("Changelog"),
        "upgrade": gettext("Upgrade notes"),
    }


def _by_tag(document: Mapping[str, Any]) -> Mapping[str, list[tuple[str, str, Mapping[str, Any]]]]:
    """Tag -> (method, path, operation)."""
    found: dict[str, list[tuple[str, str, Mapping[str, Any]]]] = {}
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            if method in ("get", "post", "put", "delete"):
                found.setdefault(operation["tags"][0], []).append((method.upper(), path, operation))
    return found


def _type_words(schema: Mapping[str, Any]) -> str:
    """A schema in a word or two: the name of an object, what a list is of."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    parts = schema.get("allOf") or schema.get("anyOf") or schema.get("oneOf")
    if parts:
        return " or ".join(_type_words(part) for part in parts)
    kind = schema.get("type", "any")
    words = [kind] if isinstance(kind, str) else list(kind)
    if "array" in words and "items" in schema:
        words[words.index("array")] = f"list of {_type_words(schema['items'])}"
    choices = [str(one) for one in schema.get("enum", ()) if one is not None]
    return " or ".join(words) + (f": {', '.join(choices)}" if choices else "")


WHAT_TO_DO: Mapping[int, str] = {
    400: "The body is no JSON that can be read, or a header is malformed. Fix what `detail` names.",
    401: "Send `Authorization: Bearer …` with a valid token; `barrelwise token add` makes one.",
    403: "The token's role may not do this. Use one of a role that `detail` names.",
    404: "Nothing has that number or name, or this token may not see it.",
    405: "The address is right, the method is not; `Allow` lists those that it takes.",
    409: "What is stored does not allow it: the ticket is closed, or the step was taken. Read it again.",
    412: "Somebody changed it since it was read. Read it again, and send the new ETag in `If-Match`.",
    413: "Send less; `detail` says how much is taken.",
    415: "Send `Content-Type: application/json`.",
    422: "`errors` has each place (`pointer`) with what is wrong and how to fix it.",
    428: "Send the ETag that was read in `If-Match`.",
    500: "The fault is on this side, and nothing was stored. Its operator finds it in the log.",
    503: "Too much is asked at once, or the database does not answer. Try again later; see `Retry-After`.",
}
"""Status -> what a client does about it."""
