"""A small rulebook with two dangers: a shock, which callers speak of, and liquid, which a technician sees."""

from __future__ import annotations

from typing import Any

from tests.triage.builders import NO_SOURCE, fact, head
from tests.triage.services import REPORT, rulebook_files

CALM = {"fill_level": 70, "cord_damaged": False, "shock_felt": False, "liquid_in_base": False}
CALM_REPORT: dict[str, Any] = {**REPORT, "answers": CALM}
"""Everything that a danger hangs on is denied, so that a fix in the store may be tried."""
SHOCK_REPORT: dict[str, Any] = {**CALM_REPORT, "answers": {**CALM, "shock_felt": True}}
HEARD_REPORT: dict[str, Any] = {**CALM_REPORT, "note": "It gave me a shock, I think."}


def danger_files() -> dict[str, object]:
    return rulebook_files(
        **{
            "facts/shock_felt.yml": fact("shock_felt", "flag", danger=True),
            "facts/liquid_in_base.yml": fact("liquid_in_base", "flag", asked_of="technician", danger=True)
            | {"ask": "Is there liquid in the base?"},
            "cautions/shock.yml": _caution("shock", "shock_felt", visit_skill="electrical", visit_priority=1),
            "cautions/liquid.yml": _caution("liquid", "liquid_in_base"),
            "words/shock.yml": {
                "id": "shock",
                "title": "An electric shock",
                "danger": "shock_felt",
                "en": ["shock|shocked"],
                "es": ["calambre"],
                "source": NO_SOURCE,
                "cases": [
                    {"said": "I got a shock", "heard": True},
                    {"said": "no shock at all", "heard": False},
                ],
            },
        }
    )


def _caution(id_: str, fact_id: str, **more: object) -> dict[str, object]:
    then = {"text": f"Keep away: {fact_id}.", "stop_use": True, "forbids": "all", **more}
    return head(id_, {fact_id: True}, {fact_id: True}, {fact_id: False}, then=then)
