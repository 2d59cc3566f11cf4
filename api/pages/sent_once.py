"""Forms that carry a key of their own, so that what a bad line makes a browser send twice happens once."""

import hashlib
from collections.abc import Callable, Mapping
from typing import Any

from flask import request

from api.http.auth import caller, service
from api.http.conditional import MAX_KEY
from api.pages.texts import gettext
from triage.service import requests
from triage.values.errors import InputError, Problem
from triage.values.json_text import to_json


def sent_once(data: Mapping[str, Any], action: Callable[[], requests.Response]) -> requests.Response:
    """Carries the form out by its key; sent again with the same data it is answered as before."""
    key = request.form.get("key", "")
    if not 8 <= len(key) <= MAX_KEY:
        raise InputError([Problem(gettext("This form has no key; load the page again."), "/key")])
    digest = hashlib.sha256(to_json(data).encode()).hexdigest()
    return requests.once(service(), f"POST {request.path} {key}", caller(), digest, action)
