"""Facts heard in the words of a call, by the default rulebook."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from tests import ROOT
from triage.intake.facts import heard_facts
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import read_rulebook


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return read_rulebook(ROOT / "rules")


@pytest.mark.parametrize(
    ("said", "facts"),
    [
        ("the filter was cleaned two weeks ago", {"filter_days": Decimal(14)}),
        ("they cleaned the filter yesterday", {"filter_days": Decimal(1)}),
        ("cleaned two weeks ago", {}),
        ("it is soup. nobody knows about the filter", {"filter_days": None}),
        ("it leaks, a steady trickle, both sides", {"leak_rate": "trickle", "sides_affected": "both"}),
        ("not both sides", {}),
        ("a grinding noise", {"noise_kind": "grinding"}),
        ("grinding", {}),
        ("it leaks", {}),
        ("", {}),
    ],
)
def test_what_is_said_in_passing_is_heard(rulebook: Rulebook, said: str, facts: dict[str, object]) -> None:
    heard = heard_facts(rulebook, said, date(2026, 11, 16))
    assert {each.fact: each.value for each in heard} == facts
    assert all(each.quote in said for each in heard)


@pytest.mark.parametrize(
    ("said", "facts"),
    [
        ("hace dos semanas limpiaron el filtro de aire", {"filter_days": Decimal(14)}),
        ("no congela, los dos lados", {"sides_affected": "both"}),
        ("solo en un lado", {"sides_affected": "one"}),
        ("nadie sabe cuándo se limpió el filtro", {"filter_days": None}),
        ("hace un ruido de chirrido", {"noise_kind": "squeal"}),
        ("no hace ruido de chirrido", {}),
    ],
)
def test_spanish_is_heard_by_the_questions_and_choices_in_spanish(
    rulebook: Rulebook, said: str, facts: dict[str, object]
) -> None:
    heard = heard_facts(rulebook, said, date(2026, 11, 16))
    assert {each.fact: each.value for each in heard} == facts


def test_no_danger_is_ever_heard_as_a_fact(rulebook: Rulebook) -> None:
    asked = " ".join(f"{fact.title}." for fact in rulebook.facts.values())
    assert not [
        each for each in heard_facts(rulebook, asked, date(2026, 11, 16)) if rulebook.facts[each.fact].danger
    ]
