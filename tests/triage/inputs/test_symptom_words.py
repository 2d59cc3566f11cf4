"""The caller's words point to symptoms of the rulebook."""

from __future__ import annotations

import pytest

from tests import RULES
from triage.inputs.heard import match_symptoms
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(RULES)


@pytest.mark.parametrize(
    ("said", "symptom"),
    [
        ("it's not freezing at all", "not_freezing"),
        ("the slush is all liquid", "not_freezing"),
        ("it clicks and the swirl stopped", "auger_stopped"),
        ("water dripping from the tap", "leaking_tap"),
        ("It tripped the breaker!", "trips_breaker"),
        ("they taste too sweet", "too_sweet"),
        ("there's a puddle on the floor", "leaking"),
        ("no power, completely dead", "no_power"),
        ("alarm is beeping with a code", "alarm_message"),
        ("too sweeet", "too_sweet"),
        ("the machine shocked me", "tingling"),
        ("tastes like soap", "off_taste"),
        ("the tap wont pour", "no_dispense"),
        ("our cup holder broke", "cup_station"),
        ("it smells like something is burning", "hot_to_touch"),
        ("its really noisy", "noisy"),
        ("no congela nada", "not_freezing"),
        ("la yave gotea todo el dia", "leaking_tap"),
        ("se bota el breaker", "trips_breaker"),
        ("it's just broken, send somebody", "something_else"),
        ("está descompuesta, manden a alguien", "something_else"),
        ("it's way too thick to drink", "too_thick"),
        ("sale pura espuma", "foaming"),
        ("I push the button and nothing happens", "buttons_dead"),
        ("se rompió la manija", "broken_part"),
        ("it stinks around the machine", "bad_smell"),
        ("there are roaches under it", "pests_at_machine"),
        ("a customer got hurt on it", "someone_hurt"),
        ("we need more brushes and grease", "request"),
        ("¿cómo se limpia?", "request"),
    ],
)
def test_the_best_match_is_the_symptom_meant(rulebook: Rulebook, said: str, symptom: str) -> None:
    assert match_symptoms(rulebook, said)[0].symptom == symptom


def test_several_symptoms_in_one_sentence_are_all_found(rulebook: Rulebook) -> None:
    found = {match.symptom for match in match_symptoms(rulebook, "too sweet and it's beeping, says a code")}
    assert {"too_sweet", "alarm_message"} <= found


def test_a_symptom_denied_is_none(rulebook: Rulebook) -> None:
    assert match_symptoms(rulebook, "la llave no gotea") == ()


def test_what_says_little_comes_last(rulebook: Rulebook) -> None:
    found = [match.symptom for match in match_symptoms(rulebook, "something is wrong, the tap drips")]
    assert found.index("leaking_tap") < found.index("something_else") == len(found) - 1


def test_a_phrase_of_a_list_is_shown_in_the_callers_words(rulebook: Rulebook) -> None:
    assert match_symptoms(rulebook, "Hola, gotea la llave.")[0].phrase == "gotea la llave"


def test_every_title_and_phrase_finds_its_own_symptom(rulebook: Rulebook) -> None:
    for symptom in rulebook.symptoms.values():
        for phrase in (symptom.title, *symptom.callers_say):
            found = [match.symptom for match in match_symptoms(rulebook, phrase)]
            assert symptom.id in found, phrase


@pytest.mark.parametrize("said", ["", "  ", "hello, this is the store", "?!", "x" * 9000])
def test_words_that_say_nothing_match_nothing(rulebook: Rulebook, said: str) -> None:
    assert match_symptoms(rulebook, said) == ()
