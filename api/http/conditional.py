"""ETag and If-Match on tickets, and Idempotency-Key on every POST.

A key belongs to one caller, method and path. The same key with the same body gives the stored response again;
with another body it is refused.
"""

import hashlib
import inspect
from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from flask import Response, current_app, make_response, request
from werkzeug.exceptions import BadRequest

from api.http.auth import caller, service
from api.http.json_bodies import Blueprint
from triage.service import requests
from triage.values.json_text import from_json

View = TypeVar("View", bound=Callable[..., Any])
MAX_KEY = 128
KEPT_HEADERS = ("Location", "ETag")


IDEMPOTENCY_KEY = {
    "in": "header",
    "name": "Idempotency-Key",
    "schema": {"type": "string", "minLength": 1, "maxLength": MAX_KEY},
    "description": "Sent again with the same body, the stored response comes again and nothing happens twice",
}
IF_MATCH = {
    "in": "header",
    "name": "If-Match",
    "schema": {"type": "string"},
    "description": "The ticket's ETag; 412 if the ticket has changed since",
}


def etag(version: int) -> str:
    return f'"{version}"'


def wanted_version() -> int | None:
    """The ticket version in If-Match; None when the caller did not send one."""
    header = request.headers.get("If-Match")
    if header is None or header.strip() == "*":
        return None
    text = header.strip().strip('"')
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise BadRequest('If-Match takes the ticket\'s ETag, such as "3".')
    return int(text)


def idempotent(view: View) -> View:
    """Keeps a successful response under the request's Idempotency-Key, if it has one."""
    return _once(view, is_work=False)


def idempotent_work(view: View) -> View:
    """The same for long work that does no harm done twice: no lock is held while it goes on.

    Of two that are sent at once both may do it, but the response of both is the first one.
    """
    return _once(view, is_work=True)


def _once(view: View, is_work: bool) -> View:
    @wraps(view)
    def once(*args: Any, **kwargs: Any) -> Any:
        key = request.headers.get("Idempotency-Key")
        if key is None:
            return view(*args, **kwargs)
        if not 1 <= len(key) <= MAX_KEY:
            raise BadRequest(f"Idempotency-Key takes 1 to {MAX_KEY} characters.")

        def action() -> requests.Response:
            made = make_response(view(*args, **kwargs))
            headers = {name: made.headers[name] for name in KEPT_HEADERS if name in made.headers}
            return requests.Response(made.status_code, from_json(made.get_data(as_text=True)), headers)

        key = f"{request.method} {request.path} {key}"
        request_hash = hashlib.sha256(request.get_data()).hexdigest()
        stored = requests.once(service(), key, caller(), request_hash, action, is_work=is_work)
        body = current_app.json.dumps(stored.body)
        media = "application/problem+json" if stored.status >= 400 else "application/json"
        response = Response(body, stored.status, stored.headers, content_type=media)
        if stored.repeated:
            response.headers["Idempotency-Replayed"] = "true"
        return response

    of_ticket = "ticket_id" in inspect.signature(view).parameters
    documented = Blueprint.doc(parameters=[IDEMPOTENCY_KEY, IF_MATCH] if of_ticket else [IDEMPOTENCY_KEY])
    return cast(View, documented(once))
