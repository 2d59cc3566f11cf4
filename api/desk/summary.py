"""What is read back to the clerk at the end of a call, and the summary to copy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.desk.call_view import FactRow
from api.pages.texts import clerk, clerk_language, gettext
from api.pages.words import local_time, outcome_words
from triage.records.ticket import Ticket
from triage.rulebook.model import Rulebook

SOLVED = "The machine works again. Please call us if the trouble comes back."
NUMBER = "Your report number is {ticket}."
STOP = "Please do not use the machine until someone has looked at it."
WAIT = "We call you back at {time} to hear whether it helped."
BY_OUTCOME = {
    "fix_in_store": "We try to put it right together, step by step.",
    "dispatch": "A technician will come, by {due} at the latest.",
    "approve": "A technician will come to do the repair, by {due} at the latest.",
    "hold": "The repair needs a word from {authority} first. We call you back.",
    "swap": "The machine will be exchanged. Someone is with you by {due} at the latest.",
}
US = "the program desk"


def read_back(ticket: Ticket, timezone: str) -> tuple[str, ...]:
    """Sentences in the clerk's language."""
    decision, language = ticket.decision or {}, clerk_language()
    said = [clerk(NUMBER).format(ticket=ticket.id)]
    if decision.get("solved"):
        return (*said, clerk(SOLVED))
    if any(caution["stop_use"] for caution in decision.get("cautions", ())):
        said.append(clerk(STOP))
    if ticket.parked_until is not None:
        return (*said, clerk(WAIT).format(time=local_time(ticket.parked_until, timezone, language)))
    visit = decision.get("visit")
    said.append(
        clerk(BY_OUTCOME[str(ticket.outcome)]).format(
            due="" if visit is None else local_time(visit["due"], timezone, language),
            authority=decision["limit"]["authority_title"] or clerk(US),
        )
    )
    return tuple(said)


def who_pays(decision: Mapping[str, Any]) -> str:
    """Parts and labor in one sentence."""
    parts, labor = decision["warranty"]["parts"]["covered"], decision["warranty"]["labor"]["covered"]
    if parts and labor:
        return gettext("The maker pays parts and labor: both are in warranty.")
    if parts:
        return gettext("The maker pays the parts; the program pays the labor.")
    if labor:
        return gettext("The maker pays the labor; the program pays the parts.")
    return gettext("The program pays: neither parts nor labor are in warranty.")


def kit_words(rulebook: Rulebook, kit: Sequence[str]) -> tuple[str, ...]:
    """Part titles with their numbers, each once with its count."""
    counted: dict[str, int] = {}
    for number in kit:
        counted[number] = counted.get(number, 0) + 1
    return tuple(_part(rulebook, number, count) for number, count in counted.items())


def _part(rulebook: Rulebook, number: str, count: int) -> str:
    part = rulebook.parts.get(number)
    named = number if part is None else f"{part.title} ({number})"
    return named if count == 1 else f"{count} × {named}"


def to_copy(rulebook: Rulebook, ticket: Ticket, rows: Sequence[FactRow], timezone: str) -> str:
    """The call in plain text, for a message or another system's note."""
    decision = ticket.decision or {}
    symptoms = ", ".join(
        rulebook.symptoms[name].title if name in rulebook.symptoms else name
        for name in ticket.report.get("symptoms", ())
    )
    lines = [
        gettext("Ticket %(ticket)s, machine %(machine)s", ticket=ticket.id, machine=ticket.machine or "?"),
        gettext("Reported: %(symptoms)s", symptoms=symptoms),
        *(f"- {row.title}: {row.words}" for row in rows if row.source == "caller"),
        *(
            gettext("Not known: %(fact)s", fact=_title(rulebook, fact))
            for fact in ticket.report.get("unknown", ())
        ),
        *(
            f"- {rulebook.checks[done['check']].title}: {done['result'].replace('_', ' ')}"
            for done in ticket.report.get("checks") or ()
            if done["check"] in rulebook.checks
        ),
        gettext("Outcome: %(outcome)s", outcome=outcome_words(ticket.outcome, bool(decision.get("solved")))),
        *(f"- {reason['text']}" for reason in decision.get("reasons", ())),
        who_pays(decision),
    ]
    if decision.get("visit"):
        visit = decision["visit"]
        lines.append(gettext("Due: %(due)s", due=local_time(visit["due"], timezone)))
        if visit["kit"]:
            lines.append(gettext("Bring: %(kit)s", kit=", ".join(kit_words(rulebook, visit["kit"]))))
    return "\n".join(lines)


def _title(rulebook: Rulebook, fact: str) -> str:
    return rulebook.facts[fact].title if fact in rulebook.facts else fact
