"""The pages of a ticket's later life, without a browser: each way does its deed, or says why not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from api.desk.summary import Told
from api.life import ways
from tests.api.money_world import World, money_world
from tests.triage.services import AGENT
from triage.config import Outgoing
from triage.records.decision_parts import VisitAsked
from triage.service import tickets, visits
from triage.service.outgoing.deliver import deliver


@dataclass
class Desk:
    """One caller's browser, and a ticket that somebody is to be sent to."""

    world: World
    client: FlaskClient
    ticket: str

    def page(self, way: str = "", **query: str) -> str:
        asked = "&".join(f"{name}={value}" for name, value in query.items())
        return self.client.get(f"/tickets/{self.ticket}/end{'/' if way else ''}{way}?{asked}").text

    def go(self, way: str, **fields: str | list[str]) -> TestResponse:
        version = tickets.ticket(self.world.service, self.ticket, AGENT).version
        path = f"/tickets/{self.ticket}/end/{way}"
        return self.client.post(path, data={"version": version, **fields})

    def done(self, way: str, **fields: str | list[str]) -> str:
        response = self.go(way, **fields)
        assert response.status_code == 303, response.text
        return self.client.get(response.headers["Location"]).text

    def last(self) -> str:
        return self.world.kinds(self.ticket)[-1]


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    with money_world(tmp_path, f"sqlite:///{tmp_path}/life.db") as running:
        yield running


def signed_in(world: World, by: str) -> FlaskClient:
    client = world.client.application.test_client()
    client.post("/sign-in", data={"token": world.tokens[by]})
    return client


@pytest.fixture
def desk(world: World) -> Desk:
    return Desk(world, signed_in(world, "agent"), world.ticket(world.machine("fogline")))


@pytest.fixture
def lead(desk: Desk) -> Desk:
    return Desk(desk.world, signed_in(desk.world, "ops"), desk.ticket)


def first_time(page: str) -> str:
    found = re.search(r'name="at" value="([^"]+)" required checked', page)
    assert found is not None
    return found[1]


def later(desk: Desk, **time: float) -> None:
    """Time goes by, longer than a session lasts."""
    desk.world.clock.time += timedelta(**time)
    desk.client.post("/sign-in", data={"token": desk.world.tokens["agent"]})


def test_a_call_with_nothing_left_to_ask_leads_to_its_end(desk: Desk) -> None:
    response = desk.client.get(f"/tickets/{desk.ticket}?end=1")
    assert response.headers["Location"] == f"/tickets/{desk.ticket}/end"
    page = desk.page()
    assert "How does this call end?" in page
    assert 'class="says" aria-hidden="true">2<' in page  # the decision sends a technician


@pytest.mark.parametrize(
    ("by", "way", "line"),
    [
        ("contractor", "book", "Nobody on record has room; call them."),
        ("electrician", "call-back", "The store's electrician comes; nobody is booked here."),
        ("installer", "call-back", "The installer comes back; nobody is booked here."),
    ],
)
def test_nobody_is_booked_where_no_contractor_is_to_come(desk: Desk, by: str, way: str, line: str) -> None:
    service, now = desk.world.service, desk.world.clock.time
    told = Told(tickets.ticket(service, desk.ticket, AGENT), None, None, now, "UTC")
    around = ways.Around(told, service.rulebook, asked=VisitAsked(now, by=by), sends=True)
    with desk.client.application.test_request_context():
        book = next(each for each in ways.ways(around) if each.id == "book")
        assert (ways.says(around), book.can, book.line) == (way, False, line)


def test_a_visit_is_booked_for_a_time_that_is_offered_and_read_back(desk: Desk) -> None:
    at = first_time(desk.page("book"))
    assert "A technician will come, by" in desk.page()
    page = desk.done("book", at=at, technician="Rosa")
    assert "The visit is booked." in page
    assert re.search(r"A technician of Fogline[^.]* comes on Mon 2 Mar, 2:00", page.replace("\u202f", " "))
    visit = visits.visits(desk.world.service, desk.ticket, AGENT)[-1]
    assert (visit.at.isoformat(), visit.technician, visit.contractor) == (at, "Rosa", "fogline")


def points(page: str) -> list[str]:
    """What stands before hanging up, point by point, as text."""
    listed = re.search(r'<ol class="points">(.*?)</ol>', page, re.DOTALL)
    return [re.sub(r"<[^>]*>", " ", each) for each in listed[1].split("</li>")[:-1]] if listed else []


def test_before_hanging_up_it_says_what_to_read_back_whom_to_call_what_to_leave_and_who_comes(
    desk: Desk,
) -> None:
    read_back, number, leaves, comes = points(desk.page())
    assert f"Your report number is {desk.ticket}." in read_back
    assert "We noted: Leaking." in read_back
    assert "We call you back on 555-0101. Is that right?" in number
    assert "keep away from the machine and call us" in leaves
    assert "A technician will come, by" in comes
    desk.client.post("/language", data={"ticket": desk.ticket, "language": "es", "next": "/"})
    read_back, number, leaves, comes = points(desk.page())
    assert "Anotamos: Leaking." in read_back and "We noted: Leaking." in read_back
    assert "Le llamamos al 555-0101. ¿Es correcto?" in number
    assert "Irá un técnico" in comes


def test_every_time_that_is_offered_can_be_booked(desk: Desk) -> None:
    offered = re.findall(r'name="at" value="([^"]+)"', desk.page("book"))
    assert len(offered) > 5
    for at in offered:
        assert "The visit is booked." in desk.done("book", at=at, **moved(desk))


def moved(desk: Desk) -> dict[str, str]:
    return {"visit": "1"} if visits.visits(desk.world.service, desk.ticket, AGENT) else {}


def test_a_visit_whose_time_has_gone_by_is_not_promised(desk: Desk) -> None:
    desk.done("book", at=first_time(desk.page("book")))
    later(desk, days=1)
    page = desk.page()
    assert " comes on " not in page
    assert "A technician comes as soon as possible" in page


def test_a_due_time_that_has_gone_by_is_not_promised(desk: Desk) -> None:
    later(desk, days=9)
    page = desk.page()
    assert "at the latest" not in page
    assert "A technician comes as soon as possible" in page


def test_a_visit_comes_and_goes_and_the_ticket_is_closed_with_what_it_cost(desk: Desk) -> None:
    desk.done("book", at=first_time(desk.page("book")))
    assert "Visit 1" in desk.page("visit")
    later(desk, hours=3)
    assert "The technician is with you now." in desk.done("visit", visit="1", state="started")
    page = desk.done("visit", visit="1", state="done")
    assert "The technician was with you." in page
    page = desk.done("close", cause="dirty_filter", cured_by="repair", trip="1", labor_hours="1")
    assert "Your report is closed." in page
    assert "the program pays" in page
    closed = tickets.ticket(desk.world.service, desk.ticket, AGENT).closed
    assert closed is not None
    assert [line.kind for line in closed.bill.lines] == ["trip", "labor"]


def test_a_ticket_that_a_check_solved_is_closed_by_it(desk: Desk) -> None:
    tickets.record_check(desk.world.service, desk.ticket, "rinse-filter", "cured", AGENT)
    page = desk.page()
    assert "The machine works again." in page
    assert re.search(r'<select id="cured_by"[^>]*><option value="rinse-filter"', page)
    desk.done("close", cause="dirty_filter", cured_by="rinse-filter")
    assert desk.last() == "closed"


def test_a_closing_without_its_cause_says_so_and_keeps_what_was_typed(desk: Desk) -> None:
    refused = desk.go("close", cured_by="nothing", note="it just came back")
    assert refused.status_code == 422
    assert "Say what it was" in refused.text
    assert 'value="it just came back"' in refused.text
    assert desk.last() == "decided"


def test_a_closed_ticket_is_opened_again_with_a_reason(desk: Desk) -> None:
    desk.done("close", cause="no_fault_found", cured_by="nothing")
    assert "This ticket is closed." in desk.page()
    assert desk.go("reopen", why=" ").status_code == 422
    assert "The ticket is open again." in desk.done("reopen", why="It leaks again.")


def test_a_clerk_is_called_back_in_the_minutes_that_are_said(desk: Desk) -> None:
    page = desk.done("call-back", minutes="45")
    assert "We call you back at Mon 2 Mar, 12:45" in page.replace("\u202f", " ")
    later(desk, hours=1)
    assert "We call you back as soon as we can." in desk.page()


@pytest.mark.parametrize("minutes", ["", "4", "99999", "soon", "-5", "²"])
def test_minutes_that_cannot_be_meant_are_refused(desk: Desk, minutes: str) -> None:
    refused = desk.go("call-back", minutes=minutes)
    assert refused.status_code == 422
    assert "A clerk is called back in 5 to 2880 minutes" in refused.text


def test_the_lead_enters_an_estimate_and_somebody_else_approves_it(desk: Desk, lead: Desk) -> None:
    page = lead.done("estimate", cause="dirty_filter", trip="1", trip_amount="$95", labor_hours="7")
    assert "The estimate is priced and answered." in page
    assert "795.00" in lead.page("estimate")
    refused = lead.go("ask", estimate="1", answer="yes", authority="ops_lead", person="Mo", why="Worth it.")
    assert refused.status_code == 409
    assert "somebody else approves it" in refused.text


@pytest.mark.parametrize("typed", [{"labor_hours": "1_0"}, {"labor_hours": "１"}, {"trip_amount": "95,50"}])
def test_what_may_be_meant_otherwise_is_not_guessed(lead: Desk, typed: dict[str, str]) -> None:
    refused = lead.go("estimate", **{"cause": "dirty_filter", "trip": "1", "labor_hours": "1", **typed})
    assert refused.status_code == 422
    assert tickets.ticket(lead.world.service, lead.ticket, AGENT).repair.revisions == 0


def test_the_lead_writes_down_what_the_authority_answered(desk: Desk, lead: Desk) -> None:
    desk.world.estimate(desk.ticket, 7)
    assert "Ops lead" in desk.page("ask")
    assert 'name="answer"' not in desk.page("ask")
    fields = {"estimate": "1", "authority": "ops_lead", "person": "Mo", "why": "It is worth it."}
    lead.done("ask", answer="yes_up_to", amount="700", **fields)
    authorization = tickets.ticket(desk.world.service, desk.ticket, AGENT).repair.authorization
    assert authorization is not None
    assert (authorization.amount.amount, authorization.person) == (700, "Mo")
    assert "Approved up to $700." in desk.page()


def test_an_agent_reads_an_estimate_and_enters_none(desk: Desk) -> None:
    desk.world.estimate(desk.ticket, 2)
    assert "295.00" in desk.page("estimate")
    assert 'name="labor_hours"' not in desk.page("estimate")
    assert desk.go("estimate", trip="1").status_code == 403


def test_a_line_that_cannot_be_meant_is_named_by_its_row(lead: Desk) -> None:
    refused = lead.go("estimate", trip="1", labor_hours="lots")
    assert refused.status_code == 422
    assert "Labor: hours are a number" in refused.text
    assert 'value="lots"' in refused.text
    assert "/lines" not in refused.text


def test_a_stale_form_stores_nothing_and_says_what_changed(desk: Desk) -> None:
    at = first_time(desk.page("book"))
    version = tickets.ticket(desk.world.service, desk.ticket, AGENT).version
    desk.done("call-back", minutes="30")
    path = f"/tickets/{desk.ticket}/end/book"
    refused = desk.client.post(path, data={"version": version, "at": at})
    assert refused.status_code == 409
    assert "The ticket has changed since this page was loaded" in refused.text
    assert desk.last() == "parked"


def test_booking_twice_by_a_double_press_makes_one_visit(desk: Desk) -> None:
    fields = {"at": first_time(desk.page("book")), "version": "2"}
    path = f"/tickets/{desk.ticket}/end/book"
    assert [desk.client.post(path, data=fields).status_code for _ in range(2)] == [303, 409]
    assert len(visits.visits(desk.world.service, desk.ticket, AGENT)) == 1


def test_a_way_that_there_is_not_is_said_once(desk: Desk) -> None:
    response = desk.client.get(f"/tickets/{desk.ticket}/end/dance", headers={"Accept": "text/html"})
    assert response.status_code == 404
    assert response.text.count("There is no such page of a ticket.") == 1


def test_the_texts_speak_the_clerks_language(desk: Desk) -> None:
    desk.client.post("/language", data={"language": "es", "next": "/"})
    page = desk.page()
    assert "Su número de reporte es" in page
    assert "Si huele a quemado" in page
    assert "Se puede gastar sin preguntar" in page  # the technician's too
    assert "How does this call end?" in page  # the agent's own pages stay as they are


def test_an_authority_is_asked_by_e_mail_from_the_desk(desk: Desk, tmp_path: Path) -> None:
    service = desk.world.service
    desk.world.estimate(desk.ticket, 7)
    assert "Ask by e-mail now" not in desk.page("ask")
    service.outgoing = Outgoing("https://desk.example.com", f"file://{tmp_path}/mail", "desk@example.com")
    with service.store.write() as work:
        work.tokens.add("Ines Marsh", "authority", None, service.now(), "ops_lead", "ines@example.com")
    assert "Ines Marsh" in desk.page("ask")
    assert "The question was sent by e-mail." in desk.done("ask", by="mail")
    assert deliver(service).sent == 1
    [letter] = (tmp_path / "mail").iterdir()
    assert "To: ines@example.com" in letter.read_text()
    assert desk.go("ask", answer="yes", why="It is fine.", estimate="1").status_code == 403
