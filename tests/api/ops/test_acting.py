"""Sites and machines to act on: what stands there, and where each row leads."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from flask.testing import FlaskClient

from tests.api.conftest import Send, signed_in
from tests.triage.services import AGENT, REPORT, Clock
from triage.records.report import CareEvent
from triage.service import repairs, tickets
from triage.service.fleet.acting import to_act
from triage.service.service import Service

COMMISSIONED = datetime(2026, 1, 10, 15, tzinfo=UTC)


@pytest.fixture
def recorded(service: Service) -> Service:
    """LH20-1 calls six times, ever sooner, and its filter is overdue; LH30-2 was cleaned, and never calls."""
    clock = service.now
    assert isinstance(clock, Clock)
    with service.store.write() as work:
        machines = [work.machines.get(serial) for serial in ("LH20-1", "LH30-2")]
        day = COMMISSIONED.date() - timedelta(days=400)
        work.machines.put_machines([replace(one, shipped_on=day, commissioned_on=day) for one in machines])
        work.care.add_care(
            "LH20-1", [CareEvent("commissioned", COMMISSIONED, "van", {"circuit": {"dedicated": False}})]
        )
        work.care.add_care("LH30-2", [CareEvent("fully_cleaned", COMMISSIONED, "store")])
    for number, day in enumerate((40, 300, 320, 340, 350, 358), start=1):
        clock.time = datetime(2025, 9, 1, 12, tzinfo=UTC) + timedelta(days=day)
        tickets.open_ticket(service, {**REPORT, "reported_at": clock.time.isoformat()}, AGENT)
        tickets.record_check(service, f"T-00000{number}", "rinse-filter", "cured", AGENT)
        done = {"cause": "dirty_filter", "cured_by": "rinse-filter"}
        repairs.close(service, f"T-00000{number}", done, AGENT, None)
    with service.store.write() as work:
        work.care.add_care("LH30-2", [CareEvent("fully_cleaned", clock.time - timedelta(days=1), "store")])
    clock.time = datetime(2026, 9, 2, 12, tzinfo=UTC)
    return service


def test_what_there_is_to_act_on_is_counted(recorded: Service) -> None:
    found = to_act(recorded, None, None)
    assert (str(found.period.first), str(found.period.last)) == ("2025-09-02", "2026-09-01")
    assert [(one.machine, one.calls) for one in found.rising] == [("LH20-1", 6)]
    assert found.tested == 1
    assert [one.name for one in found.often_down] == ["LH20-1"]
    assert [(one.site, one.machines, one.kept) for one in found.sites] == [
        ("halt-001", 1, 0),
        ("halt-023", 1, 1),
    ]
    (incomplete,) = found.incomplete
    assert (incomplete.machine, incomplete.failed, incomplete.calls) == ("LH20-1", 1, 6)
    assert incomplete.missing > 0
    assert (found.commissioning["failed"].machines, found.commissioning["failed"].calls) == (1, 6)
    assert found.overdue_to_kept is None  # six calls are too few to compare
    assert found.kept.calls + found.overdue.calls <= 6


def test_each_row_leads_to_what_can_be_done(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    ops = signed_in(client, tokens["ops"])
    shown = ops.get("/numbers/act").text
    for place in (
        "/machines/LH20-1",
        "/care/letters?view=overdue&amp;site=halt-001",
        "/care.csv?view=overdue",
    ):
        assert place in shown
        assert ops.get(place.replace("&amp;", "&")).status_code == 200
    assert "Too few calls to compare the two." in shown
    assert "4 of 6" in shown  # of the store's reports, those that came within 30 days
    refused = ops.get("/numbers/act?since=2026-03-05&until=2026-03-01")
    assert refused.status_code == 422
    assert "swap the two" in refused.text
    assert 'value="2026-03-05"' in refused.text
    assert signed_in(client, tokens["agent"]).get("/numbers/act").status_code == 403


def _links(page: str) -> dict[str, str]:
    """Number that is shown -> where it leads, of numbers that lead to tickets."""
    found = re.findall(r'<a href="(/\?[^"]*(?:care|commissioning)=[^"]*)">(\d+)</a>', page)
    return {href.replace("&amp;", "&"): count for href, count in found}


def test_calls_by_commissioning_and_care_lead_to_their_tickets(
    client: FlaskClient, tokens: dict[str, str], recorded: Service
) -> None:
    ops = signed_in(client, tokens["ops"])
    page = ops.get("/numbers/act").text
    ((failed, count),) = _links(page).items()
    assert ("commissioning=failed" in failed, count) == (True, "6")
    assert {f"T-00000{number}" for number in range(1, 7)} <= set(re.findall(r"T-0\d+", ops.get(failed).text))
    assert "T-0000" not in ops.get(failed.replace("=failed", "=complete")).text
    assert 'href="/care/kept"' in page
    months = _links(ops.get("/care/kept").text)
    found = to_act(recorded, None, None)
    assert sum(map(int, months.values())) == found.kept.calls + found.overdue.calls
    for href, count in months.items():
        listed = set(re.findall(r"T-0\d+", ops.get(href).text))
        other = href.replace("=overdue", "=nothing_overdue")
        assert len(listed) == int(count)
        assert "T-0000" not in ops.get(other).text
    assert any("care=overdue" in href for href in months)


def test_the_api_tells_the_same(send: Send, recorded: Service) -> None:
    said = send("GET", "/v1/numbers/act", by="reporter").json
    assert said is not None
    assert said["rising"][0]["machine"] == "LH20-1"
    assert said["commissioning"]["failed"]["calls"] == 6
    assert said["sites"][0]["kept"] == 0
    assert send("GET", "/v1/numbers/act?since=soon", by="ops").status_code == 422
    assert send("GET", "/v1/numbers/act", by="agent").status_code == 403
