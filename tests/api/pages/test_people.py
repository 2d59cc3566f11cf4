"""Refusals on pages: no ids, no codes of time, and everything said once."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.pages.people import in_words
from tests.browser.served import default_rulebook
from triage.service.service import Service
from triage.values.errors import Problem


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("dirty_filter is not so", "Dirty air filter is not so"),
        ('"rinse-filter" was done', "Rinse the air filter was done"),
        ("2026-03-02T17:00:00+00:00 is past", "Mon 2 Mar, 12:00 PM is past"),
        ("the well-known fix_in_store", "the well-known Fix in store"),
        ("LH20-10001 and T-000001 stay", "LH20-10001 and T-000001 stay"),
    ],
)
def test_ids_and_moments_are_said_as_people_do(service: Service, said: str, read: str) -> None:
    rulebook, _ = default_rulebook()
    with create_app(service).test_request_context("/"):
        found = in_words(rulebook, Problem(said, "/somewhere"), "America/New_York")
    assert found.message.replace("\u202f", " ") == read


def test_what_there_is_not_is_said_once_and_without_a_pointer(
    client: FlaskClient, tokens: dict[str, str]
) -> None:
    client.post("/sign-in", data={"token": tokens["agent"]})
    for path in ("/tickets/T-999999", "/tickets/T-999999/end", "/machines/NOPE-1"):
        page = client.get(path, headers={"Accept": "text/html"})
        assert page.status_code == 404
        told = page.text.split("<h1>")[1]
        assert told.count(path.split("/")[2]) == 1, told
        assert "<code>" not in told
