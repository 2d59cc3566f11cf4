"""A ticket's log in words: who comes and when, what the authority said, how it ended."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from flask.testing import FlaskClient

from api.pages.history import history
from tests.triage.rulebook_care.safety.default_files import default_rulebook
from triage.records.payloads import (
    Approved,
    Dispatched,
    Payload,
    Reopened,
    Swapped,
    SwapReserved,
    Visited,
    Withdrawn,
)
from triage.records.ticket import Event
from triage.values.money import Money

AT = datetime(2026, 3, 2, 17, tzinfo=UTC)
YES = Approved(1, "desk_lead", True, Money(Decimal("420.00"), "USD"), "A-7", AT, "worth it", person="Ines")
NO = Approved(1, "desk_lead", False, None, None, None, "too dear")
SENT = Dispatched(1, AT, date(2026, 3, 2), 60, "fogline", (), "dispatch", "general", 3, None, (), "van 3")


@pytest.mark.parametrize(
    ("payload", "told"),
    [
        (YES, "yes, 420.00 USD. Ines. worth it"),
        (NO, "no. desk_lead. too dear"),
        (SENT, "Mon 2 Mar, 12:00 PM, fogline, van 3"),
        (Withdrawn("fogline", None, "sent elsewhere"), "sent elsewhere"),
        (Visited(1, "started", AT), "The technician came: Mon 2 Mar, 12:00 PM"),
        (Visited(1, "done", AT), "Visit ended: Mon 2 Mar, 12:00 PM"),
        (SwapReserved("LH20-9", "north"), "LH20-9, north"),
        (Swapped("LH20-1", "LH20-9", "scrap", AT), "LH20-1 → LH20-9"),
        (Reopened("it leaks again"), "it leaks again"),
    ],
)
def test_what_came_after_the_call_is_told(client: FlaskClient, payload: Payload, told: str) -> None:
    event = Event("T-1", 1, AT, "mira", "sha256:0", payload)
    with client.application.test_request_context("/"):
        (row,) = history(default_rulebook(), [event], "America/New_York")
    assert row.text == told
