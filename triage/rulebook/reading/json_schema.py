"""JSON Schemas (draft 2020-12) of the rulebook's files, for editors that complete and check while typing.

They say what one file may hold; what the files mean together is checked by the reader alone.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from triage.rulebook.reading.conditions import MOST_BRANCHES
from triage.rulebook.reading.shapes import KINDS, SINGLES

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_TEST = {
    "description": 'A unary test in S-FEEL: 15, "> 15", "[2..6]", \'"a","b"\', \'not("a")\', true, "-"',
    "type": ["string", "number", "boolean"],
}
_FACT_LIST = {"type": "array", "items": {"type": "string"}, "minItems": 1}
_BRANCHES = {
    "type": "array",
    "items": {"$ref": "#/$defs/When", "minProperties": 1},
    "minItems": 1,
    "maxItems": MOST_BRANCHES,
}
_WHEN: dict[str, Any] = {
    "title": "When",
    "description": "All lines must hold. A line is `fact: unary test`, or one of the four words below.",
    "type": "object",
    "properties": {
        "any_of": {"description": "At least one of these holds.", **_BRANCHES},
        "none_of": {"description": "None of these holds.", **_BRANCHES},
        "known": {"description": "These facts are known.", **_FACT_LIST},
        "unknown": {"description": "These facts are not known.", **_FACT_LIST},
    },
    "additionalProperties": _TEST,
}


def schemas() -> Mapping[str, Mapping[str, Any]]:
    """File or folder name -> the JSON Schema of that file, or of every file in that folder.

    Each schema stands alone: it refers only to its own `$defs` and has no `$id`, so that it may lie anywhere.
    """
    found = {}
    for name, shape in {**SINGLES, **KINDS}.items():
        schema = shape.model_json_schema(schema_generator=_NumbersOnly)
        defs = schema.setdefault("$defs", {})
        if _complete(schema):
            defs["When"] = _WHEN
        found[name] = {"$schema": DIALECT, **schema}
    return found


class _NumbersOnly(GenerateJsonSchema):
    """pydantic would also take a Decimal's text; a rulebook writes numbers, and the reader insists."""

    def decimal_schema(self, schema: Any) -> JsonSchemaValue:
        limits = {key: float(schema[key]) for key in ("ge", "gt", "le", "lt") if key in schema}
        json_schema: JsonSchemaValue = {"type": "number"}
        self.update_with_validations(json_schema, limits, self.ValidationsMapping.numeric)
        return json_schema

    def encode_default(self, dft: Any) -> Any:
        return float(dft) if isinstance(dft, Decimal) else super().encode_default(dft)


def _complete(schema: Any) -> bool:
    """Puts the full schema of conditions where pydantic knows a mapping only, and closes mappings of ids.

    Returns whether there was a condition.
    """
    found = False
    if isinstance(schema, dict) and "patternProperties" in schema:
        schema.setdefault("additionalProperties", False)
    for part in schema.values() if isinstance(schema, dict) else schema if isinstance(schema, list) else ():
        found = _complete(part) or found
    properties = schema.get("properties") if isinstance(schema, dict) else None
    if isinstance(properties, dict) and _is_condition(properties.get("when")):
        description = properties["when"]["description"]
        properties["when"] = {"$ref": "#/$defs/When", "description": description}
        found = True
    return found


def _is_condition(schema: Any) -> bool:
    return isinstance(schema, dict) and str(schema.get("description", "")).startswith("All lines must hold")
