"""A period at a glance as a page, and a month as a file."""

from __future__ import annotations

import html
import re

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from api.ops.numbers import as_file
from api.pages.charts import INKS
from tests.api.conftest import signed_in
from tests.triage.services import AGENT, REPORT, Clock
from triage.repairs.statistics import TOO_FEW
from triage.service import repairs, tickets
from triage.service.numbers import overview_of
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


def test_scores_over_time_are_drawn_where_there_are_enough(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    clock = recorded.now
    assert isinstance(clock, Clock)
    weeks = "since=2026-03-09&until=2026-03-15"
    few = signed_in(client, tokens["ops"]).get(f"/numbers?{weeks}").text
    assert "Do our chances get better?" not in few
    clock.move(days=7)
    for number in range(2, TOO_FEW + 2):
        tickets.open_ticket(recorded, {**REPORT, "reported_at": clock.time.isoformat()}, AGENT)
        cause = "dirty_filter" if number % 2 else "low_fill"
        repairs.close(recorded, f"T-{number:06}", {"cause": cause, "cured_by": "repair"}, AGENT, None)
    ops = signed_in(client, tokens["ops"])
    shown = ops.get(f"/numbers?{weeks}").text
    assert "Do our chances get better?" in shown
    scores = overview_of(recorded, "2026-03-09", "2026-03-15").scores
    assert [(one.of, one.brier is None) for one in scores] == [(1, True), (TOO_FEW, False)]
    behind = html.unescape(shown[shown.index("Do our chances") :])
    (address,) = set(re.findall(rf'<a href="([^"]*counted=scored[^"]*2026-03-15)">{TOO_FEW}</a>', behind))
    assert ops.get(address).text.count('<th scope="row">') == TOO_FEW


def test_a_month_as_a_file_needs_nothing_else(recorded: Service) -> None:
    written = as_file(create_app(recorded), "2026-03-01", "2026-03-31")
    assert "Sun 1 Mar – Tue 31 Mar" in written
    assert not re.findall(r'(?:href|src)="(?!#)', written)
    assert "--mark:" in written
