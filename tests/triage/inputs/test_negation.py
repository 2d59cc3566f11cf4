"""What a speaker says is not so."""

from __future__ import annotations

import pytest

from triage.inputs.negation import MOST_REACHED, OVER, denied_by
from triage.inputs.word_forms import said_words


def denied(text: str) -> set[str]:
    words = said_words(text)
    return {words[index].plain for index in denied_by(words)}


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("no smoke", "smoke"),
        ("no smoke, smell or sparks", "sparks"),
        ("without any smoke or sparks it just quit", "sparks"),
        ("the plug isn't hot", "hot"),
        ("nobody got hurt", "hurt"),
        ("nothing burning", "burning"),
        ("nowhere near the outlet", "outlet"),
        ("smoke? no", "smoke"),
        ("humo: no", "humo"),
        ("no hay humo", "humo"),
        ("no ai umo", "umo"),
        ("no hay humo ni huele a quemado", "quemado"),
        ("no se mojó", "mojo"),
        ("nadie se cayó", "cayo"),
        ("sin humo y sin chispas", "chispas"),
        ("nunca ha tenido moho", "moho"),
        ("a nadie le ha dado corriente", "corriente"),
        ("it did not shock anyone", "shock"),
    ],
)
def test_a_no_reaches_the_words_behind_it(text: str, word: str) -> None:
    assert word in denied(text)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("no light but smoke", "smoke"),
        ("no power. smoke", "smoke"),
        ("no power and there is smoke", "smoke"),
        ("no lights, it smells burnt", "burnt"),
        ("no noise, just sparks", "sparks"),
        ("it won't stop smoking", "smoking"),
        ("hardly any smoke", "smoke"),
        ("no more than a tingle", "tingle"),
        ("I can't tell if it's smoke", "smoke"),
        ("it wasn't smoking before but it is now", "smoking"),
        ("didn't you hear me, it's smoking", "smoking"),
        ("didn't we say it smells burnt?", "burnt"),
        ("no deja de echar humo", "humo"),
        ("not a big shock", "shock"),
        ("no fue mucho humo", "humo"),
        ("it's not smoking anymore", "smoking"),
        ("ya no echa humo", "humo"),
        ("I don't know, smoke maybe", "smoke"),
        ("no sé, sale humo", "humo"),
        ("no se si es humo", "humo"),
        ("no prende y sale humo", "humo"),
        ("no enfría pero huele a quemado", "quemado"),
        ("nothing works burning smell", "burning"),
        ("without a doubt smoke", "smoke"),
        ("no one got shocked until today", "shocked"),
        ("it doesn't shock me only when wet", "shock"),
        ("not only smoke but sparks", "smoke"),
        ("it never smoked before", "smoked"),
        ("you can't touch it without a shock", "shock"),
        ("it won't cool I smell smoke", "smoke"),
        ("no, it's smoking", "smoking"),
        ("no enfría nada huele a quemado", "quemado"),
        ("nadie se había electrocutado hasta hoy", "electrocutado"),
        ("no manches sale humo", "humo"),
        ("no", "no"),
        ("", ""),
    ],
)
def test_in_doubt_nothing_is_denied(text: str, word: str) -> None:
    assert word not in denied(text)


def test_the_words_that_deny_are_told():
    words = said_words("they never rinsed it")
    assert denied_by(words) == {2: {1}, 3: {1}}


@pytest.mark.parametrize(
    "text",
    [
        "we had sparks last year, the tech changed the cord",
        "el año pasado sacó chispas, le cambió el cable",
        "tuvimos hormigas el verano pasado, ya no hay",
        "the old machine gave sparks but they took it away",
    ],
)
def test_what_is_long_past_and_settled_is_over(text: str) -> None:
    words = said_words(text)
    assert OVER in denied_by(words)[2]


@pytest.mark.parametrize(
    "text",
    [
        "we had sparks last year",
        "sparks last year and again now, they changed the cord",
        "last year they changed the cord, today it sparks",
        "it zapped somebody last week, they changed the cord",
    ],
)
def test_what_is_not_clearly_over_stands(text: str) -> None:
    words = said_words(text)
    said = {words[index].plain for index, by in denied_by(words).items() if OVER in by}
    assert said.isdisjoint({"sparks", "zapped"})


def test_a_no_reaches_no_further_than_a_list_may_be_long():
    assert len(denied("no " + "a or " * 500)) <= MOST_REACHED
    assert max(len(by) for by in denied_by(said_words("no a ni b " * 500)).values()) <= MOST_REACHED
