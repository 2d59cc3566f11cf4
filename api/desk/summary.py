"""What is read back to the clerk at the end of a call, and the texts for the store and for the technician."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.desk.call_view import FactRow
from api.pages.texts import clerk, clerk_language, gettext, tell
from api.pages.words import (
    decision_words,
    local_time,
    money_words,
    result_words,
    symptom_words,
    title_words,
)
from triage.records.report import Machine
from triage.records.ticket import Ticket
from triage.records.visit_log import PlannedVisit
from triage.rulebook.built_in_facts import LOCAL_CODES
from triage.rulebook.model import Rulebook
from triage.values.shown import N_

SOLVED = N_("The machine works again. Please call us if the trouble comes back.")
CLOSED = N_("Your report is closed. Please call us if the trouble comes back.")
NUMBER = N_("Your report number is {ticket}.")
STOP = N_("Please do not use the machine until a technician has checked it.")
WAIT = N_("We call you back at {time} to hear whether it helped.")
CALL_BACK = N_("We call you back at {time}.")
CALL_SOON = N_("We call you back as soon as we can.")
BOOKED = N_("A technician comes on {time}.")
BOOKED_BY = N_("A technician of {who} comes on {time}.")
SWAP_BOOKED = N_("The machine is swapped on {time}.")
THERE = N_("The technician is with you now.")
LATE = N_("A technician comes as soon as possible. We call you back with the time.")
DONE = N_("The technician was with you. We call you back when all is settled.")
BY_OUTCOME = {
    "fix_in_store": N_("Please call us again if the trouble stays."),
    "dispatch": N_("A technician will come, by {due} at the latest."),
    "approve": N_("A technician will come to do the repair, by {due} at the latest."),
    "hold": N_("The repair needs approval from {authority} first. We call you back."),
    "swap": N_("The machine will be swapped. Someone will be with you by {due} at the latest."),
}
BY_FIXER = {
    "electrician": N_("The fault is in the store's wiring. The store's electrician must fix it."),
    "installer": N_("Whoever set the machine up comes back to put it right, by {due} at the latest."),
    "pest_control": N_("Please call your pest control today. Call us when they were there."),
}
KNOWN_ENOUGH = N_("That is all we have to ask. We go by the machine's record.")
US = N_("the program desk")
NOTED = N_("We noted: {symptoms}.")
CALL_ON = N_("We call you back on {phone}. Is that right?")
WHICH_NUMBER = N_("On which number can we call you back?")
SMELL = N_("If you smell burning or feel a tingle, keep away from the machine and call us.")


@dataclass(frozen=True, slots=True)
class Told:
    """What the texts are made of: a ticket, its machine, its last visit, and the time they are told.

    `waits_for` is the check whose result the clerk is called back for, "" where it is something else;
    `knows_nothing`: the clerk could tell nothing more; `sends` is the name of who sends the technician.
    """

    ticket: Ticket
    machine: Machine | None
    visit: PlannedVisit | None
    now: datetime
    zone: str
    waits_for: str = ""
    knows_nothing: bool = False
    sends: str = ""


@dataclass(frozen=True, slots=True)
class Point:
    """One thing to say before a call ends, in the clerk's language; `english` where that is another."""

    icon: str
    title: str
    said: tuple[str, ...]
    english: tuple[str, ...]


def read_back(told: Told, language: str | None = None) -> tuple[str, ...]:
    """Sentences in the clerk's language, or in that one. No time that has gone by is promised."""
    language, parked = language or clerk_language(), told.ticket.parked_until
    said = [clerk(NUMBER, language).format(ticket=told.ticket.id)]
    if any(caution["stop_use"] for caution in (told.ticket.decision or {}).get("cautions", ())):
        said.append(clerk(STOP, language))
    undecided = told.ticket.state == "open" and not (told.ticket.decision or {}).get("solved")
    if told.knows_nothing and undecided and told.visit is None:
        said.append(clerk(KNOWN_ENOUGH, language))
    if parked is not None:
        waits = WAIT if told.waits_for else CALL_BACK
        said.append(_at(waits, parked, told, language) or clerk(CALL_SOON, language))
        if told.visit is None or told.visit.state != "scheduled":
            return tuple(said)
    return (*said, _what_comes(told, language))


def _what_comes(told: Told, language: str) -> str:
    ticket, visit, decision = told.ticket, told.visit, told.ticket.decision or {}
    if ticket.state != "open":
        return clerk(CLOSED, language)
    if decision.get("solved"):
        return clerk(SOLVED, language)
    if visit is not None and visit.state == "scheduled":
        booked = SWAP_BOOKED if visit.purpose == "swap" else BOOKED_BY if told.sends else BOOKED
        return _at(booked, visit.at, told, language) or clerk(LATE, language)
    if visit is not None:
        return clerk(THERE if visit.state == "started" else DONE, language)
    by = (decision.get("visit") or {}).get("by", "")
    promise = BY_FIXER.get(by, BY_OUTCOME[str(ticket.outcome)])
    if "{due}" in promise:
        due = decision.get("visit") and datetime.fromisoformat(decision["visit"]["due"])
        return (due and _at(promise, due, told, language)) or clerk(LATE, language)
    authority = clerk(decision["limit"]["authority_title"] or US, language)
    return clerk(promise, language).format(authority=authority)


def _at(text: str, at: datetime, told: Told, language: str) -> str:
    """A promise with its time on the store's clock; empty where that has gone by."""
    if at < told.now:
        return ""
    time = local_time(at, told.zone, language)
    said = clerk(text, language).format(time=time, due=time, who=told.sends)
    return said.replace("..", ".")  # "p. m." ends a sentence


def before_hanging_up(rulebook: Rulebook, told: Told) -> tuple[Point, ...]:
    """What is read back, the number to call, what the store does and leaves, and who comes when."""
    titles = (
        ("record", gettext("Read back")),
        ("phone", gettext("Number to call")),
        ("caution", gettext("The store does, and does not")),
        ("person", gettext("Who comes, and when")),
    )
    here, english = (_points(rulebook, told, language) for language in (clerk_language(), "en"))
    return tuple(
        Point(*title, said, () if said == other else other)
        for title, said, other in zip(titles, here, english, strict=True)
    )


def _points(rulebook: Rulebook, told: Told, language: str) -> tuple[tuple[str, ...], ...]:
    ticket, machine = told.ticket, told.machine
    number, *rest = read_back(told, language)
    symptoms = symptom_words(ticket.report.get("symptoms", ()), language)
    phone = ticket.phone or (machine.site.phone if machine and machine.site else "")
    stop = clerk(STOP, language)
    cautions = [
        clerk(caution["text"], language)
        for caution in (ticket.decision or {}).get("cautions", ())
        if caution["stop_use"] or not _beside_checks(rulebook, caution["rule"])
    ]
    return (
        (number, clerk(NOTED, language).format(symptoms=symptoms)),
        (clerk(CALL_ON, language).format(phone=phone) if phone else clerk(WHICH_NUMBER, language),),
        (*(said for said in rest if said == stop), *cautions, clerk(SMELL, language)),
        tuple(said for said in rest if said != stop),
    )


def _beside_checks(rulebook: Rulebook, caution: str) -> bool:
    return caution in rulebook.cautions and rulebook.cautions[caution].only_with_checks


def store_text(told: Told) -> str:
    """The message to the store, to send or to print and keep beside the machine."""
    cautions = (told.ticket.decision or {}).get("cautions", ())
    lines = [*read_back(told), *(clerk(caution["text"]) for caution in cautions), clerk(SMELL)]
    return "\n".join(dict.fromkeys((*lines, clerk(LOCAL_CODES))))


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
    named = number if part is None else f"{tell(part.title)} ({number})"
    return named if count == 1 else f"{count} × {named}"


def technician_text(rulebook: Rulebook, told: Told, rows: Sequence[FactRow]) -> str:
    """Everything a technician needs to know before the door, in plain text."""
    ticket, decision, machine = told.ticket, told.ticket.decision or {}, told.machine
    symptoms = symptom_words(ticket.report.get("symptoms", ()))
    dangers = dict.fromkeys(danger.caution for danger in ticket.dangers.standing)
    lines = [
        gettext("Ticket %(ticket)s, machine %(machine)s", ticket=ticket.id, machine=_machine(told)),
        *_where(machine),
        *_when(told),
        *(gettext("DANGER open: %(danger)s", danger=title_words(rulebook.cautions, id_)) for id_ in dangers),
        gettext("Reported: %(symptoms)s", symptoms=symptoms),
        *(f"- {row.title}: {row.words}" for row in rows if row.source == "caller"),
        *(
            gettext("Not known: %(fact)s", fact=title_words(rulebook.facts, fact))
            for fact in ticket.report.get("unknown", ())
        ),
        *(
            f"- {title_words(rulebook.checks, done['check'])}: {result_words(done['result'])}"
            for done in ticket.report.get("checks") or ()
        ),
        gettext("Outcome: %(outcome)s", outcome=decision_words(decision)),
        *(f"- {tell(reason['text'])}" for reason in decision.get("reasons", ())),
        *_likely(decision),
        *_kit(rulebook, told),
        who_pays(decision),
        *_may_spend(decision),
    ]
    return "\n".join(lines)


def _machine(told: Told) -> str:
    machine = told.machine
    return told.ticket.machine or "?" if machine is None else f"{machine.serial} ({machine.model})"


def _where(machine: Machine | None) -> list[str]:
    site = None if machine is None else machine.site
    if site is None:
        return []
    hours = ""
    if site.access_from:
        hours = gettext("; let in %(first)s to %(last)s", first=site.access_from, last=site.access_until)
    return [gettext("Where: %(where)s", where=f"{site.name}, {site.town}, {site.phone}{hours}")]


def _when(told: Told) -> list[str]:
    visit, asked = told.visit, (told.ticket.decision or {}).get("visit")
    lines = []
    if visit is not None and visit.state == "scheduled":
        lines.append(gettext("Booked: %(time)s", time=local_time(visit.at, told.zone)))
        lines += [gettext("Way in: %(how)s", how=visit.way_in)] if visit.way_in else []
    if asked:
        lines.append(gettext("Due: %(due)s", due=local_time(asked["due"], told.zone)))
    return lines


def _likely(decision: Mapping[str, Any]) -> list[str]:
    causes = [
        f"{tell(cause['title'] or cause['cause'])} {float(cause['chance']):.0%}"
        for cause in decision["causes"][:3]
    ]
    return [gettext("Likely: %(causes)s", causes=", ".join(causes))] if decision.get("causes") else []


def _kit(rulebook: Rulebook, told: Told) -> list[str]:
    visit = told.visit
    kit = visit.kit if visit else ((told.ticket.decision or {}).get("visit") or {}).get("kit", ())
    return [gettext("Bring: %(kit)s", kit=", ".join(kit_words(rulebook, kit)))] if kit else []


def _may_spend(decision: Mapping[str, Any]) -> list[str]:
    limit = decision.get("limit") or {}
    if not limit:
        return []
    left = money_words(limit["headroom"], decision["currency"])
    return [gettext("May be spent without asking: %(left)s", left=left)]
