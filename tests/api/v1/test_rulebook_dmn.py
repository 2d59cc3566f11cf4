"""The decision tables in force, over HTTP."""

from __future__ import annotations

from tests.api.conftest import Send
from tests.triage.programmes import rulebook_files
from triage.rulebook_care.dmn.importing import import_tables
from triage.service.service import Programme


def test_the_tables_in_force_come_as_dmn_that_reads_back(send: Send, programme: Programme) -> None:
    for role in ("ops", "reporter"):
        response = send("GET", "/v1/rulebook/tables.dmn", by=role)
        assert (response.status_code, response.content_type) == (200, "application/xml")
        found = import_tables(response.data, "tables.dmn", rulebook_files())
        assert (found.rulebook.version, found.changed) == (programme.rulebook.version, {})


def test_the_tables_are_for_ops_and_reporters_only(send: Send) -> None:
    assert send("GET", "/v1/rulebook/tables.dmn").status_code == 403
    assert send("GET", "/v1/rulebook/tables.dmn", by=None).status_code == 401
