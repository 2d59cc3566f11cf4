"""Two languages that should say the same, and what no text should be: markup, a link, a speech, a letter.

What the two say is not understood: only what can be counted is compared. Words of either language by which a
text is told to be English or Spanish are common ones that the other lacks.
"""

import re
from collections.abc import Iterator

from triage.inputs.word_forms import word_set
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.lint.texts import every_text, key_in, sentences, spanish_of
from triage.rulebook_care.reasoning.space import Reasoning

LONGEST = 600
"""Letters that can be read out in one breath of a call, twice over. Common practice, no source."""

SHORTEST = 3
_READ_OUT = ("ask", "help", "look_for", "steps", "text")

_ENGLISH = word_set(
    """
    the of to is and it you do not in on at that off with an for from if are was when has or be your this
    there how by out what which does
    """
)
_SPANISH = word_set(
    """
    el la los las de que y en un una del al con se es si por para lo le su sus está esta están o hay qué cuál
    cómo desde hasta
    """
)
_WORD = re.compile(r"[^\W\d_]+")
_FORBIDS = re.compile(r"(?:do not|don['’]t|never|no|nunca)\b", re.IGNORECASE)
_NO = re.compile(
    r"\b(?:not|never|no|nothing|nobody|none|without|cannot|nor|out of|alone|away|keep|avoid|\w+n['’]t"
    r"|nunca|nada|nadie|sin|ni|ning[uú]n[oa]?|tampoco|lejos|evite)\b",
    re.IGNORECASE,
)
_MARKUP = re.compile(r"</?[a-z][^>]*>|https?://|www\.|\*\*|&[a-z]+;", re.IGNORECASE)


def language_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes language-left, languages-differ, odd-text."""
    rulebook = reason.rulebook
    for file, wordings in rulebook.spanish_twice.items():
        for wording in wordings:
            told = f"“{wording[:80]}” has two Spanish wordings in the rulebook; everywhere one is said:"
            message = f"{told} “{rulebook.spanish[wording][:80]}”"
            rule = file.rpartition("/")[2].removesuffix(".yml")
            yield finding("languages-differ", rule, file, message, "Write one Spanish for both")
    for rule, file, path, text, status in every_text(rulebook):
        if status == "retired" or path[:1] == ("source",):
            continue
        key, spanish = key_in(path), rulebook.spanish.get(text)
        if spanish is None and len(text) <= LONGEST and key not in _READ_OUT and text.isidentifier():
            continue
        for said, at in [(text, path), *([(spanish, spanish_of(path))] if spanish else [])]:
            odd = _MARKUP.search(said)
            if odd is not None:
                message = f"`{key}` of {rule} holds “{odd[0][:40]}”, which is shown and read out as it stands"
                yield finding("odd-text", rule, file, message, "Say it in plain words", at)
            elif len(said) > LONGEST:
                message = f"`{key}` of {rule} has {len(said)} letters; nobody listens that long"
                yield finding("odd-text", rule, file, message, "Say it shorter, or in steps", at)
            elif key in _READ_OUT and len(said.strip()) < SHORTEST:
                message = f"`{key}` of {rule} is “{said}”, which tells nobody what to do"
                yield finding("odd-text", rule, file, message, "Write it out", at)
        if spanish is None:
            continue
        for language, said, own, other in (
            ("Spanish", spanish, _SPANISH, _ENGLISH),
            ("English", text, _ENGLISH, _SPANISH),
        ):
            words = [word.casefold() for word in _WORD.findall(said)]
            same = language == "Spanish" and said == text and len(words) > 1
            if same or sum(word in other for word in words) > sum(word in own for word in words):
                message = f"`{key}` of {rule} is not in {language}: “{said[:80]}”"
                at = spanish_of(path) if language == "Spanish" else path
                yield finding("language-left", rule, file, message, f"Write it in {language}", at)
                break
        else:
            why = _apart(text, spanish) if "text" in path or "steps" in path else None
            if why is not None:
                message = f"`{key}` of {rule}: {why}"
                yield finding(
                    "languages-differ", rule, file, message, "Make both say the same", spanish_of(path)
                )


def _apart(english: str, spanish: str) -> str | None:
    """In what countable way the two do not say the same."""
    told, said = sentences(english), sentences(spanish)
    if len(told) != len(said):
        return f"{len(told)} sentences in English, {len(said)} in Spanish"
    for one, other in zip(told, said, strict=True):
        for forbids, allows in ((one, other), (other, one)):
            if _FORBIDS.match(forbids) and not _NO.search(allows):
                return f"“{forbids[:80]}” forbids it, “{allows[:80]}” does not"
    return None
