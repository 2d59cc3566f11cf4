"""What the default rulebook says of an overcharge, at the API and on a technician's phone."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from api.app import create_app
from tests import ROOT
from triage.decide.causes.inference import compile_rulebook
from triage.loading.load import load
from triage.records.caller import Caller
from triage.rulebook.reading.reader import read_with_files
from triage.service import tickets
from triage.service.service import Service
from triage.store import open_store

NOW = datetime(2026, 11, 30, 15, tzinfo=UTC)
AGENT = Caller("desk", "agent")
REPORT = {"machine": "LH30-10018", "symptoms": ["auger_stopped"]}  # Fogline's: a trip is 95.00
HELD = "345.00 USD of the estimate (78 %) is outside the rate agreement"


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    rulebook, files = read_with_files(ROOT / "rules")
    store = open_store(f"sqlite:///{Path(tmp_path_factory.mktemp('overcharges')) / 'demo.db'}")
    load(ROOT / "demo/records", store, rulebook)
    yield Service(store, rulebook, compile_rulebook(rulebook), lambda: NOW, files)
    store.close()


@pytest.fixture(scope="module")
def van(service: Service) -> FlaskClient:
    with service.store.write() as work:
        token = work.tokens.add("van", "technician", "fogline", NOW)
    client = create_app(service).test_client()
    client.environ_base["HTTP_AUTHORIZATION"] = f"Bearer {token}"
    client.post("/sign-in", data={"token": token})
    return client


@pytest.fixture
def ticket(service: Service) -> str:
    return tickets.open_ticket(service, REPORT, AGENT).id


def sent(van: FlaskClient, path: str, trip: str | None, **more: Any) -> Any:
    line = {"kind": "trip"} | ({} if trip is None else {"amount": trip})
    return van.post(path, json={"cause": "dirty_filter", "lines": [line], **more})


def test_over_the_api_it_is_held_within_the_limit(van: FlaskClient, ticket: str) -> None:
    path = f"/v1/tickets/{ticket}/estimates"
    held = sent(van, path, "440.00 USD").json
    assert held["answer"] == "hold"
    assert held["reasons"] == [f"{HELD}. Send one as agreed, or have it approved."]
    assert held["estimate"]["outside_agreement"] == "345.00 USD"
    assert sent(van, path, "99.00 USD").json["answer"] == "approve"  # 4.00 of 99.00 is within 5 percent
    assert sent(van, path, None).json["answer"] == "approve"


def test_over_the_api_a_bill_that_nobody_saw_is_not_closed_on(van: FlaskClient, ticket: str) -> None:
    path = f"/v1/tickets/{ticket}/close"
    refused = sent(van, path, "440.00 USD", cured_by="repair")
    assert refused.status_code == 422
    assert HELD in refused.json["detail"]
    assert [error["pointer"] for error in refused.json["errors"]] == ["/lines"]
    assert sent(van, path, None, cured_by="repair").json["closed"]["cost"] == "95.00 USD"


def test_on_a_phone_it_is_held_and_not_closed_on(van: FlaskClient, service: Service, ticket: str) -> None:
    bill = {"cause": "dirty_filter", "trip": "1", "trip_amount": "440"}
    page = f"/field/tickets/{ticket}"
    assert (
        "440.00 is 345.00 more than the agreement pays (95.00)" in van.post(f"{page}/price", data=bill).text
    )
    assert van.post(f"{page}/estimate", data={**bill, "key": "a" * 32}).status_code == 303
    assert HELD in van.get(page).text
    closing = {**bill, "cured_by": "repair", "hours": "day", "key": "b" * 32}
    refused = van.post(f"{page}/close", data=closing)
    assert refused.status_code == 422
    assert HELD in refused.text
    assert tickets.ticket(service, ticket, AGENT).state == "open"
