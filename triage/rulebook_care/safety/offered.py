"""Checks that a changed rulebook offers where the one before it did not, or without what came with them.

A check is known again by its steps, whatever its id: one that is taken out and written anew is no new check.
"""

from collections.abc import Iterator, Sequence
from itertools import permutations
from typing import Literal, TypeAlias

from rapidfuzz import fuzz

from triage.inputs.heard import hear
from triage.inputs.phrases import EXACT
from triage.logic.conditions import facts_in
from triage.rulebook.model import Caution, Check, Rulebook
from triage.rulebook.terms import Words
from triage.rulebook_care.safety.loss import Loss
from triage.rulebook_care.safety.narrowing import Narrowing, guarded_facts

Language: TypeAlias = Literal["en", "es"]


def unheard(before: Rulebook, after: Rulebook) -> Iterator[Loss]:
    """Phrases and sentences that raised a danger and do not any more, and what is newly excused.

    A phrase is not lost where another one of the same list asks for no more.
    """
    for id_, old in before.words.items():
        if old.danger is None:
            continue
        edit, called = old.file, f"the list of words “{old.title}”"
        new = after.words.get(id_)
        if new is None:
            yield Loss(edit, f"{called} is taken out")
            continue
        if new.danger != old.danger:
            yield Loss(edit, f"{called} no longer raises {old.danger}")
        languages: tuple[tuple[Language, tuple[str, ...]], ...] = (("en", old.en), ("es", old.es))
        for language, listed in languages:
            for phrase in listed:
                if not _covered(new, language, phrase):
                    yield Loss(edit, f"{called} no longer hears “{phrase}”")
        for phrase in new.unless:
            if phrase not in old.unless:
                yield Loss(edit, f"{called} no longer hears it where “{phrase}” is said")
        if (old.en, old.es, old.unless) == (new.en, new.es, new.unless):
            continue
        for case in old.cases:
            if case.heard and _raises(before, old, case.said) and not _raises(after, old, case.said):
                yield Loss(edit, f"{called} no longer hears “{case.said}”")


def _covered(new: Words, language: Language, phrase: str) -> bool:
    return any(_asks_no_more(other, phrase) for other in (new.en if language == "en" else new.es))


def _asks_no_more(new: str, old: str) -> bool:
    """Whether whatever says the phrase `old` says `new` as well: fewer slots, or more words in them."""
    slots = [slot.split("|") for slot in old.split()]
    wide = [slot.split("|") for slot in new.split()]
    return len(wide) <= len(slots) and any(
        all(_within(narrow, slot) for narrow, slot in zip(chosen, wide, strict=True))
        for chosen in permutations(slots, len(wide))
    )


def _within(narrow: Sequence[str], wide: Sequence[str]) -> bool:
    return all(word in wide or word.removeprefix(EXACT) in wide for word in narrow)


def _raises(rulebook: Rulebook, words: Words, said: str) -> bool:
    return any(rulebook.words[heard.words].danger == words.danger for heard in hear(rulebook, said))


SAME_STEP = 85
"""Of 100: how much two steps are alike that ask for the same thing. Our own estimate."""
COMMON_STEP = 3
"""A step that stands in so many checks, such as switching off, tells none of them from another."""


def offered_more(before: Rulebook, after: Rulebook, narrowing: Narrowing) -> Iterator[Loss]:
    """Clerk's checks of `after` that are offered more widely, or with less said beside them, than before."""
    for id_, new in after.checks.items():
        if new.who != "clerk":
            continue
        edit, called = f"checks/{id_}.yml", f"the check “{new.title}”"
        if id_ in before.checks:
            for what in _wider(before, after, before.checks[id_], new, narrowing):
                yield Loss(edit, f"{called} {what}")
            continue
        told = [
            f"asks for “{step}” as the check “{old.title}” did, and {', '.join(lacking)}"
            for old, step in _same_steps(before, new)
            if (lacking := [*_lacking(before, after, old, new)])
        ]
        if told:  # one check is one loss, whatever it shares with how many others
            yield Loss(edit, f"{called} {'; '.join(told)}")


def _wider(before: Rulebook, after: Rulebook, old: Check, new: Check, narrowing: Narrowing) -> Iterator[str]:
    if not new.near:
        return
    if facts_in(old.when) & guarded_facts(before):
        why = narrowing.gained(old.when, new.when)
        if why is not None:
            yield f"is offered where a danger kept it away: {why}"
    for caution in _by_name(before):
        now = after.cautions.get(caution.head.id, caution)
        if new.id not in now.forbids | caution.forbids and not now.keeps_all_back:
            why = narrowing.gained(old.when, new.when, caution.head.when)
            if why is not None:
                yield f"is offered under the caution “{caution.head.title}”: {why}"


def _lacking(before: Rulebook, after: Rulebook, old: Check, new: Check) -> Iterator[str]:
    """What came with an old check and does not come with the new one that asks for the same."""
    for beside in old.cautions:
        if beside not in new.cautions and beside in after.cautions:
            yield f"comes without the caution {beside}"
    for caution in before.cautions.values():
        now = after.cautions.get(caution.head.id)
        if (
            now is not None
            and old.id in caution.forbids
            and not now.forbids_all_checks | (new.id in now.forbids)
        ):
            yield f"is not forbidden by the caution {caution.head.id}"
    if old.near and not new.near:
        yield "does not count as going near the machine"
    if old.who == "technician":
        yield "is for the clerk, not for a technician"


def _by_name(rulebook: Rulebook) -> tuple[Caution, ...]:
    """The live cautions that forbid some checks and leave the others."""
    return tuple(
        caution
        for caution in rulebook.cautions.values()
        if caution.head.status == "live" and caution.forbids
        if not caution.only_with_checks and not caution.keeps_all_back
    )


def _same_steps(before: Rulebook, new: Check) -> Iterator[tuple[Check, str]]:
    """The old checks that asked for what a step of the new one does, each with the first such step.

    What stands in `COMMON_STEP` checks in these or like words tells nothing.
    """
    found: dict[str, tuple[Check, str]] = {}
    for step in new.steps:
        alike = [old for old in before.checks.values() if _stands(step, old.steps)]
        if len(alike) < COMMON_STEP:
            found = {old.id: (old, step) for old in alike} | found
    yield from found.values()


def _stands(step: str, steps: Sequence[str]) -> bool:
    return any(fuzz.ratio(step.casefold(), one.casefold()) >= SAME_STEP for one in steps)
