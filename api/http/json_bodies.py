"""Strict JSON bodies: exact numbers; NaN, Infinity and repeated keys refused, each in its place."""

from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any, TypeVar, cast

from flask import Response, current_app, request
from flask.json.provider import DefaultJSONProvider
from flask_smorest import Blueprint as SmorestBlueprint
from marshmallow import RAISE
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import BadRequest, UnsupportedMediaType

from triage.values.errors import InputError
from triage.values.json_text import read_strict, to_json

View = TypeVar("View", bound=Callable[..., Any])


def read_exact(content: bytes) -> Any:
    """The document in a request body; BadRequest says what is wrong with it, and where."""
    try:
        return read_strict(content)
    except InputError as error:
        raise BadRequest(f"The body cannot be used: {error}.") from None


class ExactParser(FlaskParser):
    """Reads JSON bodies with `read_exact`; anything sent as another media type is refused."""

    # A misspelt query parameter is an error as a misspelt key of a body is.
    DEFAULT_UNKNOWN_BY_LOCATION: dict[str, str | None] = {  # noqa: RUF012  # webargs declares it so
        **FlaskParser.DEFAULT_UNKNOWN_BY_LOCATION,
        "query": RAISE,
    }

    def load_json(self, req: Any, schema: Any) -> Any:
        if not req.is_json:
            raise UnsupportedMediaType("Send the body as application/json.")
        return read_exact(req.get_data())


class Blueprint(SmorestBlueprint):
    """A flask-smorest blueprint whose bodies are read exactly."""

    ARGUMENTS_PARSER = ExactParser()


class ExactJSONProvider(DefaultJSONProvider):
    """Writes JSON as the log keeps it: Decimals digit for digit."""

    def dumps(self, obj: Any, **kwargs: Any) -> str:
        return to_json(obj)


def wants(other: str) -> bool:
    """Whether the client asks for `other` rather than JSON."""
    return request.accept_mimetypes.best_match(["application/json", other]) == other


def as_text(content: str | Iterable[str], media_type: str) -> Response:
    """A text answer where JSON is the usual one."""
    response = Response(content, content_type=f"{media_type}; charset=utf-8")
    response.headers["Vary"] = "Accept"
    return response


def body_up_to(most: int) -> Callable[[View], View]:
    """Lets the body of a view hold so many bytes, more than others may."""

    def wrap(view: View) -> View:
        @wraps(view)
        def larger(*args: Any, **kwargs: Any) -> Any:
            usual = current_app.config["MAX_CONTENT_LENGTH"] or most
            request.max_content_length = max(most, usual)
            return view(*args, **kwargs)

        return cast(View, larger)

    return wrap
