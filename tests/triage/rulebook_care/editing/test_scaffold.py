"""New files for the rulebook."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tests.triage.builders import minimal_files, minimal_rulebook
from triage.rulebook.model import Fact
from triage.rulebook.reading.reader import rulebook_from_data
from triage.rulebook.rule_cases import run_rule_cases
from triage.rulebook_care.editing.scaffold import KINDS, scaffold
from triage.rulebook_care.lint.lint import has_errors, lint
from triage.values.errors import InputError
from triage.values.yaml_source import read_yaml

DAY = date(2026, 3, 2)


@pytest.mark.parametrize("kind", KINDS)
def test_a_new_file_can_be_read_at_once_and_its_cases_pass(kind):
    file, text = scaffold(minimal_rulebook(), kind, "brand_new", DAY)
    assert file == f"{kind}/brand_new.yml"
    rulebook = rulebook_from_data(minimal_files({file: read_yaml(text.encode(), file).data}))
    aside = rulebook.set_aside[kind]
    assert aside == {"brand_new"}
    assert "brand_new" not in {**rulebook.symptoms, **rulebook.checks, **rulebook.words, **rulebook.cases}
    assert run_rule_cases(rulebook) == []
    assert not has_errors(lint(rulebook))


@pytest.mark.parametrize("kind", ["evidence", "derive", "cautions", "policy"])
def test_a_new_rule_is_a_draft_that_the_lint_asks_to_fill_in(kind):
    file, text = scaffold(minimal_rulebook(), kind, "brand_new", DAY)
    rulebook = rulebook_from_data(minimal_files({file: read_yaml(text.encode(), file).data}))
    assert getattr(rulebook, kind)["brand_new"].head.status == "draft"
    asked = {each.path[0] for each in lint(rulebook) if each.code == "to-fill-in"}
    assert asked - {"then"} == {"title", "owner", "why", "known_misfires"}
    assert ("then" in asked) is (kind in ("cautions", "policy"))


@pytest.mark.parametrize("other", ["number", "choice", "flag"])
def test_the_example_fits_the_type_of_its_fact(other):
    choices = {"red": "Red", "blue": "Blue"} if other == "choice" else {}
    only = Fact("only", "Only", other, "clerk", choices=choices)
    rulebook = replace(minimal_rulebook(), facts={"only": only})
    file, text = scaffold(rulebook, "evidence", "brand_new", DAY)
    fact = {"id": "only", "title": "Only", "type": other, "asked_of": "clerk", "ask": "What?"}
    listed = {**fact, "choices": choices} if choices else fact
    files = minimal_files({"facts/only.yml": listed, file: read_yaml(text.encode(), file).data})
    assert run_rule_cases(rulebook_from_data(files)) == []


@pytest.mark.parametrize(
    ("kind", "name", "words"),
    [
        ("evidnce", "new", "evidence"),
        ("evidence", "Not An Id", "is not an id"),
        ("evidence", "../evil", "is not an id"),
        ("evidence", "", "is not an id"),
        ("evidence", "rinse-filter", "is taken"),
        ("facts", "filter_days", "is taken"),
    ],
)
def test_a_name_that_cannot_be_is_refused(kind, name, words):
    with pytest.raises(InputError, match=words):
        scaffold(minimal_rulebook(), kind, name, DAY)


def test_a_rulebook_without_a_fact_to_test_says_so():
    with pytest.raises(InputError, match="no fact"):
        scaffold(replace(minimal_rulebook(), facts={}), "evidence", "new", DAY)
