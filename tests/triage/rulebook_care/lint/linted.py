"""Small rulebooks with one fault each, and what the lint says of them."""

from __future__ import annotations

from collections.abc import Mapping

from tests.triage.builders import minimal_rulebook, policy
from triage.rulebook_care.lint.findings import Finding
from triage.rulebook_care.lint.lint import lint


def clean_files() -> dict[str, object | None]:
    """What takes the few findings out of the minimal rulebook."""
    hums = {"id": "hums", "title": "It hums", "type": "flag", "asked_of": "clerk", "ask": "Does it hum?"}
    flat = ({"seal_style": "flat"}, {"seal_style": "grooved"})
    asked = {"any_of": [{"solved": False}, {"stop_use": True}]}
    foot = policy("foot", asked, {"solved": False}, {"solved": True, "stop_use": False}, "dispatch", 1, "Go.")
    return {
        "facts/hums.yml": hums,
        "evidence/hums.yml": evidence_file("hums", {"hums": True}, compressor_fault=0.6)
        | {"cases": cases({"hums": True}, {"hums": False})},
        "evidence/flat-seal.yml": evidence_file("flat-seal", {"seal_style": "flat"}, seal_wrong=0.6)
        | {"cases": cases(*flat)},
        "policy/foot.yml": foot,
    }


def cases(fires: Mapping[str, object], silent: Mapping[str, object]) -> list[dict[str, object]]:
    return [{"facts": dict(fires), "fires": True}, {"facts": dict(silent), "fires": False}]


def policy_file(rule: str, when: Mapping[str, object], outcome: str, priority: int) -> dict[str, object]:
    return policy(rule, dict(when), {}, {}, outcome, priority, "By the rule.")


def evidence_file(
    rule: str, when: Mapping[str, object], others: float = 0.2, **more: object
) -> dict[str, object]:
    """An evidence rule; keywords are causes with their chances, or `group` and `band`."""
    placing = {key: more.pop(key) for key in ("group", "band", "status", "lint_off") if key in more}
    return {
        "id": rule, "title": rule, "status": "live", "owner": "desk",
        "why": "For tests.", "source": "common practice, no source", "when": dict(when),
        "known_misfires": "None known.",
        "cases": cases({}, {}),
        "then": {"seen_with": {**more, "others": others}}, **placing,
    }  # fmt: skip


def findings(overrides: Mapping[str, object | None] | None = None) -> dict[str, list[Finding]]:
    """Code -> findings, of a rulebook that has none without the overrides."""
    found: dict[str, list[Finding]] = {}
    for each in lint(minimal_rulebook({**clean_files(), **(overrides or {})})):
        found.setdefault(each.code, []).append(each)
    return found
