"""The decision live tables, over HTTP."""

from __future__ import annotations

from tests.api.conftest import Send
from tests.triage.services import rulebook_files
from triage.rulebook_care.dmn.importing import import_tables
from triage.service.service import Service


def test_the_live_tables_come_as_dmn_that_reads_back(send: Send, service: Service) -> None:
    for role in ("ops", "reporter"):
        response = send("GET", "/v1/rulebook/tables.dmn", by=role)
        assert (response.status_code, response.content_type) == (200, "application/xml")
        found = import_tables(response.data, "tables.dmn", rulebook_files())
        assert (found.rulebook.version, found.changed) == (service.rulebook.version, {})


def test_the_tables_are_for_ops_and_reporters_only(send: Send) -> None:
    assert send("GET", "/v1/rulebook/tables.dmn").status_code == 403
    assert send("GET", "/v1/rulebook/tables.dmn", by=None).status_code == 401
