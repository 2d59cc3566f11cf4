"""Signs what a listening program is sent, and sends it, by the Standard Webhooks specification.

https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md (from memory;
its reference library reads back what is sent, in the tests): HMAC-SHA256 over `id.timestamp.body`, base64.
"""

import base64
import hashlib
import hmac
import ipaddress
import secrets
import urllib.error
import urllib.request
from datetime import datetime
from http.client import HTTPException
from typing import Any
from urllib.parse import urlsplit

from triage.store.tables.outbox import Telling
from triage.values.errors import InputError
from triage.values.json_text import to_json

PREFIX = "whsec_"
SECONDS = 10
"""How long a listener may take to answer."""


class DeliveryError(Exception):
    """Not delivered, and why; it is tried again."""


def new_secret() -> str:
    return PREFIX + base64.b64encode(secrets.token_bytes(32)).decode()


def check_url(url: str) -> None:
    """Raises InputError for an address that nothing should be sent to: encrypted, or on this machine."""
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        raise InputError(f'"{url[:80]}" is no address; write one such as https://example.com/hook') from None
    if not (url.isascii() and url.isprintable() and host) or parts.username or parts.fragment:
        raise InputError(f'"{url[:80]}" cannot be used; write an address such as https://example.com/hook')
    if parts.scheme != "https" and not (parts.scheme == "http" and _is_here(host)):
        raise InputError("a listener on another machine is told over https only; write https://…")


def _is_here(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def body_of(telling: Telling) -> bytes:
    """What happened to which ticket, and nothing that was said or spent: who may know more asks the API."""
    assert telling.at is not None
    data = {"ticket": telling.ticket, "seq": telling.seq}
    event = {"type": f"ticket.{telling.kind}", "timestamp": telling.at.isoformat(), "data": data}
    return to_json(event).encode()


def signed(secret: str, id_: str, body: bytes, now: datetime) -> dict[str, str]:
    """The headers that let the listener see that it was us, just now, and that nothing was changed."""
    timestamp = str(int(now.timestamp()))
    key = base64.b64decode(secret.removeprefix(PREFIX))
    mark = hmac.new(key, f"{id_}.{timestamp}.".encode() + body, hashlib.sha256).digest()
    signature = f"v1,{base64.b64encode(mark).decode()}"
    return {"webhook-id": id_, "webhook-timestamp": timestamp, "webhook-signature": signature}


def send(telling: Telling, now: datetime) -> None:
    """Tells a listener. Raises DeliveryError unless it answers 2xx in time; redirects are not followed."""
    assert telling.listener is not None
    body = body_of(telling)
    headers = signed(telling.listener.secret, f"msg_{telling.id}", body, now)
    headers |= {"Content-Type": "application/json", "User-Agent": "barrelwise"}
    request = urllib.request.Request(telling.listener.url, body, headers, method="POST")
    try:
        with _OPENER.open(request, timeout=SECONDS):
            return
    except urllib.error.HTTPError as error:
        error.close()
        raise DeliveryError(f"it answered {error.code}") from None
    except (OSError, HTTPException, ValueError) as error:
        raise DeliveryError(f"it did not answer: {error}") from None


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_args: Any, **_kwargs: Any) -> None:
        return None


_OPENER = urllib.request.build_opener(_NoRedirect)
