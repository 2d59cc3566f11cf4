"""Estimates, approvals and authorizations of one ticket: the part of its state that money hangs on.

An authorization belongs to one revision of the estimate, and a new revision withdraws it. Its number is never
given again. It is used by the closing that names it, once and before it expires. When another contractor
is sent, what the one before had estimated and was authorized to spend ends.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Literal

from triage.records.payloads import Approved, Estimated
from triage.values.dataclass_json import LEFT_OUT
from triage.values.errors import ConflictError, InputError, Problem
from triage.values.money import Money, in_currency, money_text


@dataclass(frozen=True, slots=True)
class ApprovalSaid:
    """The answer to an estimate; `authority` None is the standing limit, `who` wrote it down.

    `person` is who spoke as the authority.
    """

    authority: str | None
    yes: bool
    amount: Money | None
    why: str
    who: str
    person: str | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Authorization:
    """What may be spent on a revision of the estimate (0: on whatever comes) without asking again."""

    number: str
    amount: Money
    estimate: int
    authority: str | None
    why: str
    expires_at: datetime
    state: Literal["open", "used", "withdrawn"] = "open"
    person: str | None = field(default=None, metadata=LEFT_OUT)


@dataclass(frozen=True, slots=True)
class Repair:
    """`revisions` counts the estimates, `authorized` the authorizations; of each the last one is kept."""

    revisions: int = 0
    authorized: int = 0
    estimate: Estimated | None = None
    approval: ApprovalSaid | None = None
    authorization: Authorization | None = None

    @property
    def waiting(self) -> Estimated | None:
        """The estimate that an authority's answer is waited for."""
        held = self.estimate is not None and self.estimate.answer == "hold" and self.approval is None
        return self.estimate if held else None


NOTHING_YET = Repair()

STANDING_DAYS = 30
"""How long an authorization within the standing limit may be used. Common practice, no source."""


def next_number(ticket: str, repair: Repair) -> str:
    """The number of a ticket's next authorization."""
    return f"{ticket}-A{repair.authorized + 1}"


def standing_until(now: datetime) -> datetime:
    return now + timedelta(days=STANDING_DAYS)


def after_estimate(repair: Repair, estimate: Estimated) -> Repair:
    """A new revision: it is not answered yet, and what was authorized before is withdrawn."""
    authorization = _withdrawn(repair.authorization)
    return Repair(repair.revisions + 1, repair.authorized, estimate, None, authorization)


def after_approval(repair: Repair, said: Approved, who: str) -> Repair:
    """Somebody with the right to it, or the standing limit, answered the estimate."""
    repair = replace(
        repair,
        approval=ApprovalSaid(said.authority, said.yes, said.amount, said.why, who, said.person),
    )
    if not said.yes or said.number is None or said.amount is None or said.expires_at is None:
        return repair
    authorization = Authorization(
        said.number,
        said.amount,
        said.estimate,
        said.authority,
        said.why,
        said.expires_at,
        person=said.person,
    )
    return replace(repair, authorized=repair.authorized + 1, authorization=authorization)


def after_close(repair: Repair, named: str | None) -> Repair:
    """The authorization named is used, any other withdrawn; what is estimated later is asked anew."""
    authorization = repair.authorization
    if authorization is not None and named == authorization.number:
        authorization = replace(authorization, state="used")
    return replace(repair, estimate=None, approval=None, authorization=_withdrawn(authorization))


def after_withdrawal(repair: Repair) -> Repair:
    """Nothing is estimated or authorized any more; numbers go on counting."""
    return Repair(repair.revisions, repair.authorized)


def _withdrawn(authorization: Authorization | None) -> Authorization | None:
    if authorization is None or authorization.state != "open":
        return authorization
    return replace(authorization, state="withdrawn")


def open_authorization(repair: Repair, now: datetime) -> Authorization | None:
    """The authorization that may be used now."""
    authorization = repair.authorization
    if authorization is None or authorization.state != "open":
        return None
    return authorization if now < authorization.expires_at else None


def refuse_second_approval(repair: Repair, revision: int, ticket: str) -> None:
    """Raises ConflictError unless `revision` is the last one and nobody has answered it."""
    last = repair.revisions if repair.estimate is not None else 0
    if revision != last:
        what = f"the last one is {last}" if last else "there is none to answer (give 0)"
        message = f"estimate {revision} of ticket {ticket} is not the last: {what}; answer that"
        raise ConflictError([Problem(message, "/estimate")])
    approval = repair.approval
    if approval is not None:
        said = "approved" if approval.yes else "refused"
        by = approval.authority or "the standing limit"
        message = (
            f"estimate {revision} of ticket {ticket} was {said} already, by {by}; send a revision to ask anew"
        )
        raise ConflictError([Problem(message, "/estimate")])


def approved_outside_agreement(repair: Repair) -> Decimal:
    """What outside the rate agreement an authority saw in the estimate and approved with it."""
    authorization, estimate = repair.authorization, repair.estimate
    if authorization is None or authorization.authority is None or estimate is None:
        return Decimal(0)
    return estimate.bill.not_agreed if authorization.estimate == estimate.revision else Decimal(0)


def refuse_closing_above(
    repair: Repair, named: str | None, payable: Money, headroom: Money, now: datetime
) -> None:
    """Raises InputError unless what the program pays is authorized: by the number named, or the headroom.

    Once a revision is approved its authorization is what counts, though the headroom be higher.
    """
    authorization = repair.authorization
    if named is not None and (authorization is None or authorization.number != named):
        _refuse(f'this ticket has no authorization "{named[:60]}"; leave it out, or give the number told')
    if authorization is not None and (named is not None or authorization.state == "open"):
        number = authorization.number
        if named is None:
            if payable.amount:
                _refuse(f"{money_text(payable)} is closed on the authorization {number}; name it")
            return
        if authorization.state == "used":
            _refuse(f"the authorization {number} was used already; an estimate gets a new one")
        if authorization.state == "withdrawn":
            _refuse(f"the authorization {number} was withdrawn when a newer estimate or closing came")
        if now >= authorization.expires_at:
            _refuse(
                f"the authorization {number} expired at {authorization.expires_at.isoformat()}; ask again"
            )
        amount = in_currency(authorization.amount, payable.currency.code)
        if payable > amount:
            _refuse(
                f"{money_text(payable)} is {money_text(payable - amount)} above the {money_text(amount)} "
                f"authorized by {number}; send an estimate and have it approved first"
            )
    elif payable > headroom:
        _refuse(
            f"{money_text(payable)} is above the {money_text(headroom)} that may be spent without approval; "
            "send an estimate and have it approved first"
        )


def _refuse(message: str) -> None:
    raise InputError([Problem(message, "/authorization")])
