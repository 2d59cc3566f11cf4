"""An authority answers by a link that is good once, for a time, for one revision, and for that person."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest

from tests.triage.service.outgoing.conftest import LARGE, Letters
from tests.triage.services import AGENT, FOGLINE, NOON, REPORT, TERN, Clock
from triage.records.ticket import Ticket
from triage.service import repairs, tickets
from triage.service.outgoing import ask
from triage.service.service import Service
from triage.values.errors import ConflictError, InputError, NotFoundError

YES = {"answer": "yes", "why": "The only machine there."}


def sent(service: Service, ticket: Ticket, letters: Letters) -> str:
    ask.ask(service, ticket.id, AGENT)
    return letters.link()


def test_the_person_behind_the_link_approves_by_name(
    service: Service, held: Ticket, letters: Letters
) -> None:
    approved = ask.answer(service, sent(service, held, letters), YES)
    assert approved.repair.approval is not None
    said = approved.repair.approval
    assert (said.yes, said.person, said.who, said.authority) == (True, "Ines Marsh", "Ines Marsh", "ops_lead")
    assert approved.outcome == "approve"


def test_an_amount_and_a_no_are_answers_too(service: Service, held: Ticket, letters: Letters) -> None:
    up_to = {"answer": "yes_up_to", "amount": "400.00 USD", "why": "No more."}
    approved = ask.answer(service, sent(service, held, letters), up_to)
    assert approved.repair.authorization is not None
    assert str(approved.repair.authorization.amount.amount) == "400.00"
    other = repairs.estimate(service, held.id, LARGE, FOGLINE)
    refused = ask.answer(service, sent(service, other, letters), {"answer": "no", "why": "Too dear."})
    assert refused.repair.approval is not None
    assert not refused.repair.approval.yes


def test_a_link_answers_once(service: Service, held: Ticket, letters: Letters) -> None:
    link = sent(service, held, letters)
    ask.answer(service, link, YES)
    before = tickets.events(service, held.id, AGENT)
    for again in (YES, {"answer": "no", "why": "Changed my mind."}):
        with pytest.raises(ConflictError, match="answers once"):
            ask.answer(service, link, again)
    assert tickets.events(service, held.id, AGENT) == before


def test_an_answer_that_is_refused_does_not_use_the_link_up(
    service: Service, held: Ticket, letters: Letters
) -> None:
    link = sent(service, held, letters)
    with pytest.raises(InputError, match="up to 2000"):
        ask.answer(service, link, {"answer": "yes_up_to", "amount": "2000.01 USD", "why": "All of it."})
    assert ask.answer(service, link, YES).repair.approval is not None


def test_a_link_is_good_for_two_days(service: Service, held: Ticket, letters: Letters, clock: Clock) -> None:
    link = sent(service, held, letters)
    clock.time += ask.VALID - timedelta(seconds=1)
    assert ask.question(service, link).ticket.id == held.id
    clock.time += timedelta(seconds=1)
    for asked in (ask.question, lambda service, link: ask.answer(service, link, YES)):
        with pytest.raises(NotFoundError, match="not valid"):
            asked(service, link)


@pytest.mark.parametrize("guess", ["", "x", "A" * 43, "../tickets", "\ud800", "%00", "1 OR 1=1"])
def test_a_guessed_link_opens_nothing(service: Service, held: Ticket, letters: Letters, guess: str) -> None:
    link = sent(service, held, letters)
    for tried in (guess, link[:-1], link.swapcase(), link + "="):
        with pytest.raises(NotFoundError):
            ask.answer(service, tried, YES)


def test_only_the_newest_link_of_a_question_is_good(
    service: Service, held: Ticket, letters: Letters, clock: Clock
) -> None:
    first = sent(service, held, letters)
    clock.move(minutes=1)
    second = sent(service, held, letters)
    with pytest.raises(NotFoundError):
        ask.question(service, first)
    assert ask.question(service, second).link.caller.name == "Ines Marsh"


def test_a_link_says_nothing_about_a_newer_estimate(service: Service, held: Ticket, letters: Letters) -> None:
    link = sent(service, held, letters)
    repairs.estimate(service, held.id, LARGE, FOGLINE)
    with pytest.raises(ConflictError, match="another estimate"):
        ask.answer(service, link, YES)


def test_a_link_answers_its_own_ticket_whatever_is_sent_with_it(
    service: Service, held: Ticket, letters: Letters
) -> None:
    other = tickets.open_ticket(service, {**REPORT, "machine": "LH30-2"}, AGENT)
    link = sent(service, held, letters)
    with pytest.raises(InputError, match="ticket"):
        ask.answer(service, link, {**YES, "ticket": other.id})
    assert ask.answer(service, link, {**YES, "estimate": 0}).id == held.id
    assert tickets.ticket(service, other.id, AGENT).repair.approval is None


def test_an_estimate_answered_otherwise_ends_the_link(
    service: Service, held: Ticket, letters: Letters
) -> None:
    link = sent(service, held, letters)
    person = ask.question(service, link).link.caller
    repairs.approve(service, held.id, {"estimate": 1, **YES}, person)
    with pytest.raises(ConflictError):
        ask.answer(service, link, {"answer": "no", "why": "Too late."})


def test_revoking_the_token_or_moving_the_address_ends_the_link(
    service: Service, held: Ticket, letters: Letters
) -> None:
    link = sent(service, held, letters)
    with service.store.write() as work:
        work.tokens.write_to("Ines Marsh", "marsh@example.com")
    with pytest.raises(NotFoundError):
        ask.question(service, link)
    link = sent(service, held, letters)
    with service.store.write() as work:
        work.tokens.revoke("Ines Marsh", NOON)
    with pytest.raises(NotFoundError):
        ask.answer(service, link, YES)


def test_who_wrote_the_estimate_does_not_approve_it_by_a_link(service: Service, letters: Letters) -> None:
    opened = tickets.open_ticket(service, REPORT, AGENT)
    with service.store.write() as work:
        work.tokens.revoke("Ines Marsh", NOON)
        work.tokens.add(FOGLINE.name, "authority", None, NOON, "ops_lead", "van@example.com")
    held = repairs.estimate(service, opened.id, LARGE, FOGLINE)
    with pytest.raises(ConflictError, match="somebody else approves"):
        ask.answer(service, sent(service, held, letters), YES)


def test_nobody_is_asked_whose_token_has_ended(service: Service, held: Ticket) -> None:
    begins, ends = NOON - timedelta(days=2), NOON - timedelta(days=1)
    with service.store.write() as work:
        work.tokens.add("Ada Quay", "authority", None, begins, "ops_lead", "quay@example.com", ends)
    assert [one.name for one in ask.people_to_ask(service, held.id, AGENT)] == ["Ines Marsh"]
    with pytest.raises(InputError, match="nobody who may answer"):
        ask.ask(service, held.id, AGENT, "Ada Quay")


def test_nobody_is_asked_about_what_is_not_held(service: Service) -> None:
    opened = tickets.open_ticket(service, REPORT, AGENT)
    with pytest.raises(ConflictError, match="waits for no"):
        ask.ask(service, opened.id, AGENT)


def test_another_contractor_asks_about_no_ticket_of_this_one(service: Service, held: Ticket) -> None:
    with pytest.raises(NotFoundError):
        ask.ask(service, held.id, TERN)


def test_without_an_address_or_without_mail_it_is_said_how_to_get_one(service: Service, held: Ticket) -> None:
    with pytest.raises(InputError, match="token email"):
        ask.ask(service, held.id, AGENT, "Nobody")
    service.outgoing = type(service.outgoing)()
    with pytest.raises(InputError, match="BARRELWISE_MAIL"):
        ask.ask(service, held.id, AGENT)


def test_the_link_is_kept_nowhere_once_its_letter_is_delivered(
    service: Service, held: Ticket, letters: Letters
) -> None:
    link = sent(service, held, letters)
    with closing(sqlite3.connect(service.store.url.removeprefix("sqlite:///"))) as database:
        assert link not in "\n".join(database.iterdump())
