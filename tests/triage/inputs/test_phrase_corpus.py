"""Two lists of invented phrases: what is heard in them, in figures.

`danger_phrases.csv`: half English, half Spanish, nearly a third harmless and tricky; `expected` names the
dangers, joined by "+". `symptom_phrases.csv`: ordinary phrases; `symptom` names those that are right, joined
by "|". The lists of words were tuned on these phrases, so the figures hold for them and not for real callers.

The phrases of kind `second_round` were written in four sets, the first without sight of the lists, the others
by whoever had tuned them. Each set was heard before the lists were tuned on it: of the dangers 70, 73, 78 and
89 % were heard as what they are, of the harmless ones 18, 14, 17 and 13 % taken for a danger. In the second,
three words were replaced after that. Of `third_round` 88 % of the dangers were heard before tuning, 3 % of
the harmless ones taken for one. Ten more are dangers that a careless `unless` hid. The phrases of kind
`new_symptom` were written without sight of those symptoms' lists and heard once before any tuning: of 57
symptoms 56 were among the first two, and 2 of them were taken for a danger.
"""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

from tests import RULES
from triage.inputs.heard import hear, match_symptoms
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook

HERE = Path(__file__).parent
LISTS = {
    "shock": {"shock"},
    "smoke_fire": {"smoke-or-fire", "sparks", "hot-plug"},
    "gas": {"gas"},
    "injury": {"injury"},
    "liquid_electrics": {"liquid-at-electrics"},
    "illness": {"illness"},
    "foreign_body": {"foreign-body"},
    "pests_mold": {"pests", "mold"},
    "chemicals": {"chemicals"},
    "tipping": {"tipping"},
    "flood_boil_water": {"flood-or-boil-water"},
    "allergen": {"allergy"},
    "damaged_cord": {"damaged-cord", "smoke-or-fire", "sparks"},
    "washed": {"hosed"},
    "open_cover": {"open-cover"},
}
"""Danger of the corpus -> the lists of words of which one must hear it."""


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


DANGERS = rows("danger_phrases.csv")
SYMPTOMS = rows("symptom_phrases.csv")


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


@pytest.fixture(scope="module")
def heard(rulebook: Rulebook) -> list[frozenset[str]]:
    return [frozenset(each.words for each in hear(rulebook, row["phrase"])) for row in DANGERS]


def test_the_corpus_is_large_bilingual_and_a_third_harmless():
    assert len(DANGERS) >= 400 and len(SYMPTOMS) >= 200
    languages = Counter(row["language"] for row in DANGERS)
    assert min(languages["en"], languages["es"]) >= 0.45 * len(DANGERS) and set(languages) == {"en", "es"}
    assert 3.2 * sum(not row["expected"] for row in DANGERS) >= len(DANGERS)


@pytest.mark.parametrize("language", ["en", "es"])
def test_nearly_every_danger_is_heard(heard: list[frozenset[str]], language: str) -> None:
    told = [
        (danger, bool(lists & LISTS[danger]))
        for row, lists in zip(DANGERS, heard, strict=True)
        if row["language"] == language and row["expected"]
        for danger in row["expected"].split("+")
    ]
    assert sum(right for _, right in told) >= 0.97 * len(told)
    missed = Counter(danger for danger, right in told if not right)
    number = Counter(danger for danger, _ in told)
    assert {danger for danger in LISTS if missed[danger] > 0.1 * number[danger]} == set()


@pytest.mark.parametrize("language", ["en", "es"])
def test_few_harmless_phrases_are_taken_for_dangers(heard: list[frozenset[str]], language: str) -> None:
    harmless = [
        lists
        for row, lists in zip(DANGERS, heard, strict=True)
        if row["language"] == language and not row["expected"]
    ]
    assert sum(bool(lists) for lists in harmless) <= 0.05 * len(harmless)


def test_no_phrase_of_danger_is_taken_for_harmless(heard: list[frozenset[str]]) -> None:
    silent = [
        row["phrase"] for row, lists in zip(DANGERS, heard, strict=True) if row["expected"] and not lists
    ]
    assert silent == []


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_right_symptom_is_nearly_always_among_the_first_two(rulebook: Rulebook, language: str) -> None:
    right = [
        any(
            match.symptom in row["symptom"].split("|") for match in match_symptoms(rulebook, row["phrase"], 2)
        )
        for row in SYMPTOMS
        if row["language"] == language
    ]
    assert sum(right) >= 0.85 * len(right)


def test_ordinary_symptoms_raise_hardly_a_danger(rulebook: Rulebook) -> None:
    dangers = {"tingling", "pests_at_machine", "someone_hurt"}
    ordinary = [row for row in SYMPTOMS if row["symptom"] not in dangers]
    assert sum(bool(hear(rulebook, row["phrase"])) for row in ordinary) <= 0.05 * len(ordinary)
