"""What stays of a long run: counts by door, inputs that reached something new, findings."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from tests import ROOT

KEPT = Path(os.environ.get("BARRELWISE_FUZZ", ROOT / "var/fuzz"))


def counts(door: str) -> Counter[str]:
    path = KEPT / "counts" / f"{door}.json"
    return Counter(json.loads(path.read_text()) if path.is_file() else {})


def store_counts(door: str, found: Mapping[str, int]) -> None:
    path = KEPT / "counts" / f"{door}.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_text(json.dumps(dict(found)))
    part.replace(path)
