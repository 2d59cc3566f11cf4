"""Lists of callers' words that leave a language or a danger out, and phrases that stand twice."""

from __future__ import annotations

from collections.abc import Iterator

from triage.inputs.phrases import phrase_key
from triage.rulebook.terms import Words
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.space import Reasoning

_LANGUAGES = {"en": "English", "es": "Spanish"}


def words_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes words-one-language, words-twice, danger-without-words."""
    rulebook = reason.rulebook
    for words in rulebook.words.values():
        yield from _of_list(words)
    heard = {words.danger for words in rulebook.words.values()}
    for fact in rulebook.facts.values():
        if fact.danger and fact.id not in heard and fact.status == "live":
            message = f"no list of words raises the danger {fact.id}"
            fix = f"Add a list in words/ with `danger: {fact.id}`"
            yield finding("danger-without-words", fact.id, f"facts/{fact.id}.yml", message, fix, ("danger",))


def _of_list(words: Words) -> Iterator[Finding]:
    for key, language in _LANGUAGES.items():
        texts: tuple[str, ...] = getattr(words, key)
        if not texts:
            message = f"{words.id} has no phrases in {language}"
            fix = "Callers of that language are not understood; add some"
            yield finding("words-one-language", words.id, words.file, message, fix, ("id",))
        first: dict[object, int] = {}
        for index, text in enumerate(texts):
            before = first.setdefault(phrase_key(text, key), index)
            if before != index:
                message = f'"{text}" hears the same as "{texts[before]}"'
                yield finding("words-twice", words.id, words.file, message, "Take one out", (key, index))
