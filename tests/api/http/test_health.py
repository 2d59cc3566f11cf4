"""What watches the server: it lives, it is ready, and what waits is counted."""

from __future__ import annotations

from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families

from tests.api.conftest import Send
from tests.triage.services import REPORT
from triage.service.service import Service
from triage.values.errors import UnavailableError


def test_a_server_whose_database_answers_is_ready(send: Send) -> None:
    found = send("GET", "/readyz")
    assert (found.status_code, found.json) == (200, {"status": "ready"})


def test_tickets_are_counted_for_those_who_may_read_the_numbers(send: Send) -> None:
    before = counted(send)
    assert before["barrelwise_open_tickets", "open"] == 0
    opened = send("POST", "/v1/reports", REPORT).json
    assert opened is not None
    after = counted(send)
    assert after["barrelwise_open_tickets", "open"] == 1
    assert after["barrelwise_tickets", "open", opened["outcome"]] == 1
    assert send("GET", "/metrics", by="fogline").status_code == 403


def counted(send: Send) -> dict[tuple[str, ...], float]:
    response = send("GET", "/metrics", by="reporter")
    assert response.content_type.startswith("text/plain")
    families = text_string_to_metric_families(response.text)
    return {
        (sample.name, *(sample.labels[name] for name in sorted(sample.labels, reverse=True))): sample.value
        for family in families
        for sample in family.samples
    }


def test_a_server_whose_database_is_gone_is_not_ready(send: Send, service: Service, tmp_path: Path) -> None:
    service.store.check()
    service.store.close()
    (tmp_path / "program.db").rename(tmp_path / "away.db")
    (tmp_path / "program.db").write_bytes(b"no database " * 1000)
    with pytest.raises(UnavailableError, match="damaged"):
        service.store.check()
    assert send("GET", "/healthz").status_code == 200
    found = send("GET", "/readyz")
    assert found.status_code == 503
    assert found.content_type == "application/problem+json"
    (tmp_path / "program.db").unlink()
    (tmp_path / "away.db").rename(tmp_path / "program.db")
    service.store.close()
    service.store.check()
