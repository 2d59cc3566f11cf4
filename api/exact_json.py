"""Strict JSON bodies: exact numbers; NaN, Infinity and repeated keys refused, with line and column said."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any, NoReturn

from flask.json.provider import DefaultJSONProvider
from flask_smorest import Blueprint as SmorestBlueprint
from marshmallow import RAISE
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import BadRequest, UnsupportedMediaType

from triage.plain_data import exact_number


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number that can be used; write a finite number")


def _integer(text: str) -> int:
    exact_number(text)
    return int(text)


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f'the key "{key}" stands twice in one object; keep one')
        found[key] = value
    return found


def read_exact(content: bytes) -> Any:
    """The document in a request body; BadRequest says what is wrong with it, and where."""
    try:
        return json.loads(
            content.decode("utf-8-sig"),
            parse_float=exact_number,
            parse_int=_integer,
            parse_constant=_refuse_constant,
            object_pairs_hook=_no_repeats,
        )
    except UnicodeDecodeError:
        raise BadRequest("The body is not UTF-8 text.") from None
    except json.JSONDecodeError as error:
        raise BadRequest(
            f"The body is not JSON: {error.msg} at line {error.lineno} column {error.colno}."
        ) from None
    except RecursionError:
        raise BadRequest("The body is nested too deeply.") from None
    except ValueError as error:
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
    """Writes Decimals as numbers: whole ones without a point."""

    compact = True

    @staticmethod
    def default(o: Any) -> Any:
        if isinstance(o, Decimal):
            return int(o) if o == o.to_integral_value() else float(o)
        return DefaultJSONProvider.default(o)
