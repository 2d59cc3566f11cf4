"""Texts that tell a clerk to open the machine, and texts that still wait to be filled in."""

from __future__ import annotations

import pytest
from ruamel.yaml import YAML

from tests.triage.builders import cause, check, fact, head
from tests.triage.rulebook_care.lint.linted import evidence_file, findings
from triage.rulebook_care.lint.findings import located_in
from triage.rulebook_care.lint.texts import opening_words, spanish_of
from triage.values.yaml_source import read_yaml


@pytest.mark.parametrize(
    "text",
    [
        "Open the panel and look inside.",
        "Remove the back warranty.",
        "Unscrew the four screws at the rear.",
        "Take the side panel off.",
        "Now lift off the housing, it is light.",
        "Undo the screws; keep them.",
        "Switch it off. Then pry open the casing!",
        "Loosen both screws a little.",
        "Before opening the machine, unplug it.",
        "Take apart the machine.",
    ],
)
def test_a_text_that_has_the_machine_opened_is_found(text):
    assert opening_words(text) is not None


@pytest.mark.parametrize(
    "text",
    [
        "Do not open the panel.",
        "Never remove the warranty, whatever it says.",
        "The technician removes the panel.",
        "Nobody opens the housing in a store.",
        "Don't unscrew anything; the screws stay.",
        "Slide the filter out; it needs no tool.",
        "Open the hopper lid and stir.",
        "Is the lid open? Look at the side.",
        "Take the drip tray out and empty it.",
        "Clean it without opening the casing.",
        "Pull the machine away from the wall.",
    ],
)
def test_a_text_that_leaves_it_closed_is_not(text):
    assert opening_words(text) is None


def test_a_clerks_step_is_an_error_at_its_place_and_a_technicians_is_none():
    steps = ["Switch it off.", "Open the back panel."]
    clerk = check("look-inside", {"hums": True}, {"low_fill": 0.5}, steps=steps)
    (opens,) = findings({"checks/look-inside.yml": clerk})["opens-panel"]
    assert (opens.severity, opens.path) == ("error", ("steps", 1))
    assert "Open the back" in opens.message
    assert findings({"checks/look-inside.yml": {**clerk, "who": "technician"}}) == {}


def test_a_question_asks_a_clerk_for_nothing_behind_a_panel():
    hums = fact("hums", "flag", help="Take the side panel off and listen.")
    (opens,) = findings({"facts/hums.yml": hums})["opens-panel"]
    assert (opens.rule, opens.path) == ("hums", ("help",))


@pytest.mark.parametrize(("status", "code"), [("draft", "to-fill-in"), ("live", "to-fill-in-live")])
def test_a_text_to_fill_in_is_a_note_in_a_draft_and_an_error_in_a_live_rule(status, code):
    rule = evidence_file("hums", {"hums": True}, compressor_fault=0.6, status=status) | {"why": "TODO: why"}
    (waits,) = findings({"evidence/hums.yml": rule})[code]
    assert waits.path == ("why",)


@pytest.mark.parametrize(
    ("english", "spanish", "said"),
    [
        ("Do not wipe it.", "Límpiela.", "“Do not wipe it.” forbids it"),
        ("Wipe it.", "No la limpie.", "“No la limpie.” forbids it"),
        ("Stop. Leave it off.", "Pare.", "2 sentences in English, 1 in Spanish"),
        ("Keep your hands out of it.", "No meta las manos.", None),
        ("Leave it off.", "No la encienda, déjela apagada.", "forbids it"),
        ("Wait 10 minutes.", "Espere 10 minutos.", None),
    ],
)
def test_two_languages_of_which_one_leaves_something_out_are_told(english, spanish, said):
    told = check("told", {}, {"low_fill": 0.5}, steps=[english], steps_es=[spanish])
    found = findings({"checks/told.yml": told}).get("languages-differ", [])
    assert [said in each.message for each in found] == ([] if said is None else [True])
    assert [each.path for each in found] == [("steps_es", 0)] * len(found), "where the Spanish stands"


def test_what_is_wrong_with_a_spanish_text_is_told_at_its_line():
    text = "then:\n  text: Do not touch it.\n  text_es: Do not touch it.\n"
    hot = head(
        "hot", {"hums": True}, {"hums": True}, {"hums": False}, then=YAML(typ="safe").load(text)["then"]
    )
    (found,) = findings({"cautions/hot.yml": hot})["language-left"]
    assert found.path == ("then", "text_es")
    assert located_in([found], {found.file: read_yaml(text.encode(), found.file)})[0].line == 3
    elsewhere = text.splitlines(keepends=True)[:2]
    (placed,) = located_in([found], {found.file: read_yaml("".join(elsewhere).encode(), found.file)})
    assert placed.line == 2
    assert spanish_of(("choices", "tray")) == ("choices_es", "tray")
    assert spanish_of(("parts", "FLT-020", "title")) == ("parts", "FLT-020", "title_es")


def test_one_wording_with_two_spanish_ones_is_told():
    files = {}
    for name, spanish in (("one", "Suave"), ("two", "Blando")):
        files[f"causes/{name}.yml"] = cause(name, "control") | {"title": "Soft", "title_es": spanish}
    found = [each for each in findings(files)["languages-differ"] if each.file == "causes/two.yml"]
    assert "“Soft” has two Spanish wordings" in found[0].message
