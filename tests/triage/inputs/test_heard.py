"""Dangers heard in callers' words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests import RULES
from tests.triage.builders import fact, minimal_rulebook
from triage.inputs import phrases
from triage.inputs.heard import Heard, hear, match_symptoms, run_words_cases
from triage.inputs.phrases import WordLists
from triage.inputs.word_forms import said_words
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook
from triage.rulebook.terms import Words, WordsCase

RULEBOOK = read_rulebook(RULES)


def words_file(**more: object) -> dict[str, object]:
    return {
        "id": "smoke",
        "title": "Smoke",
        "danger": "smoke_seen",
        "en": ["smoke", "smell burn|burnt|hot", "sanitizer never|not rinse"],
        "es": ["humo", "=agua enchufe"],
        "unless": ["smoke break", "hot dog"],
        "source": "common practice, no source",
        "cases": [{"said": "smoke", "heard": True}, {"said": "no smoke", "heard": False}],
        **more,
    }


def rulebook(**more: object) -> Rulebook:
    seen = fact("smoke_seen", "flag") | {"danger": True}
    return minimal_rulebook({"facts/smoke_seen.yml": seen, "words/smoke.yml": words_file(**more)})


@pytest.mark.parametrize(
    "said",
    [
        "Smoke!",
        "it is SMOKING in the back",
        "there's smok",
        "sale umo",
        "it smells burnt",
        "a burning smell",
        "smoke came out, he was on his smoke break",
        "they never rinsed the sanitizer",
        "hay agua en el enchufe",
    ],
)
def test_a_phrase_is_heard_in_any_form_and_order(said: str) -> None:
    assert [heard.words for heard in hear(rulebook(), said)] == ["smoke"]


@pytest.mark.parametrize(
    "said",
    [
        "",
        "no smoke",
        "no hay humo",
        "he is on his smoke break",
        "it smells of hot dogs",
        "it smells. The sun is burning",
        "it smells as it did when we had the big old fryer burning",
        "aguado en el enchufe",
    ],
)
def test_what_is_denied_excused_or_far_apart_is_not_heard(said: str) -> None:
    assert hear(rulebook(), said) == ()


def test_what_is_heard_is_quoted_with_its_place():
    said = "Hello. I see a lot of smoke at the back of it, and juice."
    (heard,) = hear(rulebook(), said)
    assert heard == Heard("smoke", "a lot of smoke at the back", 13, 39)
    assert said[heard.start : heard.end] == heard.quote


def test_every_place_of_a_list_is_quoted_by_itself():
    found = hear(RULEBOOK, "smoke in the oven next door, he said. Then smoke came out of the plug")
    assert [heard.quote for heard in found if heard.words == "smoke-or-fire"] == [
        "smoke in the oven",
        "Then smoke came out of",
    ]


def test_places_that_share_words_are_one_and_stand_in_the_order_of_the_text():
    found = hear(RULEBOOK, "ants in the tray. Smoke, more smoke. I got a shock")
    assert [heard.words for heard in found] == ["pests", "smoke-or-fire", "smoke-or-fire", "shock"]


def test_cases_that_come_out_otherwise_are_told_with_their_file():
    wrong = rulebook(cases=[{"said": "no smoke", "heard": True}, {"said": "humo", "heard": False}])
    assert [(each.rule, each.case, each.file) for each in run_words_cases(wrong)] == [
        ("smoke", 0, "words/smoke.yml"),
        ("smoke", 1, "words/smoke.yml"),
    ]
    assert run_words_cases(wrong)[0].message == 'case 1: "no smoke" should be heard'
    assert run_words_cases(wrong, "words/other.yml") == []
    assert run_words_cases(rulebook()) == []


def test_the_cases_of_the_default_rulebook_pass():
    assert run_words_cases(RULEBOOK) == []
    assert all({case.heard for case in words.cases} == {True, False} for words in RULEBOOK.words.values())


TRICKY = ["no", "smoke", "sin", "humo", ",", ".", "?", "ni", "or", "the", "wet", "plug", "last", "year"]
PIECES = st.lists(st.one_of(st.text(max_size=12), st.sampled_from(TRICKY)), max_size=40)


@settings(max_examples=150, deadline=None)
@given(PIECES)
def test_hearing_never_fails_and_quotes_what_was_said(pieces: list[str]) -> None:
    said = " ".join(pieces)
    for heard in hear(RULEBOOK, said):
        assert said[heard.start : heard.end] == heard.quote != ""


@pytest.mark.parametrize(
    "piece", ["smoke ", "the ", "no ni ", "hot plug ", "no a, ", "smoke break ", "wet. "]
)
def test_the_work_grows_with_the_text_and_no_faster(monkeypatch: pytest.MonkeyPatch, piece: str) -> None:
    steps = 0
    nearest, close = phrases._nearest, phrases._close

    def counted(do):
        def counting(*given):
            nonlocal steps
            steps += 1
            return do(*given)

        return counting

    monkeypatch.setattr(phrases, "_nearest", counted(nearest))
    monkeypatch.setattr(phrases, "_close", counted(close))
    heard = ("smoke", "hot plug wet", "smoke break")
    case = WordsCase("smoke", True)
    lists = WordLists(
        [Words("w", "W", "x", None, heard, (), ("smoke break", "the the"), "s", (case,), "w.yml")]
    )
    taken = []
    for times in (100, 200, 400):
        steps = 0
        words = said_words(piece * times)
        list(lists.said(words, lists.vocabulary.places(words)))
        taken.append(steps)
    assert taken[2] <= 2 * taken[1] + 10 and taken[1] <= 2 * taken[0] + 10


def test_one_list_may_raise_a_danger_and_point_to_a_symptom() -> None:
    said = "there are roaches under it"
    assert RULEBOOK.words["pests"].danger == "pests_seen"
    assert [heard.words for heard in hear(RULEBOOK, said)] == ["pests"]
    assert match_symptoms(RULEBOOK, said)[0].symptom == "pests_at_machine"


def test_another_matter_beside_a_danger_is_not_quoted() -> None:
    (found,) = hear(RULEBOOK, "the cherry side is not freezing and the plug feels warm")
    assert found.quote == "the plug feels warm"
