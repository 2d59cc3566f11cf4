"""The sign that a stop page was shown: the page carries it, and only with it is "read out" believed.

It is made with the reader's session, so no page but the one shown to that reader can have it, and no worker
has to remember what it showed.
"""

import hmac
from collections.abc import Sequence

from flask import request

from api.http.auth import COOKIE
from triage.records.decision_parts import Caution
from triage.records.ticket import Ticket


def shown_sign(ticket: Ticket, cautions: Sequence[Caution]) -> str:
    """What the stop page with these cautions carries, for this reader and this version of the ticket."""
    said = "\n".join((ticket.id, str(ticket.version), *(f"{said.rule} {said.text}" for said in cautions)))
    return hmac.new(request.cookies.get(COOKIE, "").encode(), said.encode(), "sha256").hexdigest()


def was_shown(sign: str, ticket: Ticket, cautions: Sequence[Caution]) -> bool:
    """Whether `sign` comes from the stop page that shows these cautions."""
    return hmac.compare_digest(sign.encode(), shown_sign(ticket, cautions).encode())
