"""Dangers of one report: heard in words, combined over every source, open until somebody lifts them.

A danger's fact is true when any source says so: the caller, the words, the record, a rule that derives it.
A caution that guards against a danger stands while its condition holds, while the danger was raised before
on this ticket, or while it is open on another ticket of the machine; it is lifted only by an act of its own.
Where the facts do not say whether a danger is there, what it would forbid waits until they do: everything
near the machine where it would stop use or forbid all, else the checks that it names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from triage.decide.causes.inference import Inference, guards, undecided_guards
from triage.inputs.heard import hear
from triage.logic.conditions import Facts, evaluate, facts_in
from triage.records.danger import Danger, DangerSource, DangerState
from triage.records.decision import KnownFact
from triage.records.report import Report
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Caution, Rulebook


@dataclass(frozen=True, slots=True)
class Dangers:
    """`holding` are the ids of the cautions that hold, `open` the dangers, one a caution that guards.

    `waits_for` are the facts that would say whether there is one more that keeps everybody away; they are
    asked first. `waiting` are the ids of the checks kept back meanwhile, `checks_wait_for` the facts for
    which some of them wait by name.
    """

    holding: tuple[str, ...]
    open: tuple[Danger, ...]
    waits_for: tuple[str, ...]
    waiting: frozenset[str] = frozenset()
    checks_wait_for: tuple[str, ...] = ()


def heard_facts(
    rulebook: Rulebook, report: Report, state: DangerState, known: Mapping[str, KnownFact]
) -> dict[str, KnownFact]:
    """The dangers' facts that are heard in the note and in answers as they were said, each with its quote.

    What raises only cautions whose words were misread, besides what is `known` otherwise, is not heard again.
    """
    values = {fact: each.value for fact, each in known.items()}
    found: dict[str, KnownFact] = {}
    for text in (report.note, *state.said):
        for heard in hear(rulebook, text):
            fact = rulebook.words[heard.words].danger
            if fact is not None and fact not in found and not _misread(rulebook, fact, values, state):
                found[fact] = KnownFact(True, "words", quote=heard.quote)
    return found


def with_dangers(
    rulebook: Rulebook, known: Mapping[str, KnownFact], others: Iterable[Mapping[str, KnownFact]]
) -> dict[str, KnownFact]:
    """`known`, in which a danger's fact is true as soon as one of the `others` says so."""
    found = dict(known)
    for source in others:
        for fact, each in source.items():
            said = fact in found and found[fact].value is True
            if each.value is True and not said and _is_danger(rulebook, fact):
                found[fact] = each
    return found


def dangers_of(
    rulebook: Rulebook,
    inference: Inference,
    gathered: Mapping[str, KnownFact],
    state: DangerState,
    now: datetime,
) -> Dangers:
    """What stands open now, and what must be asked before anybody goes near the machine.

    What was raised before stands though its caution be retired since: a rulebook's edit lifts no danger.
    """
    before = {danger.caution: danger for danger in (*state.elsewhere, *state.open)}
    fired = {id_ for id_ in inference.cautions if id_ not in state.safe}
    holding = [id_ for id_ in rulebook.cautions if id_ in fired or id_ in before]
    own = {
        caution.head.id: _raised(rulebook, caution, inference, gathered, now)
        for caution in guards(rulebook)
        if caution.head.id in fired
    } | {danger.caution: danger for danger in state.open}
    open_now = {**before, **own}
    standing = tuple(open_now[id_] for id_ in dict.fromkeys((*holding, *before)) if id_ in open_now)
    undecided = [
        caution
        for caution in undecided_guards(rulebook, inference.facts)
        if caution.head.id not in state.safe and caution.head.id not in holding
    ]
    wide = [caution for caution in undecided if caution.keeps_all_back]
    named = [caution for caution in undecided if not caution.keeps_all_back]
    near = frozenset(check.id for check in rulebook.checks.values() if wide and check.near)
    touching = [caution for caution in named if not caution.forbids.isdisjoint(inference.checks)]
    return Dangers(
        tuple(holding),
        standing,
        _waits_for(rulebook, wide, inference),
        near.union(*(caution.forbids for caution in named)),
        _waits_for(rulebook, touching, inference),
    )


def _raised(
    rulebook: Rulebook,
    caution: Caution,
    inference: Inference,
    gathered: Mapping[str, KnownFact],
    now: datetime,
) -> Danger:
    looked_at = sorted(facts_in(caution.head.when))
    flags = [fact for fact in looked_at if inference.facts.get(fact) is True and _is_danger(rulebook, fact)]
    quoted = next((fact for fact in flags if fact in gathered and gathered[fact].quote), None)
    if quoted is not None:
        return Danger(caution.head.id, "words", now, gathered[quoted].quote)
    source: DangerSource = "caller"
    for fact in flags or [fact for fact in looked_at if fact in inference.facts]:
        if fact in inference.derived_by or gathered[fact].source == "computed":
            source = "derived"
        elif gathered[fact].source == "record":
            source = "record"
        else:
            return Danger(caution.head.id, "caller", now)
    return Danger(caution.head.id, source, now)


def _waits_for(rulebook: Rulebook, undecided: Sequence[Caution], inference: Inference) -> tuple[str, ...]:
    facts = (
        fact
        for caution in undecided
        for fact in sorted(facts_in(caution.head.when))
        if inference.facts.get(fact) is None and fact in rulebook.facts
    )
    return tuple(dict.fromkeys(facts))


def _misread(rulebook: Rulebook, fact: str, known: Facts, state: DangerState) -> bool:
    """Whether all that this heard fact raises, besides what is known otherwise, comes of words misread."""
    if not state.misread:
        return False
    heard = {**known, **dict.fromkeys(_leads_to(rulebook).get(fact, (fact,)), True)}
    raised = {
        caution.head.id
        for caution in guards(rulebook)
        if evaluate(caution.head.when, heard) is True and evaluate(caution.head.when, known) is not True
    }
    return bool(raised) and raised <= state.misread


@once_per_rulebook
def _leads_to(rulebook: Rulebook) -> Mapping[str, tuple[str, ...]]:
    """Danger -> itself and the dangers that may be derived from it, directly or through others."""
    onward: dict[str, list[str]] = {}
    for rule in rulebook.derive.values():
        dangers = [fact for fact, value in rule.sets.items() if value is True and _is_danger(rulebook, fact)]
        for fact in facts_in(rule.head.when):
            onward.setdefault(fact, []).extend(dangers)
    found = {}
    for fact in onward:
        reached = [fact]
        for each in reached:
            reached += [further for further in onward.get(each, ()) if further not in reached]
        found[fact] = tuple(reached)
    return found


def _is_danger(rulebook: Rulebook, fact: str) -> bool:
    return fact in rulebook.facts and rulebook.facts[fact].danger
