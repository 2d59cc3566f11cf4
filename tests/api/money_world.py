"""Two contractors whose limits and rates differ, a limit of 12 months, and a program with them over HTTP."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from api.app import create_app
from tests.api.conftest import TOKENS
from tests.triage.builders import minimal_files, policy
from tests.triage.services import ALDER, NOON, Clock, running_service
from triage.records.report import Machine
from triage.service.service import Service

NTE = {"fogline": {False: 650, True: 800}, "tern": {False: 550, True: 700}}
"""What one ticket may cost by day and after hours."""
YEAR = 1500
"""What a machine may cost in 12 months."""
TRIP = {"fogline": 95, "tern": 60}
HOUR = {"fogline": 100, "tern": 90}
FACTOR = {"fogline": "1.5", "tern": "2"}
CEILING = 2000
URGENT = 1
"""A response time that does not wait for the service hours, 08:00 to 17:00 on weekdays."""

DEAR = policy(
    "dear",
    {"estimate_total": "> 1200"},
    {"estimate_total": 1201},
    {"estimate_total": 1200},
    "swap",
    950,
    "It is not worth it.",
)

SEND = policy(
    "send",
    {"estimate_given": False},
    {"estimate_given": False},
    {"estimate_given": True},
    "dispatch",
    100,
    "A technician is to come.",
)


LEAK = policy(
    "leak",
    {"symptom": '"leaking"', "estimate_given": False},
    {"symptom": ["leaking"], "estimate_given": False},
    {"symptom": ["leaking"], "estimate_given": True},
    "dispatch",
    300,
    "A leak ruins more every hour.",
)


def leak_files() -> dict[str, object]:
    """Tickets can wait, but a rule sends somebody to a leak, the only symptom of this world, at once."""
    urgent = LEAK | {"then": {**LEAK["then"], "visit_priority": URGENT}}  # type: ignore[dict-item]
    return {**money_files(default_priority=3), "policy/leak.yml": urgent}


def money_files(default_priority: int = URGENT) -> dict[str, object]:
    files: dict[str, Any] = minimal_files({"policy/dear.yml": DEAR, "policy/send.yml": SEND})
    rows = [
        {
            "when": {"contractor": f'"{contractor}"', "after_hours": late},
            "then": {"amount": amount, "amount_12_months": YEAR},
        }
        for contractor, amounts in NTE.items()
        for late, amount in amounts.items()
    ]
    rest = {
        "when": {"contractor": 'not("fogline","tern")'},
        "then": {"amount": 100, "amount_12_months": YEAR},
    }
    files["limits/standing.yml"] |= {
        "inputs": ["contractor", "after_hours"],
        "outputs": ["amount", "amount_12_months"],
        "rows": [*rows, rest],
    }
    default = files["rates.yml"]["default"]
    files["rates.yml"]["contractors"] = {
        name: default
        | {"trip": TRIP[name], "labor_hour": HOUR[name], "after_hours_factor": float(FACTOR[name])}
        for name in TRIP
    }
    files["service_hours.yml"]["default_priority"] = default_priority
    return files


@dataclass
class World:
    """A program over HTTP, as everybody's tokens reach it."""

    service: Service
    clock: Clock
    client: FlaskClient
    tokens: dict[str, str]
    _serials: Iterator[int] = field(default_factory=lambda: count(1))

    def send(self, method: str, path: str, body: Any = None, by: str = "agent") -> TestResponse:
        return self.client.open(
            path, method=method, json=body, headers={"Authorization": f"Bearer {self.tokens[by]}"}
        )

    def get(self, path: str, by: str = "agent", status: int = 200) -> Any:
        response = self.send("GET", path, by=by)
        assert response.status_code == status, response.json
        return response.json

    def post(self, path: str, body: Any, by: str = "agent", status: int = 201) -> Any:
        response = self.send("POST", path, body, by)
        assert response.status_code == status, response.json
        return response.json

    def machine(self, contractor: str = "fogline") -> str:
        """A new machine out of warranty, in a contractor's care."""
        serial = f"MX20-{next(self._serials)}"
        with self.service.store.write() as work:
            new = Machine(serial, "LH-20", date(2022, 1, 5), date(2022, 2, 1), ALDER, contractor, serial)
            work.machines.put_machines([new])
        return serial

    def ticket(self, serial: str) -> str:
        report = {"machine": serial, "symptoms": ["leaking"], "reported_at": self.clock().isoformat()}
        return str(self.post("/v1/reports", report)["ticket"])

    def estimate(self, ticket: str, hours: float, by: str = "fogline", status: int = 201, **more: Any) -> Any:
        lines = [{"kind": "trip"}, {"kind": "labor", "hours": hours}]
        body = {"cause": "other", "lines": lines, **more}
        return self.post(f"/v1/tickets/{ticket}/estimates", body, by, status)

    def close(self, ticket: str, hours: float, by: str = "fogline", status: int = 200, **more: Any) -> Any:
        lines = [{"kind": "trip"}, {"kind": "labor", "hours": hours}]
        body = {"cause": "dirty_filter", "cured_by": "repair", "lines": lines, **more}
        return self.post(f"/v1/tickets/{ticket}/close", body, by, status)

    def send_contractor(self, ticket: str, contractor: str, at: str, **more: Any) -> Any:
        body = {"state": "scheduled", "contractor": contractor, "at": at, **more}
        return self.post(f"/v1/tickets/{ticket}/visits", body)

    def limit(self, serial: str, ticket: str, by: str = "agent", **query: str) -> Any:
        asked = "&".join(f"{name}={value}" for name, value in {"ticket": ticket, **query}.items())
        return self.get(f"/v1/machines/{serial}/limits?{asked}", by)["limit"]

    def kinds(self, ticket: str, by: str = "agent") -> list[str]:
        return [event["kind"] for event in self.get(f"/v1/tickets/{ticket}/events", by)["items"]]


@contextmanager
def money_world(folder: Path, url: str, files: dict[str, object] | None = None) -> Iterator[World]:
    clock = Clock()
    with running_service(folder, clock, files or money_files(), url) as service:
        with service.store.write() as work:
            tokens = {
                name: work.tokens.add(name, role, contractor, NOON)  # type: ignore[arg-type]
                for name, (role, contractor) in TOKENS.items()
                if role != "authority"
            }
        yield World(service, clock, create_app(service).test_client(), tokens)
