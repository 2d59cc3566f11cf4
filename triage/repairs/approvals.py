"""Who may say yes: the authority ladder with its ceilings, absences and deputies, and an authority's word.

A ceiling is what the whole ticket may come to. While an authority is absent its deputies speak for it, with
its ceiling; who is absent is not heard. Each estimate is answered once: yes, no, or yes up to an amount, by a
named authority and with a reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal, TypeAlias, get_args

from triage.decide.spending.authorities import absence_on, ceilings_of
from triage.inputs.reader import InputReader
from triage.records.decision import Decision
from triage.repairs.pricing import Bill
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Authority
from triage.values.errors import InputError, Problem
from triage.values.money import Money, money_text
from triage.values.suggest import hint

Word: TypeAlias = Literal["yes", "no", "yes_up_to"]
WORDS: tuple[Word, ...] = get_args(Word)
APPROVAL_KEYS = ("estimate", "answer", "amount", "authority", "why", "expires_at")
MOST_WHY = 2000


@dataclass(frozen=True, slots=True)
class Approval:
    """An authority's word. `estimate` is the revision it is about, 0 where no estimate was given yet."""

    estimate: int
    answer: Word
    amount: Money | None  # for `yes_up_to`
    authority: Authority  # who spoke
    why: str
    expires_at: datetime | None  # None: as long as the authority's word holds


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


def read_approval(data: object, rulebook: Rulebook, now: datetime) -> Approval:
    """An approval from JSON data. Raises InputError listing every problem."""
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
    authority = _authority(read, top.get("authority"))
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
    return Approval(estimate, answer, amount, authority, why, expires_at)


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


def answer_to(decision: Decision, bill: Bill) -> tuple[str, tuple[str, ...]]:
    """Whether an estimate is approved, held or answered by a swap, and the reasons.

    The decision's own word counts where it is one of the three, else what the money says.
    """
    if decision.outcome in ("approve", "hold", "swap"):
        return decision.outcome, tuple(reason.text for reason in decision.reasons)
    headroom = decision.limit.headroom
    if bill.beyond_warranty <= headroom:
        return "approve", (f"It is within the {money_text(headroom)} that may be spent on this ticket.",)
    return "hold", (f"It is above the {money_text(headroom)} that may be spent on this ticket.",)
