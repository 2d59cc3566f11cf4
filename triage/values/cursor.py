"""Where a page of a list ends, as a text that the next page is asked for with."""

from __future__ import annotations

import base64
import binascii
import json
from datetime import datetime
from typing import Any

from triage.values.errors import InputError, Problem
from triage.values.json_text import read_strict
from triage.values.time_zones import moment_of


def cursor_text(at: datetime, *keys: str | int) -> str:
    text = json.dumps([at.isoformat(), *keys])
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_cursor(cursor: str, *kinds: type[str] | type[int]) -> tuple[Any, ...]:
    """The moment and the keys of these kinds; InputError for what is no cursor."""
    try:
        at, *keys = read_strict(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        moment = moment_of(at)
        if [type(key) for key in keys] != [*kinds]:
            raise TypeError(keys)
    except (InputError, ValueError, TypeError, binascii.Error):
        raise InputError(
            [Problem("not a cursor of this list; take `next` from the page before", "query:cursor")]
        ) from None
    return moment, *keys
