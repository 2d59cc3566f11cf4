"""A held estimate, and an authority whose address is on record; e-mail is dropped into a folder."""

from __future__ import annotations

import re
from email import message_from_bytes, policy
from pathlib import Path
from typing import cast

import pytest

from tests.triage.services import AGENT, FOGLINE, NOON, REPORT
from triage.config import Outgoing
from triage.records.ticket import Ticket
from triage.service import repairs, tickets
from triage.service.outgoing.deliver import deliver
from triage.service.service import Service

LARGE = {"cause": "dirty_filter", "lines": [{"kind": "trip"}, {"kind": "labor", "hours": 4}]}


@pytest.fixture
def service(service: Service, tmp_path: Path) -> Service:
    mail = f"file://{tmp_path}/mail"
    service.outgoing = Outgoing("https://desk.example.com", mail, "desk@example.com")
    with service.store.write() as work:
        work.tokens.add("Ines Marsh", "authority", None, NOON, "ops_lead", "ines@example.com")
    return service


@pytest.fixture
def held(service: Service) -> Ticket:
    opened = tickets.open_ticket(service, REPORT, AGENT)
    return repairs.estimate(service, opened.id, LARGE, FOGLINE)


class Letters:
    """What was delivered into the folder."""

    def __init__(self, service: Service, folder: Path) -> None:
        self._service, self.folder = service, folder

    def texts(self) -> list[str]:
        deliver(self._service)
        files = sorted(self.folder.glob("*.eml"))
        found = [message_from_bytes(one.read_bytes(), policy=policy.default) for one in files]
        return [cast(str, message.get_content()) for message in found]

    def link(self) -> str:
        """What the link of the last letter ends in."""
        return re.findall(r"https://desk\.example\.com/approve/(\S+)", self.texts()[-1])[0]


@pytest.fixture
def letters(service: Service, tmp_path: Path) -> Letters:
    return Letters(service, tmp_path / "mail")
