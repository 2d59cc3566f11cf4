"""Whose yes a ticket needs, and who speaks for an authority that is away."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from triage.decide.spending.limits import authority_for
from triage.logic.conditions import Facts
from triage.records.bill import Ask, Deputy
from triage.rulebook.built_in_facts import LIMIT_DAY
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Absence, Authority
from triage.values.money import Money


@dataclass(frozen=True, slots=True)
class Asked:
    """Whom to ask. `speaks` is the authority itself, or a deputy while it is absent (to `absent_until`)."""

    authority: Authority
    speaks: Authority
    absent_until: date | None


def absence_on(authority: Authority, on: date) -> Absence | None:
    """The absence that covers a day."""
    return next((absence for absence in authority.absent if absence.first <= on <= absence.last), None)


def speaker_for(rulebook: Rulebook, authority: Authority, on: date) -> Asked | None:
    """Who speaks for an authority on a day: itself, or its first deputy who is there; None if nobody is."""
    absence = absence_on(authority, on)
    if absence is None:
        return Asked(authority, authority, None)
    for name in authority.deputies:
        deputy = rulebook.authorities[name]
        if absence_on(deputy, on) is None:
            return Asked(authority, deputy, absence.last)
    return None


def whom_to_ask(rulebook: Rulebook, facts: Facts, amount: Decimal, on: date) -> Asked | None:
    """Who says yes when the ticket comes to `amount`: the one the tables name, else the next who is there."""
    named = authority_for(rulebook, {**facts, LIMIT_DAY: on}, amount)
    if named is None:
        return None
    able = [
        one
        for one in sorted(
            rulebook.authorities.values(), key=lambda one: (one.up_to is None, one.up_to or 0, one.id)
        )
        if one.up_to is None or one.up_to >= amount
    ]
    for authority in (named, *able):
        asked = speaker_for(rulebook, authority, on)
        if asked is not None:
            return asked
    return Asked(named, named, None)


def ceilings_of(rulebook: Rulebook, speaker: Authority, on: date) -> tuple[Authority, ...]:
    """The authorities whose ceilings a speaker may use on a day: its own, and those it deputises for."""
    absent = (
        other
        for other in rulebook.authorities.values()
        if speaker.id in other.deputies and absence_on(other, on) is not None
    )
    return (speaker, *absent)


def outranked(rulebook: Rulebook, authority: str) -> frozenset[str]:
    """The authorities with lower ceilings than this one's."""
    own = rulebook.authorities.get(authority)
    if own is None:
        return frozenset()
    lower = (one for one in rulebook.authorities.values() if one.up_to is not None)
    return frozenset(one.id for one in lower if own.up_to is None or (one.up_to or 0) < own.up_to)


def to_ask(asked: Asked, rulebook: Rulebook) -> Ask:
    """The authority, who speaks for it, how to reach them, and up to what the ticket may come."""
    authority, speaks = asked.authority, asked.speaks
    up_to = None if authority.up_to is None else authority.up_to.quantize(Decimal("0.01"))
    return Ask(
        authority=authority.id,
        title=authority.title,
        up_to=None if up_to is None else Money(up_to, rulebook.currency),
        absent_until=asked.absent_until,
        deputy=None if speaks.id == authority.id else Deputy(speaks.id, speaks.title),
        reach=speaks.reach,
    )
