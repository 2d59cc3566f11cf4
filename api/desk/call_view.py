"""Everything the call page shows, worked out of a ticket and its log; no rule of the trade lives here."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from api.desk.danger_view import near_closed
from api.pages.texts import gettext, tell
from api.pages.words import (
    fact_words,
    factor_words,
    says_little,
)
from triage.records.payloads import Answered, JSONObject, Noted
from triage.records.ticket import Event, Ticket
from triage.rulebook.model import Fact, Rulebook
from triage.service.calls import taken_back

SHOWN_CAUSES = 4
SOURCES = ("caller", "record", "derived")


@dataclass(frozen=True, slots=True)
class CauseRow:
    """Chances in percent; `change` is the move since the last decision, None at the first."""

    title: str
    percent: float
    before: float | None
    change: int | None
    share: float
    factors: tuple[tuple[str, bool, str], ...]  # text, whether it is so, weight in words
    unsaid: int  # further factors that say little either way


@dataclass(frozen=True, slots=True)
class FactRow:
    id: str
    title: str
    words: str
    source: str
    said: str
    corrected: str  # what the record said, where the caller set it right
    correctable: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """The question on top. `options` are (value, title) for choices and yes/no, answered by number."""

    fact: Fact
    ask: str
    why: str
    saves: str | None
    safety: bool
    options: tuple[tuple[str, str], ...]
    now: str  # the value known so far, in words


def causes(rulebook: Rulebook, decision: JSONObject, before: JSONObject | None) -> tuple[CauseRow, ...]:
    """The likeliest causes, and how far each has moved."""
    earlier = {} if before is None else {row["cause"]: float(row["chance"]) * 100 for row in before["causes"]}
    rows = []
    for cause in decision["causes"][:SHOWN_CAUSES]:
        percent = float(cause["chance"]) * 100
        past = earlier.get(cause["cause"])
        telling = [factor for factor in cause["factors"] if not says_little(factor)]
        telling.sort(key=lambda factor: -abs(_log(factor["factor"])))
        rows.append(
            CauseRow(
                tell(cause["title"] or cause["cause"]),
                percent,
                past,
                None if past is None else round(percent) - round(past),
                float(cause["share"]) * 100,
                tuple((*_seen(rulebook, factor), factor_words(factor)) for factor in telling),
                len(cause["factors"]) - len(telling),
            )
        )
    return tuple(rows)


def _seen(rulebook: Rulebook, factor: JSONObject) -> tuple[str, bool]:
    """What was seen, and whether it is so; a group none of whose bands holds is told by its bands."""
    rule, held = factor["rule"], bool(factor["held"])
    if rule in rulebook.checks:
        return tell(factor["text"]), True
    bands = [each.head.title for each in rulebook.evidence.values() if rule in (each.head.id, each.group)]
    return " / ".join(map(tell, bands)) or tell(factor["text"] or rule), held


def _log(factor: Any) -> float:
    weight = float(factor)
    return weight - 1 if weight >= 1 else 1 - 1 / max(weight, 1e-9)


def asked(rulebook: Rulebook, ticket: Ticket, wanted: str | None) -> Asked | None:
    """The question `wanted` out of turn, else the first that is worth asking."""
    decision = ticket.decision or {}
    questions = {question["fact"]: question for question in decision.get("questions", ())}
    waits = first_known(rulebook, ticket)
    fact_id = wanted if wanted in rulebook.facts else next(iter((*waits, *questions)), None)
    if fact_id is None or (wanted is None and decision.get("solved")):
        return None
    fact = rulebook.facts[fact_id]
    if fact.asked_of == "computed" or near_closed(rulebook, decision, fact_id):
        return None
    question = questions.get(fact_id, {})
    known = decision.get("facts", {}).get(fact_id)
    saves = question.get("saves")
    return Asked(
        fact,
        fact.ask or f"{fact.title}?",
        gettext("Nobody goes near the machine until this is known.")
        if fact_id in waits
        else question.get("why", ""),
        saves if saves is not None and float(saves) > 0 else None,
        bool(question.get("safety")) or fact_id in waits,
        _options(fact),
        "" if known is None else fact_words(rulebook, fact_id, known["value"]),
    )


def asked_next(rulebook: Rulebook, ticket: Ticket) -> bool:
    """Whether a question or a check is still worth it."""
    decision = ticket.decision or {}
    if ticket.state != "open" or decision.get("solved"):
        return False
    return asked(rulebook, ticket, None) is not None or bool(checks_now(decision))


def first_known(rulebook: Rulebook, ticket: Ticket) -> tuple[str, ...]:
    """The clerk's questions that come before all others: until they are answered nobody goes near."""
    decision = ticket.decision or {}
    unknown = ticket.report.get("unknown") or ()
    return tuple(
        fact
        for fact in decision.get("waits_for", ())
        if fact in rulebook.facts
        and rulebook.facts[fact].asked_of == "clerk"
        and fact not in unknown
        and not near_closed(rulebook, decision, fact)
    )


def _options(fact: Fact) -> tuple[tuple[str, str], ...]:
    if fact.type == "flag":
        return (("yes", "Yes"), ("no", "No"))
    return tuple(fact.choices.items()) if fact.type == "choice" else ()


def checks_now(decision: JSONObject, wanted: str | None = None) -> tuple[JSONObject, ...]:
    """The steps of the plan done together with the one `wanted`, or without one with the first."""
    plan = decision.get("plan", ())
    first = next((step for step in plan if wanted in (None, step["check"])), None)
    number = None if first is None else first.get("group")
    return tuple(step for step in plan if step is first or (number and step.get("group") == number))


def lines(rulebook: Rulebook, group: Sequence[JSONObject]) -> tuple[str, ...]:
    """What is said of checks done together, in order: their cautions first, each once, then their steps."""
    cautions = dict.fromkeys(id_ for step in group for id_ in step["cautions"] if id_ in rulebook.cautions)
    return (
        *(rulebook.cautions[id_].text for id_ in cautions),
        *(line for step in group for line in step["steps"]),
    )


def facts(rulebook: Rulebook, ticket: Ticket, log: Sequence[Event]) -> tuple[FactRow, ...]:
    """What is known besides the dangers asked, the caller's first, each with where it comes from."""
    said, corrected = _said(log)
    rows = []
    for fact_id, known in (ticket.decision or {}).get("facts", {}).items():
        fact = rulebook.facts.get(fact_id)
        by_caller = known["from"] == "caller"
        if fact is None or known["from"] not in SOURCES or (fact.danger and by_caller):
            continue
        rows.append(
            FactRow(
                fact_id,
                tell(fact.title),
                fact_words(rulebook, fact_id, known["value"]),
                known["from"],
                said.get(fact_id, "") if by_caller else "",
                fact_words(rulebook, fact_id, corrected[fact_id])
                if fact_id in corrected and by_caller
                else "",
                fact.asked_of != "computed" and not near_closed(rulebook, ticket.decision or {}, fact_id),
            )
        )
    return tuple(sorted(rows, key=lambda row: (SOURCES.index(row.source), row.title)))


def _said(log: Sequence[Event]) -> tuple[dict[str, str], dict[str, Any]]:
    """The clerk's words for converted values, and what the record said before a correction, by fact."""
    gone = taken_back(log)
    said: dict[str, str] = {}
    corrected: dict[str, Any] = {}
    for event in log:
        payload = event.payload
        if not isinstance(payload, Answered) or event.seq in gone:
            continue
        for fact in payload.answers:
            said.pop(fact, None)
        said |= payload.said or {}
        corrected |= payload.corrects or {}
    return said, corrected


def notes(ticket: Ticket, log: Sequence[Event]) -> tuple[str, ...]:
    """The caller's words of the report, and what was noted since."""
    later = (event.payload.said for event in log if isinstance(event.payload, Noted))
    return tuple(note for note in (ticket.report.get("note"), *later) if note)
