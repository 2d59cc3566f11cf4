"""Open dangers as the pages show them: what raised each, since when, on which ticket, and what it closes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.texts import gettext
from api.pages.words import title_words
from triage.decide.causes.guards import near_facts
from triage.records.danger import QUOTES, Danger
from triage.records.ticket import Ticket
from triage.rulebook.model import Rulebook


@dataclass(frozen=True, slots=True)
class DangerRow:
    """`how` says what raised it; `quotes` are the words heard, by place; `ticket` is where it was raised.

    With `cleaned_away` whoever is on the call may say that it was cleaned.
    """

    caution: str
    title: str
    how: str
    quotes: tuple[str, ...]
    since: datetime
    ticket: str | None
    misreadable: bool
    cleaned_away: bool


def danger_rows(
    rulebook: Rulebook, dangers: Iterable[Danger], own: str | None = None
) -> tuple[DangerRow, ...]:
    """Open dangers as rows; those without a ticket were raised on the ticket `own`."""
    return tuple(
        DangerRow(
            danger.caution,
            title_words(rulebook.cautions, danger.caution),
            _how(danger.source),
            tuple(danger.quote.split(QUOTES)) if danger.quote else (),
            danger.since,
            danger.ticket or own,
            danger.source in ("words", "caller") and danger.ticket in (None, own),
            rulebook.cleans_away(danger.caution),
        )
        for danger in dangers
    )


def _how(source: str) -> str:
    return {
        "caller": gettext("the caller said so"),
        "words": gettext("heard in the caller's words"),
        "record": gettext("stands in the machine's record"),
        "derived": gettext("follows from the answers"),
        "technician": gettext("reported by the technician"),
    }.get(source, source)


def misread_reasons() -> tuple[str, ...]:
    """Why words or an answer did not mean a danger: the reasons an agent may give."""
    return (
        gettext("Only a way of speaking"),
        gettext("Not about this machine"),
        gettext("Typed or pressed by mistake"),
    )


def stopped(decision: Mapping[str, Any]) -> bool:
    """Whether nobody may use, and so nobody goes near, the machine."""
    return any(caution["stop_use"] for caution in decision.get("cautions", ()))


def near_closed(rulebook: Rulebook, decision: Mapping[str, Any], fact: str) -> bool:
    """Whether a question stays closed: somebody would go near a machine that is or may be dangerous."""
    waits = decision.get("waits_for", ())
    return fact in near_facts(rulebook) and (stopped(decision) or (bool(waits) and fact not in waits))


def closed_lines(rulebook: Rulebook, ticket: Ticket) -> tuple[str, ...]:
    """What the open dangers of a ticket close."""
    decision = ticket.decision or {}
    dangers = [danger.caution for danger in ticket.dangers.standing]
    cautions = [rulebook.cautions[id_] for id_ in dangers if id_ in rulebook.cautions]
    if not dangers:
        return ()
    if stopped(decision) or any(caution.forbids_all_checks for caution in cautions):
        lines = [gettext("Every check in the store")]
    else:
        ids = dict.fromkeys(id_ for caution in cautions for id_ in sorted(caution.forbids))
        lines = [title_words(rulebook.checks, id_) for id_ in ids]
    if stopped(decision):
        lines.append(gettext("Every question that brings someone near the machine"))
    first = dict.fromkeys(check for caution in cautions for check in caution.first)
    titles = ", ".join(title_words(rulebook.checks, id_) for id_ in first)
    if titles and not stopped(decision):
        lines.append(gettext("Every other check before: %(checks)s", checks=titles))
    if len(cautions) == len(dangers) and all(caution.cleaned_away for caution in cautions):
        return tuple(lines)
    return (*lines, gettext("The outcome “Fix in store”"))


def waits(rulebook: Rulebook, ticket: Ticket) -> tuple[str, ...]:
    """What has to be known before anybody goes near the machine, in words."""
    facts = (ticket.decision or {}).get("waits_for", ())
    return tuple(title_words(rulebook.facts, fact) for fact in facts)
