"""A ticket's log in words: what happened, when on the store's clock, and what it came to."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from api.pages.texts import LANGUAGES, gettext, tell
from api.pages.words import event_words, fact_words, local_time, outcome_words, result_words, title_words
from triage.records.payloads import (
    Acknowledged,
    Answered,
    Approved,
    CheckDone,
    Closed,
    DangerLifted,
    Decided,
    Detailed,
    Dispatched,
    Estimated,
    Noted,
    Parked,
    Reopened,
    Reported,
    Skipped,
    Spoken,
    Swapped,
    SwapReserved,
    Undone,
    Visited,
    Withdrawn,
)
from triage.records.ticket import Event
from triage.rulebook.model import Rulebook
from triage.service.calls import last_undoable
from triage.values.money import money_text


@dataclass(frozen=True, slots=True)
class HistoryRow:
    event: Event
    words: str
    text: str


def history(rulebook: Rulebook, log: Sequence[Event], timezone: str) -> tuple[HistoryRow, ...]:
    """The whole log in words, times on the store's clock."""
    return tuple(
        HistoryRow(event, event_words(event.kind), _told(rulebook, event, timezone)) for event in log
    )


def _told(rulebook: Rulebook, event: Event, timezone: str) -> str:
    payload = event.payload
    match payload:
        case Reported():
            symptoms = payload.report.get("symptoms", ())
            return ", ".join(title_words(rulebook.symptoms, symptom) for symptom in symptoms)
        case Answered():
            return "; ".join(
                _answer_told(rulebook, fact, value, payload) for fact, value in payload.answers.items()
            )
        case CheckDone():
            checks = " + ".join(
                title_words(rulebook.checks, check) for check in (payload.check, *(payload.together or ()))
            )
            return f"{checks}: {result_words(payload.result)}"
        case Skipped():
            return "; ".join(title_words(rulebook.facts, fact) for fact in payload.facts)
        case Noted():
            return f"“{payload.said}”"
        case Detailed():
            return ", ".join(text for text in (payload.caller, payload.phone, payload.machine) if text)
        case Undone():
            return gettext("number %(seq)s", seq=payload.seq)
        case Acknowledged():
            return "; ".join(title_words(rulebook.cautions, id_) for id_ in payload.cautions)
        case DangerLifted():
            how = gettext("misread") if payload.how == "misread" else gettext("made safe")
            return f"{title_words(rulebook.cautions, payload.caution)}: {how}. {payload.why}"
        case Parked():
            return title_words(rulebook.checks, payload.check)
        case Spoken(language=language):
            return LANGUAGES.get(language, language)
        case Decided(decision=decision) if decision:
            top = decision["causes"][0]
            text = f"{outcome_words(decision['outcome'])}; {tell(top['title'])} {float(top['chance']):.0%}"
            if payload.left_out:
                left_out = ", ".join(payload.left_out)
                text += " " + gettext("(left out, the rulebook no longer knows it: %(ids)s)", ids=left_out)
            return text
        case Estimated():
            return money_text(payload.bill.total)
        case Approved():
            return _approval_told(payload)
        case Dispatched():
            who = (payload.contractor, payload.technician)
            return ", ".join((local_time(payload.at, timezone), *filter(None, who)))
        case Withdrawn() | Reopened():
            return payload.why
        case Visited():
            came = gettext("The technician came") if payload.state == "started" else gettext("Visit ended")
            return f"{came}: {local_time(payload.at, timezone)}"
        case SwapReserved():
            return ", ".join(filter(None, (payload.unit, payload.depot)))
        case Swapped():
            return f"{payload.old} → {payload.new}"
        case Closed():
            cause = payload.cause
            found = gettext("No fault found") if cause is None else title_words(rulebook.causes, cause)
            return f"{found}; {money_text(payload.cost)}"
        case _:
            return ""


def _approval_told(payload: Approved) -> str:
    answer = gettext("yes") if payload.yes else gettext("no")
    if payload.amount is not None:
        answer += f", {money_text(payload.amount)}"
    who = payload.person or payload.authority
    return ". ".join(filter(None, (answer, who, payload.why)))


def _answer_told(rulebook: Rulebook, fact: str, value: Any, payload: Answered) -> str:
    text = f"{title_words(rulebook.facts, fact)}: {fact_words(rulebook, fact, value)}"
    said, corrects = payload.said or {}, payload.corrects or {}
    if fact in said:
        text += " " + gettext("(said “%(words)s”)", words=said[fact])
    if fact in corrects:
        was = fact_words(rulebook, fact, corrects[fact])
        text += " " + gettext("(before: %(was)s)", was=was)
    return text


def undoable(rulebook: Rulebook, log: Sequence[Event], timezone: str) -> str | None:
    """What "undo" would take back, in words; None when there is nothing."""
    last = last_undoable(log)
    return None if last is None else f"{event_words(last.kind)}: {_told(rulebook, last, timezone)}"
