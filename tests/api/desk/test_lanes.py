"""The queue: each open ticket in the lane of what is to be done now, and counts that are right."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from api.desk.lanes import ICONS, lane_of, lanes, span
from tests.triage.services import AGENT, NOON, REPORT, Clock, running_service
from triage.service import calls, dangers, tickets
from triage.service.service import Service
from triage.service.tickets import OpenTicket

LATE, SOON = NOON - timedelta(minutes=35), NOON + timedelta(hours=3)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock) as running:
        yield running


@pytest.fixture
def desk(client: FlaskClient, tokens: dict[str, str]) -> FlaskClient:
    client.post("/sign-in", data={"token": tokens["agent"]})
    return client


@pytest.fixture
def words(client: FlaskClient) -> Iterator[None]:
    """A request in which texts are looked up."""
    with client.application.test_request_context():
        yield


def ticket(**known: object) -> OpenTicket:
    plain = OpenTicket("T-1", (), None, None, "", "", "UTC", "fix_in_store", NOON, NOON, None, None)
    return replace(plain, **known)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("known", "lane"),
    [
        ({}, "phone"),
        ({"dangers": ("shock-felt",), "due_at": LATE, "stage": "visited"}, "danger"),
        ({"outcome": "dispatch", "due_at": SOON}, "send"),
        ({"outcome": "dispatch", "due_at": LATE}, "overdue"),
        ({"outcome": "dispatch", "due_at": LATE, "stage": "dispatched"}, "overdue"),
        ({"outcome": "dispatch", "due_at": SOON, "stage": "dispatched"}, "contractor"),
        ({"outcome": "dispatch", "due_at": LATE, "stage": "visited"}, "to_close"),
        ({"outcome": "hold"}, "hold"),
        ({"parked_until": SOON, "outcome": "hold"}, "call_back"),
        ({"solved": True, "parked_until": LATE}, "solved"),
    ],
)
def test_a_ticket_stands_in_the_lane_of_what_is_to_be_done(known: dict[str, object], lane: str) -> None:
    assert lane_of(ticket(**known), NOON) == lane


@pytest.mark.usefixtures("words")
def test_lanes_stand_by_urgency_and_tickets_by_time() -> None:
    rows = (
        ticket(id="solved", solved=True),
        ticket(id="later", parked_until=SOON),
        ticket(id="now", parked_until=LATE),
        ticket(id="danger", dangers=("shock-felt",)),
        ticket(id="older", changed_at=LATE),
        ticket(id="newer"),
    )
    found = lanes(rows, NOON)
    assert [lane.id for lane in found] == [id_ for id_ in ICONS if id_ in {lane.id for lane in found}]
    assert [[row.id for row in lane.tickets] for lane in found] == [
        ["danger"],
        ["now", "later"],
        ["older", "newer"],
        ["solved"],
    ]
    assert sum(len(lane.tickets) for lane in found if lane.open) == 5


@pytest.mark.parametrize(
    ("away", "said"),
    [
        (timedelta(minutes=6), "6 min"),
        (timedelta(minutes=-59), "59 min"),
        (timedelta(hours=47), "47 h"),
        (timedelta(days=-2), "2 days"),
    ],
)
@pytest.mark.usefixtures("words")
def test_how_far_a_time_is_away_is_said_short(away: timedelta, said: str) -> None:
    assert span(NOON + away, NOON) == said


def counted(page: str) -> dict[str, int]:
    """The number that each lane of a page gives, beside how many rows it has."""
    found = {}
    for id_, lane in re.findall(r'aria-labelledby="lane-(\w+)">(.*?)</section>', page, re.S):
        number = re.search(r'class="number">(\d+)<', lane)
        assert number is not None
        assert int(number[1]) == lane.count('<li class="dep')
        found[id_] = int(number[1])
    return found


def test_what_is_solved_is_not_counted_as_open(desk: FlaskClient, service: Service) -> None:
    first, _, third = (tickets.open_ticket(service, {**REPORT, "machine": None}, AGENT).id for _ in range(3))
    tickets.record_check(service, first, "rinse-filter", "cured", AGENT)
    tickets.answer(service, third, {"cord_damaged": True}, AGENT)
    page = desk.get("/").text
    assert counted(page) == {"danger": 1, "phone": 1, "solved": 1}
    assert "2 tickets are open" in page


def test_a_call_back_counts_down_and_is_lit_when_it_is_due(
    desk: FlaskClient, service: Service, clock: Clock
) -> None:
    opened = tickets.open_ticket(service, REPORT, AGENT).id
    calls.park(service, opened, "rinse-filter", AGENT, None)
    clock.move(minutes=10)
    page = desk.get("/").text
    assert counted(page) == {"call_back": 1}
    assert "in 30 min" in page
    assert "due-now" not in page
    clock.move(minutes=31)
    assert "due-now" in desk.get("/").text


def test_a_danger_lifted_leaves_its_lane(desk: FlaskClient, service: Service) -> None:
    opened = tickets.open_ticket(service, {**REPORT, "answers": {"cord_damaged": True}}, AGENT).id
    assert counted(desk.get("/").text) == {"danger": 1}
    why = "Typed or pressed by mistake"
    dangers.lift_danger(service, opened, "damaged-cord", why, AGENT, None, "misread")
    assert counted(desk.get("/").text) == {"phone": 1}


def test_a_number_of_a_ticket_leads_to_it(desk: FlaskClient, service: Service) -> None:
    opened = tickets.open_ticket(service, REPORT, AGENT).id
    assert desk.get(f"/find?q={opened.lower()}").headers["Location"] == f"/tickets/{opened}"
    assert desk.get("/find?q=T-NOSUCH").status_code == 200


def test_symptoms_reported_lately_come_first_and_by_number(desk: FlaskClient, service: Service) -> None:
    known = service.rulebook.symptoms
    usual = tickets.symptoms_lately(service)
    assert list(usual) == sorted(known, key=lambda id_: known[id_].title)
    tickets.open_ticket(service, {**REPORT, "machine": None, "symptoms": [usual[-1]]}, AGENT)
    assert tickets.symptoms_lately(service)[0] == usual[-1]
    page = desk.get("/machines/LH20-1").text
    assert re.search(rf'name="symptom" value="{usual[-1]}"[^>]*data-key="1"', page)
