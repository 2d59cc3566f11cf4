from __future__ import annotations

import pytest
from jsonschema import Draft202012Validator

from tests import RULES
from tests.triage.builders import minimal_files
from triage.rulebook.reading.json_schema import schemas
from triage.rulebook.reading.reader import rulebook_files_data
from triage.rulebook.reading.shapes import KINDS, SINGLES
from triage.values.plain_data import canonical, plain


def errors_in(files: dict[str, object]) -> list[str]:
    import json

    found = []
    known = schemas()
    for file, data in files.items():
        name = file.split("/")[0]
        validator = Draft202012Validator(known[name])
        document = json.loads(canonical(plain(data)))
        found += [f"{file}: {error.json_path}: {error.message}" for error in validator.iter_errors(document)]
    return found


def test_there_is_a_schema_for_every_kind_and_single_file() -> None:
    assert set(schemas()) == {*KINDS, *SINGLES}


@pytest.mark.parametrize("name", sorted({*KINDS, *SINGLES}))
def test_a_schema_is_itself_a_valid_schema_and_stands_alone(name: str) -> None:
    schema = schemas()[name]
    Draft202012Validator.check_schema(schema)
    assert "$id" not in schema
    assert '"$ref":"#/$defs/' in canonical_text(schema) or "$ref" not in canonical_text(schema)


def canonical_text(schema: object) -> str:
    return canonical(plain(schema))


def test_every_file_of_the_minimal_rulebook_is_valid() -> None:
    assert errors_in(minimal_files()) == []


def test_every_file_of_the_default_rulebook_is_valid() -> None:
    assert errors_in(dict(rulebook_files_data(RULES))) == []


@pytest.mark.parametrize(
    ("file", "key", "value"),
    [
        ("facts/filter_days.yml", "typ", "number"),
        ("facts/filter_days.yml", "type", "nummer"),
        ("checks/rinse-filter.yml", "minutes", "6"),
        ("checks/rinse-filter.yml", "when", {"any_of": [{}]}),
        ("checks/rinse-filter.yml", "when", {"any_of": [{"known": "x"}]}),
        ("checks/rinse-filter.yml", "resolves", {"Dirty Filter": 0.5}),
        ("checks/rinse-filter.yml", "resolves", {"dirty_filter": 1.5}),
        ("rulebook.yml", "near_certain", "0.9"),
    ],
)
def test_an_editor_would_mark_a_fault(file: str, key: str, value: object) -> None:
    content = minimal_files()[file]
    assert isinstance(content, dict)
    assert errors_in({file: {**content, key: value}})
