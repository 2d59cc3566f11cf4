"""What the rate agreement does not pay: policy sees it at estimate and closing, and it is counted."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.triage.builders import policy
from tests.triage.payloads import usd
from tests.triage.services import AGENT, FOGLINE, OPS, REPORT, TERN, Clock, rulebook_files, running_service
from triage.records.ticket import Ticket
from triage.repairs.exports import SPEND_COLUMNS, as_csv
from triage.service import numbers, repairs, tickets
from triage.service.service import Service
from triage.values.errors import InputError

HOLD = policy(
    "not-agreed",
    {"outside_agreement": True, "any_of": [{"outside_agreement_amount": "> 20"}]},
    {"outside_agreement": True, "outside_agreement_amount": 21},
    {"outside_agreement": True, "outside_agreement_amount": 20},
    "hold",
    950,
    "{outside_agreement_amount} ({outside_agreement_share}) is not agreed.",
)
HOUR = {"kind": "labor", "hours": 1}
AGREED = [{"kind": "trip"}, HOUR]  # 95.00 and 110.00
DEAR_TRIP = [{"kind": "trip", "amount": "145.00 USD"}, HOUR]
YES = {
    "estimate": 1,
    "answer": "yes",
    "authority": "ops_lead",
    "person": "Robin Vale",
    "why": "There was no other van.",
}


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    files = rulebook_files(**{"policy/not-agreed.yml": HOLD})
    with running_service(tmp_path, Clock(), files) as running:
        yield running


@pytest.fixture
def ticket(service: Service) -> Ticket:
    return tickets.open_ticket(service, REPORT, AGENT)


def estimate(service: Service, ticket: Ticket, lines: object, cause: str = "dirty_filter") -> Ticket:
    return repairs.estimate(service, ticket.id, {"cause": cause, "lines": lines}, FOGLINE)


def answer(ticket: Ticket) -> tuple[str, tuple[str, ...]]:
    assert ticket.repair.estimate is not None
    return ticket.repair.estimate.answer, ticket.repair.estimate.reasons


def close(service: Service, ticket: Ticket, lines: object, **more: Any) -> Ticket:
    closing = {"cause": "dirty_filter", "cured_by": "repair", "lines": lines, **more}
    return repairs.close(service, ticket.id, closing, FOGLINE)


@pytest.mark.parametrize(
    ("lines", "reason"),
    [
        (DEAR_TRIP, "50.00 USD (20 %) is not agreed."),
        ([{"kind": "trip"}] * 3, "190.00 USD (67 %) is not agreed."),
        ([{"kind": "trip"}, {"kind": "tax", "amount": "95.00 USD"}], "95.00 USD (50 %) is not agreed."),
    ],
)
def test_an_overcharge_within_the_limit_is_held(
    service: Service, ticket: Ticket, lines: object, reason: str
) -> None:
    held = estimate(service, ticket, lines)
    assert answer(held) == ("hold", (reason,))
    assert held.repair.estimate is not None
    assert held.repair.estimate.ask is not None
    assert held.repair.authorization is None
    assert answer(estimate(service, ticket, AGREED))[0] == "approve"


def test_within_the_tolerance_it_is_only_named(service: Service, ticket: Ticket) -> None:
    after = estimate(service, ticket, [{"kind": "trip", "amount": "115.00 USD"}, HOUR])
    assert answer(after)[0] == "approve"
    assert after.repair.estimate is not None
    assert after.repair.estimate.bill.outside_agreement == usd(20)


def test_an_overcharge_that_warranty_pays_is_held_too(service: Service, ticket: Ticket) -> None:
    held = estimate(service, ticket, DEAR_TRIP, "compressor_fault")
    assert held.repair.estimate is not None
    assert held.repair.estimate.bill.beyond_warranty == usd(0)
    assert answer(held)[0] == "hold"


def test_a_bill_without_an_estimate_is_judged_as_one(service: Service, ticket: Ticket) -> None:
    with pytest.raises(InputError, match=r"50\.00 USD \(20 %\) is not agreed\. Send this bill") as refused:
        close(service, ticket, DEAR_TRIP)
    assert [problem.pointer for problem in refused.value.problems] == ["/lines"]
    assert tickets.ticket(service, ticket.id, OPS) == ticket
    assert close(service, ticket, AGREED).state == "closed"


def test_an_authorization_within_the_limit_does_not_pay_an_overcharge(
    service: Service, ticket: Ticket
) -> None:
    approved = estimate(service, ticket, [{"kind": "trip"}, {"kind": "labor", "hours": 2}]).repair
    assert approved.authorization is not None
    number = approved.authorization.number
    with pytest.raises(InputError, match="is not agreed"):
        close(service, ticket, DEAR_TRIP, authorization=number)
    assert close(service, ticket, AGREED, authorization=number).state == "closed"


def test_what_an_authority_saw_and_approved_may_be_billed_and_no_more(
    service: Service, ticket: Ticket
) -> None:
    estimate(service, ticket, DEAR_TRIP)
    approved = repairs.approve(service, ticket.id, YES, OPS).repair
    assert approved.authorization is not None
    number = approved.authorization.number
    dearer = [{"kind": "trip", "amount": "205.00 USD"}]
    with pytest.raises(InputError, match="is not agreed"):
        close(service, ticket, dearer, authorization=number)
    assert close(service, ticket, DEAR_TRIP, authorization=number).state == "closed"


def test_an_amount_approved_before_any_estimate_does_not_cover_an_overcharge(
    service: Service, ticket: Ticket
) -> None:
    word = {**YES, "estimate": 0, "answer": "yes_up_to", "amount": "600.00 USD"}
    repairs.approve(service, ticket.id, word, OPS)
    assert answer(estimate(service, ticket, DEAR_TRIP))[0] == "hold"


def test_it_is_counted_by_contractor(service: Service, ticket: Ticket) -> None:
    close(service, ticket, [{"kind": "trip", "amount": "114.50 USD"}, HOUR])
    other = {**REPORT, "machine": "LH30-2"}
    as_agreed = {"cause": "dirty_filter", "cured_by": "repair", "lines": AGREED}
    repairs.close(service, tickets.open_ticket(service, other, AGENT).id, as_agreed, TERN)

    rows = numbers.spend(service, OPS, "contractor", None, None)
    found = {row["contractor"]: row["outside_agreement"] for row in rows}
    assert found == {"fogline": "19.50", "tern": "0.00", "not_on_record": "0.00"}
    columns = ("contractor", *SPEND_COLUMNS)
    assert "fogline,1,224.50,0.00,224.50,19.50,USD\r\n" in as_csv(columns, rows)

    counted = numbers.numbers(service, None, None)
    assert counted["outside_agreement"] == "19.50 USD"


def test_a_claim_names_it_line_by_line(service: Service, ticket: Ticket) -> None:
    lines = [{"kind": "trip", "amount": "105.00 USD"}, HOUR]
    repairs.close(
        service, ticket.id, {"cause": "compressor_fault", "cured_by": "repair", "lines": lines}, FOGLINE
    )
    rows, _ = numbers.claims(service, OPS, None, None)
    assert [(row["kind"], row["outside_agreement"]) for row in rows] == [("trip", "10.00"), ("labor", None)]
