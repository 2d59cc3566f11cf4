"""Words in other forms, as they sound, and misspelled."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from triage.inputs.phrases import Vocabulary, phrase_key
from triage.inputs.word_forms import in_a_dictionary, near_words, plain_letters, said_words, sound, stem


def test_words_and_stops_of_a_text_in_order_with_their_places():
    text = "It's hot, ¿Qué? se\u0301 1\u00b0"
    assert [word.plain for word in said_words(text)] == ["its", "hot", ",", "que", "?", "se", "1"]
    assert [text[word.start : word.end] for word in said_words(text)][3] == "Qué"
    assert [word.plain for word in said_words(text) if not word.is_word] == [",", "?"]
    assert [word.plain for word in said_words(text) if word.accented] == ["its", "que", "se"]


@pytest.mark.parametrize(("word", "plain"), [("Señor", "senor"), ("SMOKE", "smoke"), ("don't", "dont")])
def test_plain_letters(word: str, plain: str) -> None:
    assert plain_letters(word) == plain


@pytest.mark.parametrize(
    ("one", "other", "language"),
    [
        ("smoking", "smoke", "en"),
        ("shocked", "shocks", "en"),
        ("quemando", "quemado", "es"),
        ("chispas", "chispa", "es"),
    ],
)
def test_forms_of_one_word_have_one_stem(one: str, other: str, language: str) -> None:
    assert stem(one, language) == stem(other, language)


def test_threads_that_stem_at_once_find_the_same_stems() -> None:
    """A request's thread must not spoil the words of another: they are kept while the program runs."""
    endings = ("ando", "aciones", "aban", "iendo", "idades", "mente", "osos", "aremos", "ados", "iesen")
    words = [f"{start}{end}" for start in ("quem", "limpi", "romp", "sal", "huel") for end in endings]

    def stems() -> list[str]:
        return [stem.__wrapped__(word, "es") for word in words]

    alone = stems()
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        with ThreadPoolExecutor(4) as threads:
            asked = [threads.submit(stems) for _ in range(8)]
            found = [each.result() for each in asked]
    finally:
        sys.setswitchinterval(before)
    assert found == [alone] * 8


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("umo", "humo"),
        ("kemado", "quemado"),
        ("bidrio", "vidrio"),
        ("gaz", "gas"),
        ("rodiya", "rodilla"),
        ("yuvia", "lluvia"),
        ("jusano", "gusano"),
        ("reacsion", "reaccion"),
        ("calanbre", "calambre"),
        ("plastiquitos", "plasticos"),
        ("chizpa", "chispa"),
    ],
)
def test_spanish_is_the_same_when_it_sounds_the_same(written: str, meant: str) -> None:
    assert sound(written, "es") == sound(meant, "es")


def test_english_sounds():
    assert sound("nats", "en") == sound("gnats", "en")
    assert sound("skrew", "en") == sound("screw", "en")
    assert sound("sik", "en") == sound("sick", "en")


def test_a_slip_is_one_edit_and_two_in_a_long_word():
    assert near_words("smoek", ["smoke"]) == ("smoke",)
    assert near_words("refigerent", ["refrigerant"]) == ("refrigerant",)
    assert near_words("smkoee", ["smoke"]) == ()
    assert near_words("gaz", ["gas"]) == ()


def test_a_word_of_a_dictionary_is_no_slip():
    assert in_a_dictionary("spoke") and in_a_dictionary("sabor")
    words = Vocabulary([("en", "smoke")])
    assert words.slots_of("smok") == {("en", "smoke")}
    assert words.slots_of("spoke") == frozenset()


def test_a_word_is_taken_in_any_form_or_in_one_only():
    words = Vocabulary([("es", "agua"), ("es", "=agua"), ("es", "vaso|=toma")])
    assert words.slots_of("agua") == {("es", "agua"), ("es", "=agua")}
    assert words.slots_of("aguado") == {("es", "agua")}
    assert words.slots_of("vasos") == {("es", "vaso|=toma")}
    assert words.slots_of("toma") == {("es", "vaso|=toma")}
    assert words.slots_of("tomar") == frozenset()


def test_phrases_that_hear_the_same_have_one_key():
    assert phrase_key("smoke|fire plug", "en") == phrase_key("plugs fires|smoking", "en")
    assert phrase_key("=agua", "es") != phrase_key("agua", "es")
