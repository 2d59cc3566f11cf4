"""Answers said in Spanish have the values of the same answers in English."""

from __future__ import annotations

from datetime import date

import pytest

from triage.inputs.spoken import is_dont_know, read_spoken
from triage.logic.unary_tests import FactType
from triage.rulebook.model import Fact
from triage.values.errors import InputError

MONDAY = date(2026, 3, 2)


def fact(kind: FactType, unit: str | None = None) -> Fact:
    return Fact("asked", "Asked", kind, "clerk", unit)


@pytest.mark.parametrize(
    ("unit", "spanish", "english"),
    [
        ("d", "seis semanas", "six weeks"),
        ("d", "Hace más o menos tres semanas", "about three weeks ago"),
        ("d", "veintiún días", "21 days"),
        ("d", "once días", "11 days"),
        ("d", "un par de semanas", "a couple of weeks"),
        ("d", "ayer", "yesterday"),
        ("d", "anteayer", "the day before yesterday"),
        ("d", "el lunes pasado", "last Monday"),
        ("d", "la semana pasada", "last week"),
        ("d", "mes y medio", "a month and a half"),
        ("min", "media hora", "half an hour"),
        ("min", "dos horas y media", "two hours and a half"),
        ("min", "un cuarto de hora", "a quarter of an hour"),
        ("inch", "seis pulgadas", "six inches"),
        ("liter", "medio galón", "half a gallon"),
        ("degF", "25 grados centígrados", "25 degrees celsius"),
        ("percent", "cincuenta por ciento", "50 percent"),
        (None, "treinta y cinco", "thirty-five"),
        (None, "una docena", "a dozen"),
        ("d", "esta mañana", "this morning"),
        ("d", "desde el martes", "since Tuesday"),
        ("d", "el 3 de febrero", "February 3"),
        ("d", "dos meses y pico", "two months"),
        ("inch", "quince centímetros", "15 cm"),
        ("degF", "ochenta y cinco grados", "eighty-five degrees"),
        ("degF", "ciento dos", "a hundred and two"),
        (None, "dos veces", "twice"),
        (None, "ni una sola vez", "never"),
        (None, "tres bolsas", "3 pouches"),
    ],
)
def test_a_number_said_in_spanish_is_the_one_said_in_english(
    unit: str | None, spanish: str, english: str
) -> None:
    asked = fact("number", unit)
    assert read_spoken(asked, spanish, MONDAY) == read_spoken(asked, english, MONDAY)


@pytest.mark.parametrize(
    "said",
    [
        "once",
        "once a week",
        "sei semanas",
        "2,5 semanas",
        "pie",
        "nunca",
        "tres o cuatro semanas",
        "hace rato",
    ],
)
def test_what_is_not_spanish_for_certain_is_not_guessed(said: str) -> None:
    with pytest.raises(InputError, match=f'"{said}"'):  # in the words that were said
        read_spoken(fact("number", "d"), said, MONDAY)


@pytest.mark.parametrize(
    ("said", "value"),
    [("a las 9 de la mañana", "09:00:00"), ("3 de la tarde", "15:00:00"), ("mediodía", "12:00:00")],
)
def test_a_time_of_day_is_heard_in_spanish(said: str, value: str) -> None:
    assert read_spoken(fact("time"), said, MONDAY) == value


@pytest.mark.parametrize(
    ("said", "value"),
    [("sí", True), ("claro", True), ("no", False), ("pues sí", True), ("así es", True), ("para nada", False)],
)
def test_yes_and_no_are_heard_in_spanish(said: str, value: bool) -> None:
    assert read_spoken(fact("flag"), said, MONDAY) is value


@pytest.mark.parametrize("said", ["creo que no", "no creo", "eso creo", "a veces", "un poco"])
def test_what_nobody_is_sure_of_is_neither_yes_nor_no(said: str) -> None:
    with pytest.raises(InputError):
        read_spoken(fact("flag"), said, MONDAY)


@pytest.mark.parametrize(
    "said",
    [
        "pues no sé",
        "La verdad, no sé",
        "sabrá Dios",
        "desconozco",
        "no sé",
        "No lo sé.",
        "no se",
        "ni idea",
        "no tengo idea",
        "quién sabe",
    ],
)
def test_not_knowing_is_heard_in_spanish(said: str) -> None:
    assert is_dont_know(said)


@pytest.mark.parametrize("said", ["no", "no sé, creo que no", "idea", "sé"])
def test_an_answer_is_not_taken_for_not_knowing(said: str) -> None:
    assert not is_dont_know(said)
