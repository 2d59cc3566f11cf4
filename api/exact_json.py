"""Strict JSON for request bodies: numbers become Decimal, and NaN, Infinity and repeated keys are refused."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any, NoReturn

from flask.json.provider import DefaultJSONProvider

MAX_DIGITS = 40


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number")


def _number(text: str) -> Decimal:
    if len(text) > MAX_DIGITS:
        raise ValueError(f"a number has more than {MAX_DIGITS} characters")
    return Decimal(text)


def _integer(text: str) -> int:
    if len(text) > MAX_DIGITS:
        raise ValueError(f"a number has more than {MAX_DIGITS} characters")
    return int(text)


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f'the key "{key}" stands twice in one object')
        found[key] = value
    return found


class ExactJSONProvider(DefaultJSONProvider):
    def loads(self, s: str | bytes, **kwargs: Any) -> Any:
        try:
            return json.loads(
                s,
                parse_float=_number,
                parse_int=_integer,
                parse_constant=_refuse_constant,
                object_pairs_hook=_no_repeats,
            )
        except RecursionError:
            raise ValueError("the document is nested too deeply") from None

    @staticmethod
    def default(o: Any) -> Any:  # type: ignore[override]
        if isinstance(o, Decimal):
            return int(o) if o == o.to_integral_value() else float(o)
        return DefaultJSONProvider.default(o)
