"""The program's own danger cases: who loses a danger that the live rulebook knows fails by name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.triage.rulebook_care.safety.default_files import (
    Edit,
    default_files,
    default_rulebook,
    with_value,
    without_key,
)
from tests.triage.services import rulebook_files
from triage.decide.causes.inference import compile_rulebook
from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook_care.safety.danger_cases import (
    binding,
    danger_cases,
    failed_danger_cases,
    surely_passes,
)


def failed(rulebook: Rulebook, bound: frozenset[str] = frozenset()) -> list[str]:
    """What fails; never anything where all is sure to pass, judged by what says that use stops alone."""
    engine = compile_rulebook(rulebook, "plain")
    found = failed_danger_cases(rulebook, engine, bound)
    without = replace(rulebook, causes={}, evidence={}, policy={}, limits={}, warranty={}, parts={}, cases={})
    sure = {surely_passes(each, engine, bound) for each in (rulebook, replace(without, checks={}))}
    assert sure in ({False}, {True}) and sure != {bool(found)}
    return found


def test_every_case_binds_the_default_rulebook_and_passes() -> None:
    assert failed(default_rulebook()) == []
    assert binding(default_rulebook()) == {case.id for case in danger_cases()}


def test_every_case_has_an_id_of_its_own_and_says_its_danger() -> None:
    cases = danger_cases()
    assert len({case.id for case in cases}) == len(cases)
    assert all(case.danger is not None or case.symptoms for case in cases)


@pytest.mark.parametrize(
    ("edits", "said"),
    [
        (
            [without_key("cautions/shock-felt.yml", "then", key) for key in ("stop_use", "forbids")],
            "danger case “Somebody felt a shock”: the rulebook has lost a live caution that looks at",
        ),
        (
            [with_value({"symptom": '"tingling"', "tingle_felt": True}, "cautions/shock-felt.yml", "when")],
            "danger case “Somebody felt a shock”: with the symptom noisy no caution stops use",
        ),
        (
            [with_value("retired", "cautions/hot-plug.yml", "status")],
            "danger case “The plug or cord is hot”: the rulebook has lost a live caution that looks at",
        ),
        (
            [without_key("words/shock.yml", "danger"), with_value("tingling", "words/shock.yml", "symptom")],
            "danger case “A shock said in words”: the rulebook has lost a list of words for tingle_felt",
        ),
    ],
)
def test_a_rulebook_that_loses_a_danger_fails_by_name(edits: list[Edit], said: str) -> None:
    weak = rulebook_from_data(default_files(*edits))
    assert any(said in each for each in failed(weak, binding(default_rulebook())))


def test_a_fact_or_symptom_that_the_live_rulebook_had_is_missed_by_name() -> None:
    full = default_rulebook()
    facts = {id_: fact for id_, fact in full.facts.items() if id_ != "tingle_felt"}
    symptoms = {id_: symptom for id_, symptom in full.symptoms.items() if id_ != "tingling"}
    weak = replace(full, facts=facts, symptoms=symptoms)
    said = failed(weak, binding(full))
    assert "danger case “Somebody felt a shock”: the rulebook has lost the fact tingle_felt" in said
    assert "danger case “The machine tingles”: the rulebook has lost the symptom tingling" in said


def test_a_small_rulebook_that_never_knew_a_danger_is_exempt_unless_the_live_one_knows_it() -> None:
    small = rulebook_from_data(rulebook_files())
    assert binding(small) == frozenset()
    assert failed(small) == []
    assert failed(small, frozenset({"burning"})) == [
        "danger case “A burning smell or smoke”: the rulebook has lost the fact burning_smell"
    ]
