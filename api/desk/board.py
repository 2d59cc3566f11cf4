"""The bar that stays on top of a call: what is decided, who pays, when, where, the phone, and the dangers."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from babel.dates import format_time

from api.desk.danger_view import near_closed, stopped, waits
from api.pages.texts import gettext, ngettext, page_language, tell
from api.pages.words import clock_words, decision_words, money_words, outcome_mark, title_words
from triage.records.report import Site
from triage.records.ticket import Ticket
from triage.rulebook.model import Rulebook


@dataclass(frozen=True, slots=True)
class Sign:
    """One column of the bar; `icon` is its drawing. A phone's number can be pressed."""

    icon: str
    title: str
    words: str
    small: str = ""


@dataclass(frozen=True, slots=True)
class Board:
    """`mark` names the outcome's color and icon; `stop` is the other state, where nobody goes near."""

    mark: str
    outcome: str
    small: str
    signs: tuple[Sign, ...]
    stop: bool


@dataclass(frozen=True, slots=True)
class DangerAsked:
    """`answer` is None where it is not known yet; `correctable` where asking brings nobody near a danger."""

    id: str
    title: str
    answer: bool | None
    correctable: bool


def board(rulebook: Rulebook, ticket: Ticket, site: Site | None, zone: str, now: datetime) -> Board:
    """The bar of a ticket; times are the store's."""
    decision = ticket.decision or {}
    where = [] if site is None else [_store(site)]
    number = ticket.phone or ("" if site is None else site.phone)
    if number or ticket.caller:
        whose = ticket.caller or (gettext("the caller") if ticket.phone else gettext("of the store"))
        where.append(Sign("phone", gettext("Phone"), number, whose))
    return Board(
        outcome_mark(ticket.outcome, bool(decision.get("solved"))),
        decision_words(decision),
        _how_far(ticket, decision),
        (_pays(decision), _due(ticket, decision, zone, now), *where, _danger(rulebook, ticket)),
        stopped(decision),
    )


def _how_far(ticket: Ticket, decision: Mapping[str, Any]) -> str:
    if ticket.state != "open":
        return gettext("the ticket is closed")
    if decision.get("solved"):
        return gettext("the ticket can be closed")
    if decision.get("approved_up_to"):
        return gettext(
            "up to %(amount)s", amount=money_words(decision["approved_up_to"], decision["currency"])
        )
    authority = decision.get("limit", {}).get("authority_title")
    if ticket.outcome == "hold" and authority:
        return gettext("from %(who)s", who=tell(authority))
    more = decision.get("questions") or (ticket.outcome == "fix_in_store" and decision.get("plan"))
    return gettext("so far") if more else gettext("decided")


def _pays(decision: Mapping[str, Any]) -> Sign:
    warranty = decision["warranty"]
    parts, labor = warranty["parts"]["covered"], warranty["labor"]["covered"]
    left = gettext("%(left)s left", left=money_words(decision["limit"]["headroom"], decision["currency"]))
    words, small = {
        (True, True): (gettext("The maker"), gettext("parts and labor")),
        (True, False): (gettext("The maker: parts"), gettext("the program: labor")),
        (False, True): (gettext("The maker: labor"), gettext("the program: parts")),
        (False, False): (gettext("The program"), gettext("no warranty")),
    }[(bool(parts), bool(labor))]
    return Sign("money", gettext("Who pays"), words, f"{small}; {left}")


def _due(ticket: Ticket, decision: Mapping[str, Any], zone: str, now: datetime) -> Sign:
    visit = decision.get("visit")
    by = None if visit is None else clock_words(visit["due"], zone, now)
    due = gettext("No visit") if by is None else gettext("visit by %(time)s", time=by)
    if ticket.parked_until is not None:
        late = gettext("late; ") if ticket.parked_until < now else ""
        words = clock_words(ticket.parked_until, zone, now)
        return Sign("clock", gettext("Call back"), words, late + due)
    if visit is None or by is None:
        return Sign("clock", gettext("Due"), due)
    overdue = datetime.fromisoformat(visit["due"]) < now
    priority = gettext("priority %(priority)s", priority=visit["priority"])
    small = gettext("overdue") if overdue else priority
    return Sign("clock", gettext("Visit by"), by, small)


def _store(site: Site) -> Sign:
    if site.open_around_the_clock:
        hours = gettext("open day and night")
    elif site.access_until:
        until = format_time(time.fromisoformat(site.access_until), "h:mm a", locale=page_language())
        hours = gettext("access until %(time)s", time=until)
    else:
        hours = site.town
    return Sign("store", gettext("Store"), site.name, hours)


def _danger(rulebook: Rulebook, ticket: Ticket) -> Sign:
    title, standing = gettext("Danger"), ticket.dangers.standing
    if standing:
        titles = dict.fromkeys(title_words(rulebook.cautions, danger.caution) for danger in standing)
        said = ngettext("%(num)s open", "%(num)s open", len(standing))
        return Sign("danger", title, said, "; ".join(titles))
    asked = waits(rulebook, ticket)
    if asked:
        return Sign("caution", title, gettext("Ask first"), "; ".join(asked))
    known = [row for row in dangers_asked(rulebook, ticket) if row.answer is not None]
    small = ngettext("%(num)s asked", "%(num)s asked", len(known)) if known else ""
    return Sign("safe", title, gettext("None known"), small)


def dangers_asked(rulebook: Rulebook, ticket: Ticket) -> tuple[DangerAsked, ...]:
    """The dangers that must be known first and are not, then what the caller said of others."""
    decision, facts = ticket.decision or {}, rulebook.facts
    said = {
        fact: known["value"]
        for fact, known in decision.get("facts", {}).items()
        if known["from"] == "caller" and fact in facts and facts[fact].danger
    }
    first = [fact for fact in decision.get("waits_for", ()) if fact in facts and fact not in said]
    return tuple(
        DangerAsked(fact, tell(facts[fact].title), said.get(fact), not near_closed(rulebook, decision, fact))
        for fact in (*first, *said)
    )
