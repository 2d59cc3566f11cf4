"""Dangers of one report: heard in words, combined over every source, open until somebody lifts them.

A danger's fact is true when any source says so: the caller, the words, the record, a rule that derives it.
A caution that guards against a danger stands while its condition holds, while the danger was raised before
on this ticket, or while it is open on another ticket of the machine; it is lifted only by an act of its own.
Where the facts do not say whether a danger is there, nobody is sent near the machine until they do.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from triage.decide.causes.guards import guards, undecided_guards
from triage.decide.causes.inference import Inference
from triage.decide.outcome import read_out
from triage.inputs.heard import hear
from triage.logic.conditions import facts_in
from triage.records.danger import QUOTES, Danger, DangerSource, DangerState, MadeSafe
from triage.records.decision import KnownFact
from triage.records.report import Report
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Caution, Rulebook


@dataclass(frozen=True, slots=True)
class Dangers:
    """`holding` are the ids of the cautions that hold, `open` the dangers, one a caution that guards.

    `waits_for` are the facts that would say whether there is one more that keeps everybody away; they are
    asked first. `waiting` are the ids of the checks kept back meanwhile, `checks_wait_for` the facts for
    which some of them wait by name. `first` are the checks to do before any other, `barred` says that one is
    open that no cleaning takes away.
    """

    holding: tuple[str, ...]
    open: tuple[Danger, ...]
    waits_for: tuple[str, ...]
    waiting: frozenset[str] = frozenset()
    checks_wait_for: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    barred: bool = False


def heard_facts(rulebook: Rulebook, report: Report, state: DangerState) -> dict[str, KnownFact]:
    """The dangers' facts that are heard in the note and in answers as they were said, each with its quotes.

    What was misread is not heard again, but what is said later is.
    """
    quotes: dict[str, dict[str, None]] = {}
    for number, fact, quote in _heard(rulebook, report, state):
        if not state.took_back(number, fact, quote):
            quotes.setdefault(fact, {})[quote] = None
    return {fact: KnownFact(True, "words", quote=QUOTES.join(each)) for fact, each in quotes.items()}


def _heard(rulebook: Rulebook, report: Report, state: DangerState) -> Iterator[tuple[int, str, str]]:
    """Every danger heard: the number of its text, its fact, the words."""
    written = [
        str(value)
        for fact, value in report.answers.items()
        if fact in rulebook.facts and rulebook.facts[fact].type == "text"
    ]
    texts = [(0, text) for text in (report.note, *written)]
    for number, text in (*texts, *enumerate(state.said, start=1)):
        for heard in hear(rulebook, text):
            fact = rulebook.words[heard.words].danger
            if fact is not None:
                yield number, fact, heard.quote


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
    report: Report,
    state: DangerState,
    now: datetime,
) -> Dangers:
    """What stands open now, and what must be asked before anybody goes near the machine.

    Whoever is hurt already comes first, then what kills, then what breaks, then food. A danger stays open
    though the rulebook no longer knows its caution.
    """
    own = {danger.caution: danger for danger in state.open}
    before = {danger.caution: danger for danger in state.elsewhere} | own
    heard = tuple(_heard(rulebook, report, state)) if state.safe or report.checks else ()
    safe = {each.caution for each in state.safe if not _stirred(rulebook, each, report, heard)}
    fired = [id_ for id_ in inference.cautions if id_ not in safe]
    held = (caution for id_, caution in rulebook.cautions.items() if id_ in fired or id_ in before)
    holding = tuple(caution.head.id for caution in sorted(held, key=read_out))
    guarding = {caution.head.id: caution for caution in guards(rulebook)}
    raised = {
        id_: _raised(rulebook, guarding[id_], inference, gathered, state, now)
        for id_ in fired
        if id_ in guarding and (id_ in own or not _cleaned(rulebook, guarding[id_], report, state, heard))
    }
    for id_, danger in own.items():  # heard in more places by now, or in fewer
        heard_anew = id_ in raised and danger.source == raised[id_].source == "words"
        raised[id_] = replace(danger, quote=raised[id_].quote) if heard_anew else danger
    standing = before | raised
    order = (*holding, *(id_ for id_ in before if id_ not in holding))
    undecided = [
        caution
        for caution in undecided_guards(rulebook, inference.facts)
        if caution.head.id not in safe and caution.head.id not in holding
    ]
    untold = _untold(rulebook, report, inference)
    wide = [caution for caution in undecided if caution.keeps_all_back]
    named = [caution for caution in undecided if not caution.keeps_all_back]
    near = frozenset(check.id for check in rulebook.checks.values() if (wide or untold) and check.near)
    touching = [caution for caution in named if not caution.forbids.isdisjoint(inference.checks)]
    return Dangers(
        holding,
        tuple(standing[id_] for id_ in order if id_ in standing),
        tuple(dict.fromkeys((*_waits_for(rulebook, wide, inference), *untold))),
        near.union(*(caution.forbids for caution in named)),
        _waits_for(rulebook, touching, inference),
        _first(rulebook, holding, standing, report),
        not all(rulebook.cleans_away(id_) for id_ in standing),
    )


def _first(
    rulebook: Rulebook, holding: Iterable[str], standing: Collection[str], report: Report
) -> tuple[str, ...]:
    """The checks to do before any other. What was cleaned before the danger was raised is cleaned again."""
    performed = report.performed
    cautions = [rulebook.cautions[id_] for id_ in holding if not rulebook.cautions[id_].only_with_checks]
    return tuple(
        dict.fromkeys(
            check
            for caution in cautions
            for check in caution.first
            if check not in performed or (caution.cleaned_away and caution.head.id in standing)
        )
    )


def _cleaned(
    rulebook: Rulebook,
    caution: Caution,
    report: Report,
    state: DangerState,
    heard: Iterable[tuple[int, str, str]],
) -> bool:
    """Whether the report came with everything done that takes the danger away, and nothing was said since."""
    if not caution.cleaned_away or not report.performed.issuperset(caution.first):
        return False
    opening = MadeSafe(caution.head.id, 1, state.told)
    return not _stirred(rulebook, opening, report, heard)


def _untold(rulebook: Rulebook, report: Report, inference: Inference) -> tuple[str, ...]:
    """The dangers that the clerk cannot tell: none of them is known to be absent, whatever is wrong."""
    return tuple(
        fact for fact in report.unknown if _is_danger(rulebook, fact) and inference.facts.get(fact) is None
    )


def _stirred(
    rulebook: Rulebook, made: MadeSafe, report: Report, heard: Iterable[tuple[int, str, str]]
) -> bool:
    """Whether something that the caution looks at was said since the machine was made safe.

    That a danger is denied stirs nothing.
    """
    behind = facts_behind(rulebook).get(made.caution, frozenset())
    told = (fact for fact in made.answered if fact in behind)
    return any(
        not (_is_danger(rulebook, fact) and report.answers.get(fact) is False) for fact in told
    ) or any(fact in behind and number >= made.texts for number, fact, _ in heard)


def _raised(
    rulebook: Rulebook,
    caution: Caution,
    inference: Inference,
    gathered: Mapping[str, KnownFact],
    state: DangerState,
    now: datetime,
) -> Danger:
    looked_at = _roots(rulebook, inference, facts_in(caution.head.when))
    flags = [fact for fact in looked_at if inference.facts.get(fact) is True and _is_danger(rulebook, fact)]
    said = [gathered[fact].quote for fact in flags if fact in gathered]
    quotes = dict.fromkeys(quote for each in said if each for quote in each.split(QUOTES))
    if quotes:
        return Danger(caution.head.id, "words", now, QUOTES.join(quotes))
    source: DangerSource = "derived"
    for fact in flags or looked_at:
        told = gathered[fact].source if fact in gathered else "computed"
        if told == "caller":
            return Danger(caution.head.id, "technician" if fact in state.on_site else "caller", now)
        if told == "record":
            source = "record"
    return Danger(caution.head.id, source, now)


def _roots(rulebook: Rulebook, inference: Inference, facts: Iterable[str]) -> list[str]:
    """The known facts, those that a rule derived replaced by what the rule looks at."""
    found: list[str] = []
    for fact in sorted(facts):
        rule = inference.derived_by.get(fact)
        if rule is not None:
            found += _roots(rulebook, inference, facts_in(rulebook.derive[rule].head.when) - {fact})
        elif inference.facts.get(fact) is not None:
            found.append(fact)
    return list(dict.fromkeys(found))


def _waits_for(rulebook: Rulebook, undecided: Sequence[Caution], inference: Inference) -> tuple[str, ...]:
    facts = (
        fact
        for caution in undecided
        for fact in sorted(facts_in(caution.head.when))
        if inference.facts.get(fact) is None and fact in rulebook.facts
    )
    return tuple(dict.fromkeys(facts))


@once_per_rulebook
def facts_behind(rulebook: Rulebook) -> Mapping[str, frozenset[str]]:
    """Guarding caution -> the facts that it looks at, and those from which rules derive them."""
    inputs: dict[str, set[str]] = {}
    for rule in rulebook.derive.values():
        for derived in {*rule.sets, *rule.otherwise}:
            inputs.setdefault(derived, set()).update(facts_in(rule.head.when))
    found = {}
    for caution in guards(rulebook):
        behind: set[str] = set()
        ahead = set(facts_in(caution.head.when))
        while ahead:
            behind |= ahead
            ahead = {fact for one in ahead for fact in inputs.get(one, ())} - behind
        found[caution.head.id] = frozenset(behind)
    return found


def _is_danger(rulebook: Rulebook, fact: str) -> bool:
    return fact in rulebook.facts and rulebook.facts[fact].danger
