"""A bill as policy judges it: the answer to an estimate, and why a closing is refused."""

from __future__ import annotations

from collections.abc import Sequence

from triage.decide.computed_facts import rules_on_outside
from triage.records.authorization import Repair, approved_outside_agreement
from triage.records.decision import Decision
from triage.repairs.pricing import Bill
from triage.rulebook.model import Rulebook
from triage.values.errors import InputError, Problem
from triage.values.money import money_text


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
