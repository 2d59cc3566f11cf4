"""From fired policy rules to exactly one outcome, with the guards that no rule can lift.

Every live policy rule whose condition holds argues for its outcome; the highest priority wins (hit policy
PRIORITY). Rules of equal priority that disagree are settled by SAFE_ORDER. Before that, guards take out what
must not be: a fix in the store that a caution stands against or that the plan does not start with, and an
approval of more than may be spent. Where no rule is left, someone is sent, or the case is held when the job
is likely to go beyond what may be spent.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import get_args

from triage.logic.conditions import FactValue
from triage.records.decision import CautionSaid, Reason
from triage.rulebook.built_in_facts import is_money
from triage.rulebook.model import Caution, Harm, Outcome, PolicyRule, Rulebook, Skill
from triage.values.shown import percent

SAFE_ORDER: tuple[Outcome, ...] = ("hold", "swap", "dispatch", "approve", "fix_in_store")
"""Between rules of equal priority the outcome that risks least is taken."""

DEFAULT_RULE = "safe-default"
"""Stands as the rule of a reason where no policy rule is left to argue."""

SKILLS: tuple[Skill, ...] = ("general", "electrical", "refrigeration")
"""From the weakest to the strongest; of several that are asked for the strongest is sent.

A refrigeration technician stands above an electrician: that work takes a certificate besides the wiring.
Common practice, no source.
"""

HARMS: tuple[Harm, ...] = get_args(Harm)
"""What cautions are about, in the order in which those that hold are read out."""

_SHARES = frozenset(
    {
        *("top_chance", "second_chance", "cover_chance", "chance_over", "spent_share_of_value"),
        "outside_agreement_share",
    }
)
_PLACEHOLDER = re.compile(r"\{([a-z][a-z0-9_-]*)\}")


@dataclass(frozen=True, slots=True)
class CautionsThatHold:
    """What the fired cautions add up to.

    `said` are the cautions people are told, in the rulebook's order; `forbidden` are check ids. With
    `stop_use` nothing is to be done in the store but to stop.
    """

    said: tuple[Caution, ...]
    forbidden: frozenset[str]
    waiting: frozenset[str]  # kept back until it is known that they are safe
    stop_use: bool
    skill: Skill | None
    priority: int | None


@dataclass(frozen=True, slots=True)
class Situation:
    """What the guards look at."""

    plan_starts_in_store: bool
    stop_use: bool
    danger: bool  # one stands open that no cleaning takes away, whether or not use is to stop
    unsure: bool  # whether it is safe to go near is not known, and no technician has looked
    over_limit: bool  # what is likely to be spent is above the headroom


@dataclass(frozen=True, slots=True)
class Verdict:
    """The one outcome. `visit_priority` is the most urgent one that any rule that fired names."""

    outcome: Outcome
    reasons: tuple[Reason, ...]
    overruled: tuple[Reason, ...]
    visit_priority: int | None
    notes: tuple[str, ...]


def cautions_that_hold(
    rulebook: Rulebook, fired: Iterable[str], *, waiting: frozenset[str] = frozenset()
) -> CautionsThatHold:
    """`fired` are ids of cautions that hold; `waiting` the checks that wait until they are known to be safe.

    A caution that belongs to checks is said beside them, not by itself; what it forbids is forbidden all the
    same.
    """
    cautions = [rulebook.cautions[id_] for id_ in fired]
    said = tuple(caution for caution in cautions if not caution.only_with_checks)
    forbidden: set[str] = set()
    for caution in cautions:
        forbidden |= rulebook.checks.keys() if caution.forbids_all_checks else caution.forbids
    stop_use = any(caution.stop_use for caution in said)
    if stop_use:
        forbidden |= rulebook.checks.keys()
    return CautionsThatHold(
        said=said,
        forbidden=frozenset(forbidden),
        waiting=waiting,
        stop_use=stop_use,
        skill=strongest(caution.visit_skill for caution in said),
        priority=min((one.visit_priority for one in said if one.visit_priority is not None), default=None),
    )


def read_out(caution: Caution) -> int:
    """A caution's place among those that hold, lowest first; life where nothing is said and use stops."""
    return HARMS.index(caution.harm or ("life" if caution.stop_use else "property"))


def cautions_said(
    rulebook: Rulebook,
    live: CautionsThatHold,
    plan_cautions: Iterable[str],
    facts: Mapping[str, FactValue],
) -> tuple[CautionSaid, ...]:
    """The cautions in force, then those that go with the checks of the plan; each once."""
    beside = [rulebook.cautions[id_] for id_ in dict.fromkeys(plan_cautions) if id_ in rulebook.cautions]
    beside = [caution for caution in beside if caution.head.status == "live"]
    every = {caution.head.id: caution for caution in (*live.said, *beside)}
    return tuple(
        CautionSaid(id_, fill(caution.text, facts, rulebook), caution.stop_use, caution.defers_to)
        for id_, caution in every.items()
    )


def decide_outcome(
    rulebook: Rulebook, fired: Sequence[str], situation: Situation, facts: Mapping[str, FactValue]
) -> Verdict:
    """The outcome of the fired policy rules (ids) in a situation; `facts` fill the texts' placeholders."""
    rules = sorted(
        (rulebook.policy[id_] for id_ in fired),
        key=lambda rule: (-rule.priority, SAFE_ORDER.index(rule.outcome), rule.head.id),
    )
    barred = {outcome: why for outcome in SAFE_ORDER if (why := _barred(outcome, situation)) is not None}
    allowed = [rule for rule in rules if rule.outcome not in barred]
    notes = tuple(
        f"{rule.head.id} asked for {rule.outcome}, which is not possible: {barred[rule.outcome]}."
        for rule in rules
        if rule.outcome in barred
    )

    def reason(rule: PolicyRule) -> Reason:
        return Reason(rule.head.id, fill(rule.text, facts, rulebook), rule.outcome)

    urgent = min((rule.visit_priority for rule in rules if rule.visit_priority is not None), default=None)
    if not allowed:
        default = _default(situation)
        return Verdict(default.outcome, (default,), tuple(map(reason, rules)), urgent, notes)
    outcome = allowed[0].outcome
    winners = [rule for rule in allowed if rule.outcome == outcome]
    return Verdict(
        outcome=outcome,
        reasons=tuple(map(reason, winners)),
        overruled=tuple(reason(rule) for rule in rules if rule.outcome != outcome),
        visit_priority=urgent,
        notes=notes,
    )


def solved_verdict(rulebook: Rulebook, check: str) -> Verdict:
    """A check fixed it: nothing more is to be decided."""
    title = rulebook.checks[check].title
    reason = Reason(check, f"{title}: it fixed the fault. Nobody needs to come.", "fix_in_store")
    return Verdict("fix_in_store", (reason,), (), None, ())


def fill(text: str, facts: Mapping[str, FactValue], rulebook: Rulebook) -> str:
    """`text` with each {fact} replaced by its value as people read it; an unknown one by "not known"."""
    return _PLACEHOLDER.sub(
        lambda found: _shown(found[1], facts.get(found[1]), rulebook) if found[1] in facts else "not known",
        text,
    )


def placeholders(text: str) -> frozenset[str]:
    """The facts that a text names in braces."""
    return frozenset(_PLACEHOLDER.findall(text))


def _shown(name: str, value: FactValue | None, rulebook: Rulebook) -> str:
    match value:
        case None:
            return "not known"
        case bool():
            return "yes" if value else "no"
        case Decimal():
            if is_money(rulebook, name):
                return f"{value:.2f} {rulebook.currency}"
            if name in _SHARES:
                return percent(value)
            return format(value.normalize(), "f")
        case frozenset():
            return ", ".join(_title(name, member, rulebook) for member in sorted(value))
        case datetime() | date() | time():
            return value.isoformat()
        case str():
            return _title(name, value, rulebook)


def _title(name: str, value: str, rulebook: Rulebook) -> str:
    if name == "top_cause" and value in rulebook.causes:
        return rulebook.causes[value].title
    if name == "symptom" and value in rulebook.symptoms:
        return rulebook.symptoms[value].title
    fact = rulebook.facts.get(name)
    return fact.choices.get(value, value) if fact is not None else value


def _barred(outcome: Outcome, situation: Situation) -> str | None:
    """Why an outcome must not be, whatever a rule says; None where it may."""
    if outcome == "fix_in_store":
        if situation.stop_use:
            return "a caution says to stop using the machine"
        if situation.danger:
            return "a danger stands open"
        if not situation.plan_starts_in_store:
            return "no safe check in the store is worth doing first"
    if outcome == "approve" and situation.unsure:
        return "it is not known yet whether it is safe to go near"
    if outcome == "approve" and situation.over_limit:
        return "the repair is likely to come to more than may be spent"
    return None


def _default(situation: Situation) -> Reason:
    if situation.stop_use:
        text = "No policy rule decides this. The machine stays off; send a qualified technician."
        return Reason(DEFAULT_RULE, text, "dispatch")
    if situation.plan_starts_in_store and not situation.danger:
        text = "No policy rule decides this; the cheapest safe plan starts with a check in the store."
        return Reason(DEFAULT_RULE, text, "fix_in_store")
    if situation.over_limit:
        text = "No policy rule decides this, and the repair is likely to come to more than may be spent."
        return Reason(DEFAULT_RULE, text, "hold")
    return Reason(DEFAULT_RULE, "No policy rule decides this; send a technician.", "dispatch")


def strongest(skills: Iterable[Skill | None]) -> Skill | None:
    """The skill that stands last in SKILLS; None when none is asked for."""
    return max((skill for skill in skills if skill is not None), key=SKILLS.index, default=None)
