"""Dangers over HTTP: shown wherever the machine is, and lifted by an act of its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from api.app import create_app
from tests.api.conftest import Send
from tests.triage.danger_rulebook import CALM, CALM_REPORT, HEARD_REPORT, SHOCK_REPORT, danger_files
from tests.triage.services import FOGLINE, MACHINES, NOON, running_service
from triage.service.machines import own_tickets, waiting_tickets
from triage.service.service import Service

WHY = {"why": "The outlet was rewired and tested."}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=danger_files()) as running:
        yield running


@pytest.fixture
def shock(send: Send) -> Any:
    return send("POST", "/v1/reports", SHOCK_REPORT).json


def clear(ticket: str, caution: str = "shock") -> str:
    return f"/v1/tickets/{ticket}/dangers/{caution}/clear"


def test_a_technician_comes_to_a_danger_first(service: Service, send: Send) -> None:
    with service.store.write() as work:
        work.machines.put_machines([replace(each, contractor="fogline") for each in MACHINES])
    calm = send("POST", "/v1/reports", {**CALM_REPORT, "machine": "LH30-2"}).json["ticket"]
    shock = send("POST", "/v1/reports", SHOCK_REPORT).json["ticket"]
    assert [each.id for each in own_tickets(service, FOGLINE, 9)] == [shock, calm]
    assert [each.id for each in waiting_tickets(service, 1)] == [shock]  # however many came later
    assert send("POST", clear(shock), WHY, by="ops").status_code == 200
    due = [each.due_at for each in own_tickets(service, FOGLINE, 9)]
    assert due == sorted(due, key=lambda at: (at is None, at))


def test_an_open_danger_shows_on_everything_of_its_machine(send: Send, shock: Any) -> None:
    calm = send("POST", "/v1/reports", CALM_REPORT).json
    assert calm is not None
    mine = {"caution": "shock", "from": "caller", "quote": None, "since": NOON.isoformat()}
    whole = [{**mine, "ticket": shock["ticket"]}]
    assert shock["dangers"] == calm["dangers"] == whole
    assert (calm["outcome"], calm["priority"], calm["skill"]) == ("dispatch", 1, "electrical")
    assert send("GET", "/v1/machines/LH20-1").json["dangers"] == whole
    assert send("GET", "/v1/machines/LH20-1/limits").json["dangers"] == whole
    text = send("GET", "/v1/machines/LH20-1/limits", Accept="text/plain").text
    assert f"DANGER: shock (ticket {shock['ticket']})" in text
    rows = send("GET", "/v1/tickets?danger=true").json["items"]
    assert [(row["dangers"], row["priority"], row["skill"]) for row in rows] == [
        (["shock"], 1, "electrical"),
        (["shock"], 1, "electrical"),
    ]
    assert send("GET", "/v1/tickets?danger=false").json["items"] == []


def test_a_danger_is_cleared_once_with_who_and_why(send: Send, shock: Any) -> None:
    path, sent = clear(shock["ticket"]), {"If_Match": '"2"', "Idempotency_Key": "k1"}
    cleared = send("POST", path, WHY, by="fogline", **sent)
    assert (cleared.status_code, cleared.headers["ETag"]) == (200, '"4"')
    assert (cleared.json["dangers"], cleared.json["outcome"]) == ([], "fix_in_store")
    again = send("POST", path, WHY, by="fogline", **sent)
    assert again.json == cleared.json
    assert send("POST", path, WHY, by="fogline").status_code == 409
    events = send("GET", f"/v1/tickets/{shock['ticket']}/events").json["items"]
    lifted = [event for event in events if event["kind"] == "danger_lifted"]
    assert [(event["who"], event["payload"]) for event in lifted] == [
        ("fogline", {"caution": "shock", "how": "safe", **WHY, "facts": []})
    ]


@pytest.mark.parametrize(
    ("by", "body", "caution", "status"),
    [
        ("reporter", WHY, "shock", 403),
        ("agent", {**WHY, "how": "safe"}, "shock", 403),
        ("fogline", {**WHY, "how": "misread"}, "shock", 403),
        ("tern", WHY, "shock", 404),
        ("ops", WHY, "nonesuch", 404),
        ("ops", WHY, "liquid", 409),
        ("ops", {}, "shock", 422),
        ("ops", {"why": " "}, "shock", 422),
        ("ops", {**WHY, "how": "magic"}, "shock", 422),
    ],
)
def test_a_danger_is_not_cleared_otherwise(
    send: Send, shock: Any, by: str, body: Any, caution: str, status: int
) -> None:
    assert send("POST", clear(shock["ticket"], caution), body, by=by).status_code == status
    assert send("GET", f"/v1/tickets/{shock['ticket']}").json["version"] == 2


def test_from_another_ticket_it_is_said_where_the_danger_stands(send: Send, shock: Any) -> None:
    calm = send("POST", "/v1/reports", CALM_REPORT).json
    assert calm is not None
    refused = send("POST", clear(calm["ticket"]), WHY)
    assert refused.status_code == 409
    assert shock["ticket"] in refused.json["detail"]
    assert send("POST", clear(calm["ticket"]), WHY, by="ops").json["dangers"] == []
    assert send("GET", f"/v1/tickets/{shock['ticket']}").json["dangers"] == []


def test_a_ticket_in_danger_is_closed_only_with_what_was_made_safe(send: Send, shock: Any) -> None:
    path = f"/v1/tickets/{shock['ticket']}/close"
    closing = {"cause": "low_fill", "cured_by": "fill-hopper", "note": WHY["why"]}
    refused = send("POST", path, closing)
    assert refused.status_code == 409
    assert "shock; a technician of the ticket's contractor or an ops lead" in refused.json["detail"]
    assert send("POST", path, {**closing, "made_safe": True}).status_code == 403
    closed = send("POST", path, {**closing, "made_safe": True}, by="ops")
    assert (closed.status_code, closed.json["state"], closed.json["dangers"]) == (200, "closed", [])


def test_unknown_is_said_at_every_door(send: Send) -> None:
    answers = {fact: value for fact, value in CALM.items() if fact != "shock_felt"}
    report = {**CALM_REPORT, "answers": answers, "unknown": ["shock_felt"]}
    triaged = send("POST", "/v1/triage", report)
    assert (triaged.status_code, triaged.json["waits_for"]) == (200, ["shock_felt"])
    ticket = send("POST", "/v1/reports", report).json
    assert ticket is not None
    assert ticket["report"]["unknown"] == ["shock_felt"]
    assert ticket["decision"]["waits_for"] == ["shock_felt"]
    path = f"/v1/tickets/{ticket['ticket']}/answers"
    told = send("POST", path, {"unknown": ["filter_days"]}).json
    assert told is not None
    assert told["report"]["unknown"] == ["shock_felt", "filter_days"]
    assert send("POST", path, {}).status_code == 422
    assert send("POST", path, {"unknown": ["nonesuch"]}).json["errors"][0]["pointer"] == "/unknown/0"


class OneMachineByHTTP(RuleBasedStateMachine):
    """Two tickets on one machine through the app: no danger vanishes but by a clearing that succeeded."""

    def __init__(self) -> None:
        super().__init__()
        self._folder = TemporaryDirectory()
        self._running = running_service(Path(self._folder.name), files=danger_files())
        service = self._running.__enter__()
        with service.store.write() as work:
            self.tokens = {
                "agent": work.tokens.add("agent", "agent", None, NOON),
                "technician": work.tokens.add("technician", "technician", "fogline", NOON),
            }
        self.client: FlaskClient = create_app(service).test_client()
        self.ids: list[str] = []
        self.raised: set[tuple[str, str]] = set()

    def teardown(self) -> None:
        self._running.__exit__(None, None, None)
        self._folder.cleanup()

    def send(self, method: str, path: str, body: Any = None, by: str = "agent") -> Any:
        headers = {"Authorization": f"Bearer {self.tokens[by]}"}
        return self.client.open(path, method=method, json=body, headers=headers)

    def note(self, ticket: Any) -> None:
        self.raised |= {(each["ticket"], each["caution"]) for each in ticket["dangers"]}

    @precondition(lambda self: len(self.ids) < 2)
    @rule(report=st.sampled_from([CALM_REPORT, SHOCK_REPORT, HEARD_REPORT]))
    def report(self, report: Any) -> None:
        ticket = self.send("POST", "/v1/reports", report).json
        self.ids.append(ticket["ticket"])
        assert bool(report is not CALM_REPORT) <= bool(ticket["dangers"])
        self.note(ticket)

    @precondition(lambda self: self.ids)
    @rule(which=st.integers(0, 1), fact=st.sampled_from(["shock_felt", "liquid_in_base"]), yes=st.booleans())
    def answer(self, which: int, fact: str, yes: bool) -> None:
        path = f"/v1/tickets/{self.ids[which % len(self.ids)]}/answers"
        ticket = self.send("POST", path, {"answers": {fact: yes}}).json
        assert bool(yes) <= bool(ticket["dangers"])
        self.note(ticket)

    @precondition(lambda self: self.ids)
    @rule(which=st.integers(0, 1), check=st.sampled_from(["fill-hopper", "rinse-filter"]))
    def check(self, which: int, check: str) -> None:
        path = f"/v1/tickets/{self.ids[which % len(self.ids)]}/checks"
        ticket = self.send("POST", path, {"check": check, "result": "cured"}).json
        assert not (ticket["dangers"] and ticket["decision"]["solved"])

    @precondition(lambda self: self.ids)
    @rule(
        which=st.integers(0, 1),
        caution=st.sampled_from(["shock", "liquid"]),
        by=st.sampled_from(["agent", "technician"]),
    )
    def clear(self, which: int, caution: str, by: str) -> None:
        ticket = self.ids[which % len(self.ids)]
        if self.send("POST", clear(ticket, caution), WHY, by).status_code == 200:
            self.raised -= {(each, caution) for each in (self.ids if by == "technician" else [ticket])}

    @invariant()
    def every_reader_sees_what_stands_open(self) -> None:
        for ticket_id in self.ids:
            ticket = self.send("GET", f"/v1/tickets/{ticket_id}").json
            assert {(each["ticket"], each["caution"]) for each in ticket["dangers"]} == self.raised
            assert not (
                ticket["dangers"] and (ticket["outcome"] == "fix_in_store" or ticket["decision"]["plan"])
            )
        if self.ids:
            machine = self.send("GET", "/v1/machines/LH20-1").json
            assert {(each["ticket"], each["caution"]) for each in machine["dangers"]} == self.raised


TestOneMachineByHTTP = OneMachineByHTTP.TestCase
TestOneMachineByHTTP.settings = settings(
    max_examples=8, stateful_step_count=8, deadline=None, derandomize=True, database=None
)
