"""How a call may end, and what may come after: each way in words, and the one that the decision says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import groupby, islice
from typing import Any

from api.desk.summary import Told, kit_words
from api.pages.texts import gettext, ngettext, tell
from api.pages.words import clock_words, day_words, money_words, time_words
from triage.records.decision_parts import VisitAsked
from triage.rulebook.model import Rulebook
from triage.schedule.contractors import Contractor, Slot
from triage.service.swaps import SwapView

USUAL_WAIT = 30
"""Minutes after which a clerk is called back, where no check says how long it takes."""
MOST_A_DAY = 6
"""Times of one day that are offered."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way on. `line` says what it does, or with `can` False why it cannot be gone now."""

    id: str
    icon: str
    title: str
    line: str
    can: bool = True


@dataclass(frozen=True, slots=True)
class Around:
    """What the ways are told from: the ticket and its last visit, what can be booked, sent and spent."""

    told: Told
    rulebook: Rulebook
    times: Sequence[Slot] = ()
    asked: VisitAsked | None = None
    sends: bool = False  # whether somebody is to be sent
    contractors: Mapping[str, Contractor] = field(default_factory=dict)
    swap: SwapView | None = None
    ask: Mapping[str, Any] | None = None

    @property
    def wait(self) -> int:
        """Minutes until the clerk is called back: as long as the check at hand takes to show."""
        plan = (self.told.ticket.decision or {}).get("plan") or ()
        return next((step["wait_minutes"] for step in plan if step["wait_minutes"]), USUAL_WAIT)


@dataclass(frozen=True, slots=True)
class Time:
    """A time that can be booked: as it is sent, as it is read, and whether it is past the due time."""

    at: str
    words: str
    late: bool


def days(around: Around) -> list[tuple[str, list[Time]]]:
    """What can be booked, day by day on the store's clock."""
    due, found = around.asked.due if around.asked else None, []
    for day, slots in groupby(around.times, key=lambda slot: slot.at.date()):
        times = [
            Time(slot.at.isoformat(), time_words(slot.at), due is not None and slot.at > due)
            for slot in islice(slots, MOST_A_DAY)
        ]
        found.append((day_words(day), times))
    return found


def ways(around: Around) -> tuple[Way, ...]:
    """The five ends of a call, then what comes after; of a closed ticket only how it is opened again."""
    if around.told.ticket.state != "open":
        return (Way("reopen", "undo", gettext("Open it again"), gettext("The trouble is back.")),)
    return (*ends(around), *_later(around))


def ends(around: Around) -> tuple[Way, ...]:
    return (_close(around), _book(around), _ask(around), _call_back(around), _swap(around))


def says(around: Around) -> str:
    """The way that the decision, and what came of it, says; empty where it says none."""
    ticket, visit = around.told.ticket, around.told.visit
    if ticket.state != "open":
        return "reopen"
    if (ticket.decision or {}).get("solved") or (visit is not None and visit.state == "done"):
        return "close"
    if visit is not None:
        return "visit"
    if ticket.outcome == "hold":
        return "ask"
    if ticket.outcome == "swap" and around.swap is not None and around.swap.reserved is None:
        return "close" if around.swap.refused else "swap"
    if around.sends and _another(around):
        return "call-back"
    return "book" if around.sends else ""


def _close(around: Around) -> Way:
    visit = around.told.visit
    if around.told.ticket.dangers.standing:
        line = gettext("A danger is open; it closes only with who made it safe, and how.")
    elif visit is not None and visit.state == "done":
        line = gettext("The technician was there: what it was, and what it cost.")
    else:
        line = gettext("It works again. Asks what fixed it.")
    return Way("close", "fix", gettext("Close: solved"), line)


def _another(around: Around) -> str:
    """Says who comes instead of a contractor on record; empty where a contractor does."""
    lines = {
        "electrician": gettext("The store's electrician comes; nobody is booked here."),
        "installer": gettext("The installer comes back; nobody is booked here."),
        "pest_control": gettext("The store calls its pest control; nobody is booked here."),
    }
    return "" if around.asked is None else lines.get(around.asked.by, "")


def _book(around: Around) -> Way:
    told, visit, title = around.told, around.told.visit, gettext("Book the technician")
    if visit is not None and visit.state == "scheduled":
        time = clock_words(visit.at, told.zone, told.now)
        return Way("book", "send", gettext("Move the visit"), gettext("Booked: %(time)s", time=time))
    if visit is not None and visit.state == "started":
        return Way("book", "send", title, gettext("The technician is there."), can=False)
    if not around.sends:
        hold = told.ticket.outcome == "hold"
        why = gettext("First it has to be approved.") if hold else gettext("The decision sends nobody.")
        return Way("book", "send", title, why, can=False)
    if _another(around):
        return Way("book", "send", title, _another(around), can=False)
    if not around.times:
        return Way("book", "send", title, gettext("Nobody on record has room; call them."), can=False)
    first = around.times[0]
    who = around.contractors[first.contractor]
    line = f"{who.name}, {who.phone}. " if who.phone else f"{who.name}. "
    kit = kit_words(around.rulebook, around.asked.kit if around.asked else ())
    return Way("book", "send", title, line + (gettext("Brings %(kit)s.", kit=", ".join(kit)) if kit else ""))


def _ask(around: Around) -> Way:
    ticket, title = around.told.ticket, gettext("Ask for approval")
    decision = ticket.decision or {}
    if ticket.outcome == "hold" or ticket.repair.waiting is not None:
        who = around.ask or {}
        title_of = tell(who.get("title") or decision["limit"]["authority_title"] or "")
        reach = f"{title_of}: {tell(who.get('reach', ''))}"
        return Way("ask", "hold", title, reach.strip(": "))
    if ticket.repair.authorization is not None and ticket.repair.authorization.state == "open":
        amount = ticket.repair.authorization.amount
        up_to = money_words(amount.amount, amount.currency.code)
        return Way("ask", "hold", title, gettext("Approved up to %(amount)s.", amount=up_to), can=False)
    left = money_words(decision["limit"]["headroom"], decision["currency"])
    return Way("ask", "hold", title, gettext("Not needed: %(left)s is left.", left=left), can=False)


def _call_back(around: Around) -> Way:
    told, minutes = around.told, around.wait
    if told.ticket.parked_until is not None:
        time = clock_words(told.ticket.parked_until, told.zone, told.now)
        line = gettext("Promised for %(time)s.", time=time)
    else:
        line = clock_words(told.now + timedelta(minutes=minutes), told.zone, told.now)
    return Way("call-back", "clock", gettext("Call back in %(minutes)s minutes", minutes=minutes), line)


def _swap(around: Around) -> Way:
    swap, title = around.swap, gettext("Swap the machine")
    if around.told.ticket.outcome != "swap" or swap is None:
        return Way("swap", "swap", title, gettext("The decision is another."), can=False)
    if swap.reserved is not None:
        return Way("swap", "swap", title, gettext("%(unit)s is on its way.", unit=swap.reserved))
    if swap.refused is not None:
        return Way("swap", "swap", title, gettext("The machine was swapped already."), can=False)
    fit = sum(unit.fits for unit in swap.units)
    return Way(
        "swap", "swap", title, ngettext("%(num)s unit fits.", "%(num)s units fit.", fit), can=bool(fit)
    )


def _later(around: Around) -> tuple[Way, ...]:
    visit, estimate = around.told.visit, around.told.ticket.repair.estimate
    if visit is None:
        line = gettext("None is booked.")
    else:
        at = clock_words(visit.at, around.told.zone, around.told.now)
        line = {
            "scheduled": gettext("Booked: %(time)s", time=at),
            "started": gettext("The technician is there."),
            "done": gettext("The technician was there."),
        }[visit.state]
    running = visit is not None and visit.state != "done"
    bill = None if estimate is None else estimate.bill.beyond_warranty
    said = (
        gettext("None yet.")
        if bill is None
        else gettext("%(amount)s beyond warranty.", amount=money_words(bill.amount, bill.currency.code))
    )
    return (
        Way("visit", "person", gettext("The visit"), line, can=running),
        Way("estimate", "money", gettext("The estimate"), said),
    )
