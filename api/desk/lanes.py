"""Open tickets by what is to be done now: lanes, each sorted by its time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.pages.texts import gettext, ngettext
from triage.service.tickets import OpenTicket

FAR = timedelta(days=36_500)


ICONS = {
    "danger": "danger",
    "overdue": "clock",
    "call_back": "phone",
    "phone": "voice",
    "send": "send",
    "hold": "hold",
    "contractor": "person",
    "solved": "tick",
    "to_close": "tick",
}
"""The lanes in the order of their urgency, and the drawing of each."""

ONLY_TO_CLOSE = ("solved", "to_close")


@dataclass(frozen=True, slots=True)
class Lane:
    """Tickets for which the same is to be done; `why` says in what state they are."""

    id: str
    title: str
    why: str
    tickets: tuple[OpenTicket, ...]

    @property
    def icon(self) -> str:
        return ICONS[self.id]

    @property
    def open(self) -> bool:
        """Whether its tickets count as open: those of the last lanes only have to be closed."""
        return self.id not in ONLY_TO_CLOSE


def lane_of(ticket: OpenTicket, now: datetime) -> str:
    """The first that holds, from what can hurt someone to what only has to be closed."""
    if ticket.dangers:
        return "danger"
    if ticket.solved:
        return "solved"
    if ticket.stage == "visited":
        return "to_close"
    if ticket.parked_until is not None:
        return "call_back"
    if ticket.due_at is not None and ticket.due_at < now:
        return "overdue"
    if ticket.outcome == "hold":
        return "hold"
    if ticket.stage == "dispatched":
        return "contractor"
    return "phone" if ticket.outcome == "fix_in_store" or ticket.due_at is None else "send"


def lanes(tickets: Sequence[OpenTicket], now: datetime) -> tuple[Lane, ...]:
    """All lanes in the order of their urgency; those without a ticket are left out."""
    by_lane: dict[str, list[OpenTicket]] = {}
    for ticket in sorted(tickets, key=lambda each: _time(each, now)):
        by_lane.setdefault(lane_of(ticket, now), []).append(ticket)
    return tuple(Lane(id_, *_words(id_), tuple(by_lane[id_])) for id_ in ICONS if id_ in by_lane)


def _time(ticket: OpenTicket, now: datetime) -> datetime:
    return ticket.parked_until or ticket.due_at or now + FAR - (now - ticket.changed_at)


def _words(lane: str) -> tuple[str, str]:
    return {
        "danger": (gettext("Danger: act now"), gettext("nobody touches the machine")),
        "overdue": (gettext("Overdue"), gettext("promised and not done; oldest first")),
        "call_back": (gettext("Call back"), gettext("the clerk waits for us")),
        "phone": (gettext("Phone and check"), gettext("questions and checks in the store")),
        "send": (gettext("Send somebody"), gettext("decided; no visit is booked yet")),
        "hold": (gettext("Waiting for approval"), gettext("longest waiting first")),
        "contractor": (gettext("With the contractor"), gettext("a visit is booked")),
        "solved": (gettext("Solved: close it"), gettext("it works again")),
        "to_close": (gettext("Visit done: close it"), gettext("the technician was there")),
    }[lane]


def span(at: datetime, now: datetime) -> str:
    """How far a moment is away, either way, as short as it can be said: "6 min", "2 h", "3 days"."""
    minutes = int(abs((at - now).total_seconds()) // 60)
    if minutes < 60:
        return gettext("%(num)s min", num=minutes)
    if minutes < 48 * 60:
        return gettext("%(num)s h", num=minutes // 60)
    return ngettext("%(num)s day", "%(num)s days", minutes // 1440)
