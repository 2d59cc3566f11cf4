"""A whole body of each kind, by schema, as it was sent or answered, long lists cut: `examples.json`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

EXAMPLES: Mapping[str, Any] = json.loads(Path(__file__).with_suffix(".json").read_text(encoding="utf-8"))


def show_example(told: object) -> None:
    """Gives a described body, where it is JSON of a schema that has one, its example."""
    content = told.get("content", {}) if isinstance(told, dict) else {}
    for media in content.values():
        name = str(media.get("schema", {}).get("$ref", "")).rpartition("/")[2]
        if name in EXAMPLES and "example" not in media:
            media.setdefault("examples", {name: {"$ref": f"#/components/examples/{name}"}})
