"""Who asks, and that a request sent twice is carried out once."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from tests.triage.services import (
    AGENT,
    FOGLINE,
    NOON,
    OPS,
    REPORT,
    stored,
    watched,
)
from triage.records.ticket import Ticket
from triage.service import calls, repairs, requests, tickets
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError


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


def responding(action: Callable[[], Ticket]) -> Callable[[], requests.Response]:
    def respond() -> requests.Response:
        ticket = action()
        return requests.Response(200, {"ticket": ticket.id, "version": ticket.version}, {})

    return respond


ESTIMATE = {"cause": "dirty_filter", "lines": [{"kind": "trip"}]}
CLOSING = {"cause": "dirty_filter", "cured_by": "rinse-filter"}


@pytest.mark.parametrize(
    "step",
    [
        lambda service, _: tickets.open_ticket(service, REPORT, AGENT),
        lambda service, ticket: tickets.answer(service, ticket, {"filter_days": 2}, AGENT),
        lambda service, ticket: tickets.record_check(service, ticket, "rinse-filter", "not_cured", AGENT),
        lambda service, ticket: calls.skip(service, ticket, "fill_level", AGENT, None),
        lambda service, ticket: repairs.estimate(service, ticket, ESTIMATE, FOGLINE),
        lambda service, ticket: repairs.close(service, ticket, CLOSING, AGENT),
    ],
    ids=["report", "answer", "check", "skip", "estimate", "close"],
)
def test_nothing_is_decided_while_the_lock_is_held(
    service: Service, step: Callable[[Service, str], Ticket]
) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT).id
    watching, engine = watched(service)
    requests.once(watching, "k1", AGENT, "hash", responding(lambda: step(watching, ticket)))
    assert engine.locked
    assert not any(engine.locked)


def test_the_watch_sees_a_lock_that_is_held(service: Service) -> None:
    watching, engine = watched(service)
    with service.store.write():
        tickets.decide_once(watching, REPORT)
    assert all(engine.locked)


def test_a_request_carried_out_by_its_twin_while_it_is_decided_gives_the_twins_response(
    service: Service,
) -> None:
    done: list[requests.Response] = []

    def twin() -> None:
        action = responding(lambda: tickets.open_ticket(service, REPORT, AGENT))
        done.append(requests.once(service, "k1", AGENT, "hash", action))

    watching, _ = watched(service, twin)
    action = responding(lambda: tickets.open_ticket(watching, REPORT, AGENT))
    found = requests.once(watching, "k1", AGENT, "hash", action)
    assert (found.repeated, found.body) == (True, done[0].body)
    assert stored(service) == 2


def test_a_request_refused_for_what_its_twin_changed_gives_the_twins_response(service: Service) -> None:
    ticket = tickets.open_ticket(service, REPORT, AGENT)

    def answer() -> Ticket:
        return tickets.answer(service, ticket.id, {"filter_days": 2}, AGENT, if_version=2)

    def late() -> Ticket:
        twin = threading.Thread(target=requests.once, args=(service, "k1", AGENT, "hash", responding(answer)))
        twin.start()
        twin.join()
        return answer()

    found = requests.once(service, "k1", AGENT, "hash", responding(late))
    assert (found.repeated, found.body) == (True, {"ticket": ticket.id, "version": 4})
    assert stored(service) == 4


def test_a_key_used_for_another_request_meanwhile_is_refused_and_stores_nothing(service: Service) -> None:
    def other() -> None:
        requests.once(service, "k1", AGENT, "other", lambda: requests.Response(200, {}, {}))

    watching, _ = watched(service, other)
    action = responding(lambda: tickets.open_ticket(watching, REPORT, AGENT))
    with pytest.raises(ConflictError, match="Idempotency-Key"):
        requests.once(watching, "k1", AGENT, "hash", action)
    assert stored(service) == 0


def test_work_is_done_without_the_lock_and_not_again_where_its_response_is_stored(service: Service) -> None:
    done: list[str] = []

    def work() -> requests.Response:
        with service.store.write() as written:  # stored at once, whatever becomes of the request
            written.rulebooks.keep(f"sha256:{len(done)}", {})
        done.append("done")
        return requests.Response(200, {"done": len(done)}, {})

    first = requests.once(service, "k1", OPS, "hash", work, is_work=True)
    again = requests.once(service, "k1", OPS, "hash", work, is_work=True)
    assert (first.body, again.body, again.repeated, len(done)) == ({"done": 1}, {"done": 1}, True, 1)
