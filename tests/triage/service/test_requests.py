"""Who asks, and that a request sent twice is carried out once."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.triage.services import (
    AGENT,
    FOGLINE,
    NOON,
    OPS,
    REPORT,
    Clock,
    running_service,
)
from triage.service import requests, tickets
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def service(tmp_path: Path, clock: Clock) -> Iterator[Service]:
    with running_service(tmp_path, clock) as running:
        yield running


def stored(service: Service) -> int:
    """Events of all tickets."""
    found = tickets.tickets(service, OPS, limit=200).tickets
    return sum(len(tickets.events(service, ticket.id, OPS)) for ticket in found)


def test_a_token_names_its_caller(service: Service) -> None:
    with service.store.write() as work:
        token = work.tokens.add("van-3", "technician", "fogline", NOON)
    assert requests.caller_for(service, token) == FOGLINE
    assert requests.caller_for(service, "nonsense") is None


def test_health_names_rulebook_and_engine(service: Service) -> None:
    assert requests.health(service) == {
        "status": "ok",
        "rulebook": service.rulebook.version,
        "engine": "plain",
    }


def test_a_request_sent_twice_is_carried_out_once(service: Service) -> None:
    def action() -> requests.Response:
        return requests.Response(
            201, {"ticket": tickets.open_ticket(service, REPORT, AGENT).id}, {"ETag": '"2"'}
        )

    first = requests.once(service, "k1", AGENT, "hash", action)
    again = requests.once(service, "k1", AGENT, "hash", action)
    assert (first.repeated, again.repeated) == (False, True)
    assert (again.status, again.body, again.headers) == (201, {"ticket": "T-000001"}, {"ETag": '"2"'})
    assert stored(service) == 2
    assert requests.once(service, "k1", OPS, "hash", action).body == {"ticket": "T-000002"}


def test_a_key_is_not_used_for_another_request(service: Service) -> None:
    requests.once(service, "k1", AGENT, "hash", lambda: requests.Response(200, {}, {}))
    with pytest.raises(ConflictError, match="Idempotency-Key"):
        requests.once(service, "k1", AGENT, "other", lambda: requests.Response(200, {}, {}))


def test_a_request_that_fails_stores_neither_effect_nor_key(service: Service) -> None:
    def action() -> requests.Response:
        tickets.open_ticket(service, REPORT, AGENT)
        raise InputError("half way")

    with pytest.raises(InputError, match="half way"):
        requests.once(service, "k1", AGENT, "hash", action)
    assert stored(service) == 0
    assert (
        requests.once(service, "k1", AGENT, "hash", lambda: requests.Response(200, {}, {})).repeated is False
    )


def test_requests_with_one_key_at_once_are_carried_out_once(service: Service) -> None:
    answers: list[requests.Response] = []

    def send() -> None:
        def action() -> requests.Response:
            return requests.Response(201, {"ticket": tickets.open_ticket(service, REPORT, AGENT).id}, {})

        answers.append(requests.once(service, "k1", AGENT, "hash", action))

    threads = [threading.Thread(target=send) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [answer.body for answer in answers] == [answers[0].body] * 5
    assert sum(answer.repeated for answer in answers) == 4
    assert stored(service) == 2
