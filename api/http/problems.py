"""Errors as RFC 9457 problem details, for JSON and for pages, in one place.

The type leads to a page that says what it means.
Every problem has type, title, status and detail; a problem with the input also has `errors`: a list of
{detail, pointer} (RFC 6901 pointers into the body, or `query:name`, `header:name`).
"""

import logging
from collections.abc import Iterator, Mapping
from typing import Any

from flask import Flask, Response, current_app, json, render_template, request
from werkzeug.exceptions import HTTPException, NotFound

from api.http.watching import route
from triage.values.errors import (
    ConflictError,
    ForbiddenError,
    InputError,
    NotFoundError,
    Problem,
    UnavailableError,
    pointer_to,
    told,
)
from triage.values.shown import N_

log = logging.getLogger(__name__)

TITLES = {
    400: N_("The request cannot be read"),
    401: N_("A token is needed"),
    403: N_("This token may not do that"),
    404: N_("Not found"),
    405: N_("This address does not take that method"),
    409: N_("It does not fit what is stored"),
    412: N_("It has changed since it was read"),
    413: N_("The request is too large"),
    415: N_("The body must be JSON"),
    422: N_("The input cannot be used"),
    428: N_("If-Match is needed"),
    500: N_("Something went wrong here"),
    503: N_("It cannot be answered now"),
}
PAGE_TITLES = {
    401: N_("Sign in first"),
    403: N_("You may not do that"),
    405: N_("Nothing can be sent here"),
    412: TITLES[409],
    415: TITLES[400],
    428: TITLES[409],
}
"""Instead of those of `TITLES` where a person reads them."""
NOTHING_HERE = N_("There is nothing at this address.")


def problem(
    status: int, detail: str, errors: list[dict[str, str]] | None = None, **members: object
) -> Response:
    """A problem-details response, or the same as a page where the client is a browser."""
    body: dict[str, object] = {
        "type": f"{request.root_path}/problems/{status}" if status in TITLES else "about:blank",
        "title": TITLES.get(status, "The request failed"),
        "status": status,
        "detail": detail,
        **members,
    }
    if errors:
        body["errors"] = errors
    if _wants_page():
        body["title"] = PAGE_TITLES.get(status, body["title"])
        return Response(render_template("problem.html", problem=body), status, mimetype="text/html")
    return Response(json.dumps(body), status, content_type="application/problem+json")


def _wants_page() -> bool:
    best = request.accept_mimetypes.best_match(["application/json", "text/html"], "application/json")
    return best == "text/html" and not request.path.startswith(("/v1", "/openapi"))


def as_errors(problems: tuple[Problem, ...]) -> list[dict[str, str]]:
    return [
        {"detail": item.message} | ({"pointer": item.where} if item.where or item.pointer == "" else {})
        for item in problems
    ]


def schema_errors(messages: object, pointer: str = "") -> Iterator[Problem]:
    """marshmallow's nested messages, flattened to pointers."""
    if isinstance(messages, Mapping):
        for key, value in messages.items():
            yield from schema_errors(value, pointer + ("" if key == "_schema" else pointer_to([key])))
    else:
        for message in messages if isinstance(messages, list) else [messages]:
            yield Problem(str(message), pointer)


def status_of(error: InputError) -> int:
    """The HTTP status that says what is wrong."""
    if isinstance(error, NotFoundError):
        return 404
    if isinstance(error, ForbiddenError):
        return 403
    if isinstance(error, ConflictError):
        return 412 if "If-Match" in request.headers or "If-None-Match" in request.headers else 409
    return 422


def _input_error(error: InputError) -> Response:
    return problem(status_of(error), "; ".join(item.message for item in error.told), as_errors(error.told))


def _http_error(error: HTTPException) -> Response:
    status = error.code or 500
    messages: Any = getattr(error, "data", {}).get("messages") if hasattr(error, "data") else None
    if isinstance(messages, Mapping) and messages:
        # webargs puts the place first: {"json": {...}}, {"query": {...}}
        found = told(
            each if place == "json" else Problem(each.message, f"{place}:{(each.pointer or '').lstrip('/')}")
            for place, nested in messages.items()
            for each in schema_errors(nested)
        )
        response = problem(status, "; ".join(map(str, found)), as_errors(found))
    else:
        response = problem(status, _told(error, status))
    for name, value in error.get_headers():
        if name.lower() in {"allow", "www-authenticate", "retry-after"}:
            response.headers[name] = value
    return response


def _told(error: HTTPException, status: int) -> str:
    if status == 413:
        return f"The body is larger than {current_app.config['MAX_CONTENT_LENGTH'] // 1024} KiB; send less."
    if error.description == NotFound.description:
        return NOTHING_HERE
    return error.description or TITLES.get(status, "The request failed")


def _unavailable(error: UnavailableError) -> Response:
    log.warning("%s on %s %s", error, request.method, request.path)
    again = "; its operator has to act"
    if error.retry_seconds is not None:
        again = f"; try again in {error.retry_seconds} seconds, a change under the same Idempotency-Key"
    response = problem(503, f"It cannot be answered now: {error}{again}.")
    if error.retry_seconds is not None:
        response.headers["Retry-After"] = str(error.retry_seconds)
    return response


def _unexpected(error: Exception) -> Response:
    log.exception("unexpected error on %s %s", request.method, route())
    return problem(500, "The error is in the log of this server; nothing was stored by this request.")


def register(app: Flask) -> None:
    app.register_error_handler(InputError, _input_error)
    app.register_error_handler(UnavailableError, _unavailable)
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(Exception, _unexpected)
