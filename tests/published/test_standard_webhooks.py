"""What a webhook signs is accepted by the specification's reference library, and nothing that was changed is.

Source: Standard Webhooks contributors; Standard Webhooks specification, "Verifying webhook authenticity";
    year unknown; https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md
Status: from memory (the specification); computed with standardwebhooks
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from triage.service.outgoing.webhooks import new_secret, signed

BODY = b'{"type":"ticket.closed","data":{"ticket":"T-000001","seq":9}}'


def test_the_reference_library_accepts_the_signature():
    secret = new_secret()
    headers = signed(secret, "msg_1", BODY, datetime.now(UTC))
    assert Webhook(secret).verify(BODY, headers) == {
        "type": "ticket.closed",
        "data": {"ticket": "T-000001", "seq": 9},
    }


@pytest.mark.parametrize("changed", ["body", "id", "time", "secret", "old"])
def test_the_reference_library_refuses_what_was_changed_or_is_old(changed):
    secret = new_secret()
    sent = datetime.now(UTC) - timedelta(hours=1 if changed == "old" else 0)
    headers, body = signed(secret, "msg_1", BODY, sent), BODY
    if changed == "body":
        body = BODY.replace(b"9", b"8")
    elif changed == "id":
        headers["webhook-id"] = "msg_2"
    elif changed == "time":
        headers["webhook-timestamp"] = str(int(headers["webhook-timestamp"]) + 1)
    elif changed == "secret":
        secret = new_secret()
    with pytest.raises(WebhookVerificationError):
        Webhook(secret).verify(body, headers)
