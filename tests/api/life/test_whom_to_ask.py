"""Agent and technician are told the one authority whose ceiling an estimate stays below."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.triage.rulebook_care.safety.default_files import default_files
from tests.triage.services import AGENT, running_service
from triage.records.caller import Caller
from triage.service import repairs, tickets
from triage.service.service import Service

VAN = Caller("van-3", "technician", "fogline")
ABOVE_THE_DESK = {"cause": "gearmotor_worn", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 6}]}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with running_service(tmp_path, files=default_files()) as running:
        yield running


def test_the_authority_that_is_asked_is_the_one_whose_ceiling_is_high_enough(
    client: FlaskClient, service: Service, tokens: dict[str, str]
) -> None:
    ticket = tickets.open_ticket(service, {"machine": "LH20-1", "symptoms": ["auger_stopped"]}, AGENT).id
    repairs.estimate(service, ticket, ABOVE_THE_DESK, VAN)
    asked = tickets.ticket(service, ticket, AGENT).repair.estimate
    assert asked is not None
    assert asked.ask is not None
    assert asked.ask.title == "Area manager"
    client.post("/sign-in", data={"token": tokens["agent"]})
    page = client.get(f"/tickets/{ticket}/end/ask").text
    assert "<strong>Area manager</strong> (up to $1,500)" in page
    assert "Desk lead" not in page
    assert '<th scope="row">Labor <small>6 h</small></th>' in page
    client.post("/sign-in", data={"token": tokens["fogline"]})
    stops = re.findall(
        r"<li( aria-current=\"step\")?><span><a[^>]*>([^<]*)", client.get(f"/field/tickets/{ticket}").text
    )
    assert [title for here, title in stops if here] == ["Area manager"]
