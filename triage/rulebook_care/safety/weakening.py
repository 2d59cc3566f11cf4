"""What a changed rulebook no longer does for people's safety, whether or not a recorded ticket shows it.

Two rulebooks are compared as they are read, so that rewording, reordering and comments are no loss, and
neither is anything that makes a caution hold, stop or forbid more.
"""

import re
from collections.abc import Iterator

from triage.decide.outcome import HARMS, SKILLS, read_out
from triage.rulebook.model import Caution, Check, DeriveRule, Fact, Rulebook, RuleHead
from triage.rulebook_care.lint.texts import sentences
from triage.rulebook_care.safety.loss import Loss
from triage.rulebook_care.safety.narrowing import Narrowing, guarded_facts
from triage.rulebook_care.safety.offered import offered_more, unheard

_MAKES_SAFE = re.compile(
    r"\b(?:switch(?:es)?|turn) .*\boff\b|\bunplug|\bbreaker\b|\bdry hands\b|\bgloves?\b|\btwo people\b"
    r"|\bdo not\b|\bnever\b|\bkeep\b.*\b(?:away|out)\b",
    re.IGNORECASE,
)
"""Steps of a check by which nobody is hurt: who rewords one is asked as who rewords a caution is."""


def weakened(before: Rulebook, after: Rulebook) -> tuple[Loss, ...]:
    """Every way in which `after` guards people less than `before`, by file."""
    narrowing = Narrowing(before, after)
    found = [
        *_cautions(before, after, narrowing),
        *_checks(before, after),
        *offered_more(before, after, narrowing),
        *_facts(before, after),
        *_derive(before, after, narrowing),
        *unheard(before, after),
    ]
    return tuple(sorted(dict.fromkeys(found), key=lambda loss: loss.edit))


def _cautions(before: Rulebook, after: Rulebook, narrowing: Narrowing) -> Iterator[Loss]:
    for id_, old in before.cautions.items():
        if old.head.status != "live":
            continue
        edit, called = old.head.file, f"the caution “{old.head.title}”"
        new = after.cautions.get(id_)
        if new is None:
            yield Loss(edit, f"{called} is taken out")
        elif new.head.status != "live":
            yield Loss(edit, f"{called} is {'retired' if new.head.status == 'retired' else 'only a draft'}")
        else:
            why = narrowing.lost(old.head.when, new.head.when)
            if why is not None:
                yield Loss(edit, f"{called} is narrowed: {why}")
            for what in (*_shorter(old.head, new.head), *_weaker(old, new, before, after)):
                yield Loss(edit, f"{called} {what}")


def _shorter(old: RuleHead, new: RuleHead) -> Iterator[str]:
    if new.valid.first > old.valid.first or new.valid.last < old.valid.last:
        yield f"holds only {new.valid}"


def _weaker(old: Caution, new: Caution, before: Rulebook, after: Rulebook) -> Iterator[str]:
    if old.stop_use and not new.stop_use:
        yield "no longer stops use"
    if new.only_with_checks and not old.only_with_checks:
        yield "is said only beside checks, and stops and forbids nothing by itself"
    if old.forbids_all_checks and not new.forbids_all_checks:
        yield "no longer forbids all checks"
    elif not new.forbids_all_checks:
        for check in sorted(old.forbids - new.forbids):
            if check in after.checks:
                yield f"no longer forbids the check {check}"
    for check in old.first:
        if check not in new.first:
            yield f"no longer puts the check {check} first"
    spanish = before.spanish.get(old.text, ""), after.spanish.get(new.text, "")
    for was, now in ((old.text, new.text), spanish) if old.guards else ():
        for sentence in sentences(was):
            if sentence not in sentences(now):
                yield f"no longer says “{sentence}”"
    if old.visit_priority is not None and (
        new.visit_priority is None or new.visit_priority > old.visit_priority
    ):
        yield f"is less urgent: visit priority {old.visit_priority} → {new.visit_priority or 'none'}"
    if new.harm != old.harm and read_out(new) > read_out(old):
        yield f"is read out later: {HARMS[read_out(old)]} → {HARMS[read_out(new)]}"
    if old.defers_to and not new.defers_to:
        yield "no longer says to whom it defers"
    if _rank(new) < _rank(old):
        yield f"asks for less skill: {old.visit_skill} → {new.visit_skill or 'any'}"


def _rank(caution: Caution) -> int:
    return -1 if caution.visit_skill is None else SKILLS.index(caution.visit_skill)


def _checks(before: Rulebook, after: Rulebook) -> Iterator[Loss]:
    for id_, old in before.checks.items():
        new = after.checks.get(id_)
        if new is not None:
            for what in _bolder(old, new, after):
                yield Loss(f"checks/{id_}.yml", f"the check “{old.title}” {what}")


def _bolder(old: Check, new: Check, after: Rulebook) -> Iterator[str]:
    for caution in old.cautions:
        if caution not in new.cautions and caution in after.cautions:
            yield f"no longer comes with the caution {caution}"
    for step in old.steps:
        if _MAKES_SAFE.search(step) and step not in new.steps:
            yield f"no longer says “{step}”"
    if old.near and not new.near:
        yield "no longer counts as going near the machine"
    if old.who == "technician" and new.who == "clerk":
        yield "is for the clerk now, not for a technician"


def _facts(before: Rulebook, after: Rulebook) -> Iterator[Loss]:
    guarded = guarded_facts(before)
    for id_, old in before.facts.items():
        new = after.facts.get(id_)
        for what in _less_known(old, new, id_ in guarded):
            yield Loss(f"facts/{id_}.yml", f"the fact “{old.title}” {what}")


def _less_known(old: Fact, new: Fact | None, guarded: bool) -> Iterator[str]:
    if new is None:
        if old.danger:
            yield "is taken out: nobody can say that danger any more"
        return
    if old.danger and not new.danger:
        yield "is no longer a danger: an answer can lower it"
    if new.status != "live" and old.status == "live" and old.danger:
        yield f"is {'retired' if new.status == 'retired' else 'only a draft'}"
    if old.danger and (new.valid.first > old.valid.first or new.valid.last < old.valid.last):
        yield f"is asked only {new.valid}"
    if old.near and not new.near:
        yield "no longer counts as found out near the machine"
    if (old.danger or guarded) and old.type != new.type:
        yield f"is of another type: {old.type} → {new.type}"
    if (old.danger or guarded) and old.ask is not None and (new.ask is None or old.asked_of != new.asked_of):
        yield f"is no longer asked of the {old.asked_of}"


def _derive(before: Rulebook, after: Rulebook, narrowing: Narrowing) -> Iterator[Loss]:
    guarded = guarded_facts(before)
    for id_, old in before.derive.items():
        raised = [fact for fact, value in old.sets.items() if fact in guarded and value is not False]
        if old.head.status != "live" or not raised:
            continue
        edit, called = old.head.file, f"the derive rule “{old.head.title}”"
        new = after.derive.get(id_)
        if new is None:
            yield Loss(edit, f"{called} is taken out: nothing concludes {', '.join(raised)} there any more")
            continue
        if new.head.status != "live":
            yield Loss(edit, f"{called} is no longer live: {', '.join(raised)}")
            continue
        why = narrowing.lost(old.head.when, new.head.when)
        if why is not None:
            yield Loss(edit, f"{called} is narrowed: {why}")
        for what in _shorter(old.head, new.head):
            yield Loss(edit, f"{called} {what}")
        for fact in raised:
            if new.sets.get(fact) != old.sets[fact]:
                yield Loss(edit, f"{called} no longer concludes {fact}")
        if new.priority < old.priority:
            yield Loss(edit, f"{called} is heard later: priority {old.priority} → {new.priority}")
    for id_, new in after.derive.items():
        for fact in sorted(guarded & (new.sets.keys() | new.otherwise.keys())):
            if new.head.status == "live" and _denies_more(before.derive.get(id_), new, fact, narrowing):
                what = f"the derive rule “{new.head.title}” concludes more often that {fact} is not so"
                yield Loss(new.head.file, what)


def _denies_more(old: DeriveRule | None, new: DeriveRule, fact: str, narrowing: Narrowing) -> bool:
    """Whether a rule speaks against a fact where it did not, or is heard before it was."""
    denies, denies_else = new.sets.get(fact) is False, new.otherwise.get(fact) is False
    if not (denies or denies_else):
        return False
    if old is None or old.head.status != "live" or new.priority > old.priority:
        return True
    if denies and (
        old.sets.get(fact) is not False or narrowing.lost(new.head.when, old.head.when) is not None
    ):
        return True
    return denies_else and (
        old.otherwise.get(fact) is not False or narrowing.fails_more(old.head.when, new.head.when)
    )
