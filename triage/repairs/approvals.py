"""Who may say yes: the authority ladder with its ceilings, absences and deputies, and an authority's word.

A ceiling is what the whole ticket may come to. While an authority is absent its deputies speak for it, with
its ceiling; who is absent is not heard. Each estimate is answered once: yes, no, or yes up to an amount, by a
named authority and with a reason.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal, TypeAlias, get_args

from triage.decide.computed_facts import rules_on_outside
from triage.decide.spending.authorities import absence_on, ceilings_of
from triage.inputs.reader import InputReader
from triage.records.authorization import (
    Authorization,
    Repair,
    approved_outside_agreement,
    next_number,
    refuse_second_approval,
)
from triage.records.bill import Speaker
from triage.records.caller import Caller
from triage.records.decision import Decision
from triage.records.payloads import Approved, Estimated
from triage.records.ticket import Event, Ticket
from triage.repairs.pricing import Bill
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Authority
from triage.values.errors import ConflictError, InputError, Problem
from triage.values.money import Money, in_currency, money_text
from triage.values.shown import hint


def answer_to(decision: Decision, bill: Bill) -> tuple[str, tuple[str, ...]]:
    """The decision's own word where it is one of the three, else what the money says."""
    if decision.outcome in ("approve", "hold", "swap"):
        return decision.outcome, tuple(reason.text for reason in decision.reasons)
    headroom = decision.limit.headroom
    if bill.beyond_warranty <= headroom:
        return "approve", (f"It is within the {money_text(headroom)} that may be spent on this ticket.",)
    return "hold", (f"It is above the {money_text(headroom)} that may be spent on this ticket.",)


def held_for_outside(rulebook: Rulebook, decision: Decision) -> list[str]:
    """Why it is held for what is outside the rate agreement; nothing where it is not."""
    about = rules_on_outside(rulebook)
    return [one.text for one in decision.reasons if one.rule in about and decision.outcome == "hold"]


def refuse_held(
    rulebook: Rulebook, decision: Decision, bill: Bill, repair: Repair, named: str | None
) -> None:
    """Raises InputError for a closing's bill that would be held as an estimate, and that nobody approved.

    `decision` is that of the bill as an estimate, `named` the authorization that it is closed on.
    """
    reasons: Sequence[str] = ()
    if named is None:
        held = bool(bill.total.amount) and decision.outcome == "hold"
        reasons = [reason.text for reason in decision.reasons] if held else ()
    elif bill.outside_agreement.amount > approved_outside_agreement(repair):
        reasons = held_for_outside(rulebook, decision)
    if reasons:
        message = f"{' '.join(reasons)} Send this bill as an estimate and have it approved first"
        raise InputError([Problem(message, "/lines")])


Word: TypeAlias = Literal["yes", "no", "yes_up_to"]
WORDS: tuple[Word, ...] = get_args(Word)
APPROVAL_KEYS = ("estimate", "answer", "amount", "authority", "person", "why", "expires_at")
MOST_WHY, MOST_PERSON = 2000, 100


@dataclass(frozen=True, slots=True)
class Approval:
    """An authority's word. `estimate` is the revision it is about, 0 where no estimate was given yet."""

    estimate: int
    answer: Word
    amount: Money | None  # for `yes_up_to`
    authority: Authority  # who spoke
    person: str  # behind the authority
    why: str
    expires_at: datetime | None  # None: as long as the authority's word holds


def approved_by_authority(
    rulebook: Rulebook,
    approval: Approval,
    who: Caller,
    ticket: Ticket,
    log: Sequence[Event],
    spent: Money,
    on: date,
    now: datetime,
) -> Approved:
    """The event of an authority's word. `log` is the ticket's, `spent` what it has cost, `on` the site's day.

    Raises ConflictError for an answer to another estimate than the last, a second answer, or one by who wrote
    the estimate; InputError where the speaker, or the caller's role, may not approve so much.
    """
    repair, speaker, amount = ticket.repair, approval.authority, approval.amount
    refuse_second_approval(repair, approval.estimate, ticket.id)
    if repair.estimate is not None:
        _refuse_own_estimate(approval, who, log)
    if approval.answer == "yes":
        if repair.estimate is None:
            raise InputError([Problem("there is no estimate yet; say yes_up_to with an amount", "/answer")])
        amount = in_currency(repair.estimate.bill.beyond_warranty, rulebook.currency)
    said = Approved(
        estimate=approval.estimate,
        authority=speaker.id,
        yes=amount is not None,
        amount=amount,
        number=None,
        expires_at=None,
        why=approval.why,
        speaker=Speaker(speaker.title),
        person=approval.person,
    )
    if amount is None:
        return said
    comes_to = (spent + amount).amount
    behalf = on_behalf_of(rulebook, approval, comes_to, on)
    _refuse_above_role(rulebook, approval, who, comes_to)
    return replace(
        said,
        number=next_number(ticket.id, repair),
        expires_at=approval.expires_at or now + timedelta(days=behalf.valid_days),
        speaker=Speaker(speaker.title, None if behalf.id == speaker.id else behalf.id),
    )


def _refuse_above_role(rulebook: Rulebook, approval: Approval, who: Caller, comes_to: Decimal) -> None:
    """Raises InputError above what the caller's role may approve in an authority's name."""
    most = rulebook.ops_up_to
    if who.role == "authority" or most is None or comes_to <= most:
        return
    message = (
        f"with a token of the role {who.role} a ticket is approved up to {most:.2f} {rulebook.currency}, "
        f"and it would come to {comes_to:.2f}; that takes a token of {approval.authority.title}'s own"
    )
    raise InputError([Problem(message, "/amount" if approval.answer == "yes_up_to" else "/authority")])


def _refuse_own_estimate(approval: Approval, who: Caller, log: Sequence[Event]) -> None:
    """Raises ConflictError where who wrote the last estimate would approve it, or is named as who did."""
    last = next(event for event in reversed(log) if isinstance(event.payload, Estimated))
    if _among(last.who, who.name, approval.person):
        raise ConflictError(
            f"{last.who} wrote this estimate of ticket {last.ticket}; somebody else approves it"
        )


def approved_by(who: Caller, authorization: Authorization, log: Sequence[Event]) -> bool:
    """Whether `who` gave, or wrote down, the authority's yes behind an authorization."""
    return any(
        isinstance(event.payload, Approved)
        and event.payload.number == authorization.number
        and event.payload.authority is not None
        and _among(who.name, event.who, event.payload.person or "")
        for event in log
    )


def _among(name: str, *people: str) -> bool:
    """A person is the same one in capitals."""
    return name.casefold() in [each.casefold() for each in people]


def refuse_own_approval(repair: Repair, who: Caller, log: Sequence[Event]) -> None:
    """Raises ConflictError where who approved the last authorization would close on it."""
    authorization = repair.authorization
    if authorization is not None and approved_by(who, authorization, log):
        raise ConflictError(f"{who.name} approved {authorization.number}; somebody else closes on it")


def on_behalf_of(rulebook: Rulebook, approval: Approval, comes_to: Decimal, on: date) -> Authority:
    """The authority whose ceiling covers what the ticket comes to; InputError where none does."""
    speaker = approval.authority
    absence = absence_on(speaker, on)
    if absence is not None:
        deputies = ", ".join(speaker.deputies) or "none named"
        message = f"{speaker.title} is absent until {absence.last}; deputies: {deputies}"
        raise InputError([Problem(message, "/authority")])
    ceilings = ceilings_of(rulebook, speaker, on)
    for authority in ceilings:
        if authority.up_to is None or authority.up_to >= comes_to:
            return authority
    highest = max(authority.up_to or Decimal(0) for authority in ceilings)
    able = sorted(
        one.id for one in rulebook.authorities.values() if one.up_to is None or one.up_to >= comes_to
    )
    message = (
        f"{speaker.title} may say yes up to {highest:.2f} {rulebook.currency}; the ticket would come to "
        f"{comes_to:.2f}. Ask {' or '.join(able) or 'for a higher authority: the rulebook names none'}"
    )
    raise InputError([Problem(message, "/amount" if approval.answer == "yes_up_to" else "/authority")])


def read_approval(data: object, rulebook: Rulebook, now: datetime, who: Caller) -> Approval:
    """An approval from JSON data. Raises InputError listing every problem.

    An authority's own token says whose approval it is and who spoke; with any other both are named.
    """
    read = InputReader(rulebook)
    top = read.mapping(data, "", APPROVAL_KEYS, "an approval")
    answer: Word = "no"
    if top.get("answer") in WORDS:
        answer = top["answer"]
    else:
        read.problem(f"the answer is one of {', '.join(WORDS)}", "/answer")
    amount = None
    if answer == "yes_up_to":
        amount = read.money(top.get("amount"), "/amount")
    elif top.get("amount") is not None:
        read.problem("an amount goes with the answer yes_up_to only; leave it out", "/amount")
    given = top.get("authority")
    authority = _authority(read, who.authority if given is None and who.authority else given)
    if authority is not None and who.authority not in (None, authority.id):
        read.problem(f"this token speaks as {who.authority}; leave the authority out", "/authority")
    person = _person(read, top.get("person"), who)
    why = read.text(top.get("why"), "/why", MOST_WHY).strip()
    if not why and not any(problem.pointer == "/why" for problem in read.problems):
        read.problem("say why, in a sentence", "/why")
    expires_at = None
    if top.get("expires_at") is not None:
        expires_at = read.moment(top["expires_at"], "/expires_at")
        if expires_at <= now and not any(problem.pointer == "/expires_at" for problem in read.problems):
            read.problem(f"this is past (it is {now.isoformat()}); an approval expires later", "/expires_at")
    estimate = _revision(read, top.get("estimate", 0))
    read.finish()
    assert authority is not None
    return Approval(estimate, answer, amount, authority, person, why, expires_at)


def _person(read: InputReader, raw: object, who: Caller) -> str:
    if who.role == "authority":
        if raw not in (None, who.name):
            read.problem(f"this token is {who.name}'s; leave the person out", "/person")
        return who.name
    person = " ".join(read.text(raw, "/person", MOST_PERSON).split())
    if not person and not any(problem.pointer == "/person" for problem in read.problems):
        read.problem("say who spoke as the authority, by name", "/person")
    return person


def _authority(read: InputReader, raw: object) -> Authority | None:
    known = read.rulebook.authorities
    if isinstance(raw, str) and raw in known:
        return known[raw]
    fix = hint(str(raw)[:60], known, f"; authorities are {', '.join(known)}")
    read.problem(f'there is no authority "{str(raw)[:60]}"{fix}', "/authority")
    return None


def _revision(read: InputReader, raw: Any) -> int:
    if (
        isinstance(raw, bool)
        or not isinstance(raw, int | Decimal)
        or raw != int(raw)
        or not 0 <= raw < 10_000
    ):
        read.problem("this is the revision of the estimate: a whole number, 0 before the first", "/estimate")
        return 0
    return int(raw)
