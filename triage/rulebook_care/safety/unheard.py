"""Words of a danger that a changed rulebook no longer hears."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import permutations
from typing import Literal, TypeAlias

from triage.inputs.heard import hear
from triage.inputs.phrases import EXACT
from triage.rulebook.model import Rulebook
from triage.rulebook.terms import Words
from triage.rulebook_care.safety.loss import Loss

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
