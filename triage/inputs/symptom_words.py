"""The caller's own words matched to the rulebook's symptoms: offline, by rapidfuzz.

A symptom speaks through its title and the phrases of `callers_say`. A phrase scores the share of its words
that the caller used, with rare words counting more than common ones; a word counts when it is nearly the same
after its ending is cut off. It is a proposal: the agent confirms.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rapidfuzz import fuzz

from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook

NEAR_ENOUGH = 86  # of 100, for two words to be the same
LEAST_SCORE = 0.55
MOST_WORDS = 120

_LITTLE = frozenset(
    re.findall(
        r"\w+",
        """
        a an and are as at be been but by can do does for from get gets got has have he her his i if in
        is it its just keeps like me my of on one or our out really she so some that the their them then there
        they this to up us very was we were what when will with you your machine im ive dont doesnt isnt
        """,
    )
)
_ENDING = re.compile(r"(?<=\w{3})(?:([bdgmnprt])\1(?:ing|ed|er)|ing|ed|es|s|er|y|e)$")


@dataclass(frozen=True, slots=True)
class SymptomMatch:
    """`phrase` is the rulebook's wording that fitted best; `score` lies in 0..1."""

    symptom: str
    phrase: str
    score: float


@dataclass(frozen=True, slots=True)
class _Phrase:
    symptom: str
    text: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Phrases:
    phrases: tuple[_Phrase, ...]
    weights: Mapping[str, float]


def match_symptoms(rulebook: Rulebook, said: str, at_most: int = 5) -> tuple[SymptomMatch, ...]:
    """The symptoms that the words point to, best first; none when nothing fits well enough."""
    words = _words(said)[:MOST_WORDS]
    if not words:
        return ()
    known = _phrases(rulebook)
    best: dict[str, SymptomMatch] = {}
    for phrase in known.phrases:
        score = _score(phrase, words, known.weights)
        if score >= LEAST_SCORE and score > getattr(best.get(phrase.symptom), "score", 0.0):
            best[phrase.symptom] = SymptomMatch(phrase.symptom, phrase.text, score)
    return tuple(sorted(best.values(), key=lambda match: (-match.score, match.symptom))[:at_most])


def _score(phrase: _Phrase, words: Sequence[str], weights: Mapping[str, float]) -> float:
    total = sum(weights[word] for word in phrase.words)
    return sum(weights[word] * _nearness(word, words) for word in phrase.words) / total


def _nearness(word: str, words: Sequence[str]) -> float:
    near = max(fuzz.ratio(word, other, score_cutoff=NEAR_ENOUGH) for other in words)
    return near / 100


@once_per_rulebook
def _phrases(rulebook: Rulebook) -> _Phrases:
    found = []
    for symptom in rulebook.symptoms.values():
        for text in (symptom.title, *symptom.callers_say):
            words = tuple(dict.fromkeys(_words(text)))
            if words:
                found.append(_Phrase(symptom.id, text, words))
    uses: dict[str, set[str]] = {}
    for phrase in found:
        for word in phrase.words:
            uses.setdefault(word, set()).add(phrase.symptom)
    everything = len(rulebook.symptoms) + 1
    weights = {word: math.log(everything / len(symptoms)) for word, symptoms in uses.items()}
    return _Phrases(tuple(found), weights)


def _words(text: str) -> list[str]:
    plain = re.sub(r"[’']", "", text.casefold())
    words = [word for word in re.findall(r"\w+", plain) if word not in _LITTLE]
    return [_ENDING.sub(lambda found: found[1] or "", word) for word in words]
