"""A period at a glance as a page, and a month as a file."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.ops.numbers import as_file
from api.pages.charts import INKS
from tests.api.conftest import signed_in
from tests.triage.services import AGENT, REPORT
from triage.service import repairs, tickets
from triage.service.service import Service


@pytest.fixture
def recorded(service: Service) -> Service:
    tickets.open_ticket(service, REPORT, AGENT)
    tickets.record_check(service, "T-000001", "rinse-filter", "cured", AGENT)
    repairs.close(service, "T-000001", {"cause": "dirty_filter", "cured_by": "rinse-filter"}, AGENT, None)
    return service


def test_the_page_has_six_numbers_each_with_its_line(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    shown = signed_in(client, tokens["ops"]).get("/numbers?since=2026-03-02&until=2026-03-08").text
    assert shown.count('<svg class="chart"') < 6  # no week before: no line
    after = signed_in(client, tokens["ops"]).get("/numbers?since=2026-03-09&until=2026-03-15").text
    assert after.count('<svg class="chart"') >= 6
    assert "Mon 2 Mar – Sun 8 Mar" in shown
    # Beside the lines, the same as a table: two weeks, six numbers each.
    assert (
        len(
            re.findall(r"row\">.a href=\"/numbers\?since=2026-03-0[29]&amp;until=2026-03-(?:08|15)\">", after)
        )
        == 2
    )
    assert "Too few to say: of 1." in shown
    assert "Too few visits to say what one costs." in shown


def test_a_chart_takes_the_colors_of_the_page_and_no_style(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    shown = signed_in(client, tokens["ops"]).get("/numbers?since=2026-03-02&until=2026-03-08").text
    assert "style=" not in shown
    assert "var(--mark)" in shown
    assert not [color for color in INKS.values() if color in shown]
    ids = re.findall(r'\bid="([^"]+)"', shown)
    assert len(ids) == len(set(ids))


def test_a_month_as_a_file_needs_nothing_else(recorded: Service) -> None:
    written = as_file(create_app(recorded), "2026-03-01", "2026-03-31")
    assert "Sun 1 Mar – Tue 31 Mar" in written
    assert not re.findall(r'(?:href|src)="(?!#)', written)
    assert "--mark:" in written
