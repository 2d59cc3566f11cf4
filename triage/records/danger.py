"""Dangers as a state: what stands open on a ticket and its machine, and what has been lifted.

No answer lowers a danger. It is lifted by an act of its own: the words in which it was heard were misread,
or somebody made the machine safe; of spoiled product, by the cleaning. What is said or found after that can
raise it again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Literal, TypeAlias, get_args

from triage.records.payloads import (
    Answered,
    DangerLifted,
    Decided,
    Lifting,
    Noted,
    Payload,
    Reopened,
    Skipped,
)
from triage.values.dataclass_json import as_data, from_data, key

DangerSource: TypeAlias = Literal["caller", "words", "record", "derived", "technician"]
QUOTES = "\n"
"""Between the places in which one danger was heard; none of them has a line's end within it."""

LIFTINGS: tuple[Lifting, ...] = get_args(Lifting)


@dataclass(frozen=True, slots=True)
class Danger:
    """A danger that stands open: the caution that guards against it, what raised it, when, and where.

    `quote` are the words in which it was heard, the places divided by `QUOTES`; `ticket` the other ticket it
    was raised on, None for the one at hand. `since` is timezone-aware.
    """

    caution: str
    source: DangerSource = field(metadata=key("from"))
    since: datetime
    quote: str | None = None
    ticket: str | None = None

    def without(self, quotes: Collection[str]) -> Danger:
        """The danger as it stands when these places are taken back."""
        left = [quote for quote in (self.quote or "").split(QUOTES) if quote not in quotes]
        return replace(self, quote=QUOTES.join(left) or None)

    def as_data(self) -> dict[str, Any]:
        """The contract's JSON."""
        return as_data(self)


@dataclass(frozen=True, slots=True)
class MadeSafe:
    """A danger that was made safe when `texts` texts had been heard; `answered` are the facts told since."""

    caution: str
    texts: int
    answered: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Misheard:
    """Places that were misread as these facts when `texts` texts had been heard."""

    facts: tuple[str, ...]
    quotes: tuple[str, ...]
    texts: int


@dataclass(frozen=True, slots=True)
class DangerState:
    """What a decision knows of dangers besides its report.

    `said` are words beside answers, heard for dangers as the note is; the note is the first text, they are
    the next ones. `open` were raised before on this ticket, `elsewhere` stand open on the machine's other
    tickets. `misread` holds, for facts whose words were misread, how many texts had been heard by then;
    `misheard` the same where only some of the places were. `on_site` are the facts that a technician
    answered last, `told` all that were answered since the report.
    """

    said: tuple[str, ...] = ()
    open: tuple[Danger, ...] = ()
    elsewhere: tuple[Danger, ...] = ()
    safe: tuple[MadeSafe, ...] = ()
    misread: Mapping[str, int] = field(default_factory=dict)
    misheard: tuple[Misheard, ...] = ()
    on_site: tuple[str, ...] = ()
    told: tuple[str, ...] = ()

    @property
    def standing(self) -> tuple[Danger, ...]:
        """Every danger of the ticket and its machine."""
        return (*self.open, *self.elsewhere)

    @property
    def texts(self) -> int:
        """How many texts have been heard."""
        return 1 + len(self.said)

    def took_back(self, number: int, fact: str, quote: str) -> bool:
        """Whether a place of the text of this number was misread as a fact."""
        return number < self.misread.get(fact, 0) or any(
            fact in each.facts and quote in each.quotes and number < each.texts for each in self.misheard
        )

    def as_data(self) -> dict[str, Any]:
        """JSON data; what is empty is left out."""
        return {name: value for name, value in as_data(self).items() if value}


CALM = DangerState()
"""Nothing is known of any danger."""


def state_from_data(data: Mapping[str, Any]) -> DangerState:
    """The state again from its JSON data."""
    return from_data(DangerState, data)


def danger_after(state: DangerState, payload: Payload) -> DangerState:
    """The state after one more event of the ticket. Only a lifting closes what stands open."""
    match payload:
        case Answered():
            return _answered(state, payload)
        case Skipped(said=str(said)) | Noted(said=said):
            return replace(state, said=(*state.said, said))
        case Decided():
            raised = [from_data(Danger, one) for one in payload.decision.get("dangers", ())]
            return _raised(state, [danger for danger in raised if danger.ticket is None])
        case DangerLifted():
            return _lifted(state, payload)
        case Reopened():
            # The trouble is back: what was said of it counts again.
            return replace(state, safe=())
        case _:
            return state


def _answered(state: DangerState, payload: Answered) -> DangerState:
    facts = tuple(payload.answers)
    safe = tuple(
        replace(each, answered=tuple(dict.fromkeys((*each.answered, *facts)))) for each in state.safe
    )
    before = [fact for fact in state.on_site if fact not in facts]
    on_site = (*before, *facts) if payload.by == "technician" else tuple(before)
    said, told = (*state.said, *(payload.said or {}).values()), tuple(dict.fromkeys((*state.told, *facts)))
    return replace(state, said=said, safe=safe, on_site=on_site, told=told)


def _raised(state: DangerState, raised: Iterable[Danger]) -> DangerState:
    named = {danger.caution: danger for danger in raised}
    known = {danger.caution for danger in state.open}
    new = tuple(danger for danger in named.values() if danger.caution not in known)
    kept = tuple(
        replace(danger, quote=named[danger.caution].quote or danger.quote)
        if danger.caution in named
        else danger
        for danger in state.open
    )
    stirred = {danger.caution for danger in new}
    safe = tuple(each for each in state.safe if each.caution not in stirred)
    return replace(state, open=(*kept, *new), safe=safe)


def _lifted(state: DangerState, lifted: DangerLifted) -> DangerState:
    if lifted.how == "misread" and lifted.quotes is not None:
        some = Misheard(lifted.facts, lifted.quotes, state.texts)
        left = tuple(
            one.without(lifted.quotes) if one.caution == lifted.caution else one for one in state.open
        )
        return replace(state, open=left, misheard=(*state.misheard, some))
    state = replace(state, open=tuple(one for one in state.open if one.caution != lifted.caution))
    if lifted.how == "misread":
        return replace(state, misread={**state.misread, **dict.fromkeys(lifted.facts, state.texts)})
    others = [each for each in state.safe if each.caution != lifted.caution]
    elsewhere = tuple(one for one in state.elsewhere if one.caution != lifted.caution)
    return replace(state, elsewhere=elsewhere, safe=(*others, MadeSafe(lifted.caution, state.texts)))
