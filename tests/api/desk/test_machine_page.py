"""A machine's page: its year, earlier calls, all its open tickets, and where its parts are."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from moneyed import Money

from api.app import create_app
from api.pages.places import PLACES, place_words, places_in
from tests.api.conftest import add_tokens, signed_in
from tests.browser.served import default_rulebook
from tests.triage.services import AGENT, NOON, REPORT, Clock, rulebook_files, running_service
from triage.records.report import PastRepair
from triage.service import machines, tickets
from triage.service.service import Service


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


def visited(service: Service, days_ago: int, ticket: str, cost: str = "100.00") -> None:
    with service.store.write() as work:
        repair = PastRepair(NOON - timedelta(days=days_ago), ticket, "dirty_filter", Money(cost, "USD"))
        work.care.add_repairs("LH20-1", [repair])


def test_every_open_ticket_is_offered_to_join_with_its_own_limit(desk: FlaskClient, service: Service) -> None:
    opened = [tickets.open_ticket(service, REPORT, AGENT).id for _ in range(3)]
    page = desk.get("/machines/LH20-1").text
    assert "3 tickets are open on this machine." in page
    for ticket in opened:
        assert f"Join {ticket}" in page
        limit = machines.limits(service, "LH20-1", None, None, AGENT, ticket)["limit"]
        assert f"limit {limit['nte']} USD, left {limit['headroom']}" in page
    assert "A ticket&#39;s limit is that of its own trouble" in page or "A ticket's limit" in page


def test_the_page_of_a_ticket_and_of_its_machine_name_one_limit_whatever_was_spent_meanwhile(
    tmp_path: Path,
) -> None:
    files: dict[str, Any] = rulebook_files()
    files["limits/standing.yml"] |= {
        "outputs": ["amount", "amount_12_months"],
        "rows": [{"then": {"amount": 350, "amount_12_months": 1000}}],
    }
    with running_service(tmp_path, Clock(), files) as service:
        desk = signed_in(create_app(service).test_client(), add_tokens(service)["agent"])
        ticket = tickets.open_ticket(service, REPORT, AGENT).id
        assert "$350 left" in desk.get(f"/tickets/{ticket}").text
        visited(service, 3, "OLD-9", "700.00")  # 120.00 more is on record
        assert "limit 350.00 USD, left 180.00" in desk.get("/machines/LH20-1").text
        on_ticket = desk.get(f"/tickets/{ticket}").text
        assert "$180 left" in on_ticket
        assert "350.00 USD, of which 180.00 is left; 820.00 spent in 12 months" in on_ticket
        at_the_end = desk.get(f"/tickets/{ticket}/end").text
        assert "$180 left" in at_the_end
        assert "$350 left" not in at_the_end


def test_earlier_calls_are_said_up_front_and_old_ones_are_not(desk: FlaskClient, service: Service) -> None:
    assert "was reported" not in desk.get("/machines/LH20-1").text
    tickets.open_ticket(service, REPORT, AGENT)
    assert "This machine was reported 1 time before in the last 90 days." in desk.get("/machines/LH20-1").text


def test_the_rulebook_says_what_repeated_visits_mean(service: Service) -> None:
    for number in range(2):
        visited(service, 10 + number, f"OLD-{number}")
    view = machines.machine(service, "LH20-1", AGENT)
    assert machines.came_back(service, view) == []  # the small rulebook has no such policy
    rulebook = service.rulebook
    came_back = default_rulebook()[0].policy["came-back"]
    object.__setattr__(rulebook, "policy", {**rulebook.policy, "came-back": came_back})
    said = machines.came_back(service, view)
    assert len(said) == 1
    assert said[0].startswith("It was visited 2 times within 90 days; send the contractor's lead technician")


def test_the_year_shows_its_visits_and_nothing_older(desk: FlaskClient, service: Service) -> None:
    visited(service, 20, "OLD-1", "120.00")
    visited(service, 200, "OLD-2", "80.00")
    visited(service, 400, "OLD-3", "999.00")
    page = desk.get("/machines/LH20-1").text
    year = page.split('id="year"')[1].split("</section>")[0]
    assert "3 visits, $320" in year  # with the one on record
    assert year.count('class="fill"') == 3
    assert "OLD-3" not in year
    months = [(date(2026, 3, 1) - timedelta(days=30 * back)).strftime("%b") for back in range(12)]
    assert all(f"<span>{month}</span>" in year for month in set(months))


def test_the_steps_of_a_check_name_their_places() -> None:
    checks = default_rulebook()[0].checks
    assert "filter" in places_in(checks["rinse-filter"].steps)
    assert "seal" in places_in(checks["turn-seal-round"].steps)
    assert places_in(checks["set-night-mode"].steps) == ("night",)
    assert places_in(["Stir the product."]) == ()


def test_every_place_has_a_drawing(desk: FlaskClient) -> None:
    page = desk.get("/machines/LH20-1").text
    with desk.application.test_request_context("/"):
        words = place_words()
    assert words.keys() == PLACES.keys()
    assert page.count('<figure class="place">') == len(PLACES)
    assert page.count('class="ring"') == len(PLACES)
