"""Spanish beside the English of a rulebook's own texts."""

from __future__ import annotations

from typing import Any

import pytest

from tests.triage.builders import minimal_files, minimal_rulebook
from triage.rulebook_care.lint.lint import lint
from triage.values.errors import RulebookError

CHECK = "checks/rinse-filter.yml"


def with_keys(file: str, **keys: object) -> dict[str, object]:
    data: Any = minimal_files()[file]
    return {file: {**data, **keys}}


def test_each_text_is_known_in_both_languages():
    steps = {"steps_es": ["Hágalo.", "Mire otra vez."], "look_for_es": "Sirve bien."}
    caution: Any = minimal_files()["cautions/unplug-first.yml"]
    said = {**caution, "then": {**caution["then"], "text_es": "Desconecte la clavija primero."}}
    choices = {"choices_es": {"grooved": "Con ranura", "flat": "Plano"}}
    rulebook = minimal_rulebook(
        {
            **with_keys(CHECK, title_es="Enjuague el filtro", **steps),
            **with_keys("facts/filter_days.yml", ask_es="¿Cuándo se limpió el filtro?"),
            **with_keys("facts/seal_style.yml", **choices),
            "cautions/unplug-first.yml": said,
        }
    )
    assert rulebook.spanish["Do it."] == "Hágalo."
    assert rulebook.spanish["When was the air filter last cleaned?"] == "¿Cuándo se limpió el filtro?"
    assert rulebook.spanish["Unplug the machine first."] == "Desconecte la clavija primero."
    assert rulebook.spanish["Flat seal"] == "Plano"


def test_parts_and_authorities_have_titles_in_both_languages():
    parts: Any = minimal_files()["parts.yml"]
    number = next(iter(parts["parts"]))
    told = {number: {**parts["parts"][number], "title_es": "Compresor"}}
    table: Any = minimal_files()["limits/authority.yml"]
    lead = {**table["authorities"]["ops_lead"], "title_es": "Jefe", "reach_es": "a toda hora"}
    rulebook = minimal_rulebook(
        {
            "parts.yml": {"parts": {**parts["parts"], **told}},
            "limits/authority.yml": {**table, "authorities": {"ops_lead": lead}},
        }
    )
    assert rulebook.spanish[rulebook.parts[number].title] == "Compresor"
    assert rulebook.spanish[rulebook.authorities["ops_lead"].title] == "Jefe"
    assert rulebook.spanish[rulebook.authorities["ops_lead"].reach] == "a toda hora"


def test_what_clerks_hear_is_a_gap_where_the_rulebook_speaks_spanish():
    rulebook = minimal_rulebook(with_keys(CHECK, title_es="Enjuague el filtro"))
    gaps = {each.file: each.message for each in lint(rulebook) if each.code == "spanish-missing"}
    assert "rinse-filter has no steps_es, look_for_es" in gaps[CHECK]
    assert "unplug-first has no title_es, text_es" in gaps["cautions/unplug-first.yml"]
    asked_of = {rulebook.facts[file[6:-4]].asked_of for file in gaps if file.startswith("facts/")}
    assert asked_of == {"clerk"}
    assert not [each for each in lint(minimal_rulebook()) if each.code == "spanish-missing"]


@pytest.mark.parametrize(
    ("code", "keys", "path"),
    [
        ("to-fill-in-live", {"steps_es": ["TODO: hágalo", "Mire."]}, ("steps_es", 0)),
        ("invisible-character", {"look_for_es": "Sirve\u200b bien."}, ("look_for_es",)),
        ("says-otherwise", {"look_for_es": "Sirve bien en 40 minutos."}, ("look_for_es",)),
        ("opens-panel", {"steps_es": ["Quite el panel trasero.", "Mire."]}, ("steps_es", 0)),
    ],
)
def test_the_spanish_is_looked_at_as_the_english_is(code, keys, path):
    found = {each.path: each.code for each in lint(minimal_rulebook(with_keys(CHECK, **keys)))}
    assert found[path] == code


@pytest.mark.parametrize(
    ("file", "keys"),
    [
        (CHECK, {"steps_es": ["Hágalo."]}),
        ("facts/seal_style.yml", {"choices_es": {"flat": "Plano"}}),
        ("facts/filter_neglected.yml", {"ask_es": "¿Y?"}),
    ],
)
def test_spanish_without_its_english_is_refused(file, keys):
    with pytest.raises(RulebookError, match="beside it"):
        minimal_rulebook(with_keys(file, **keys))
