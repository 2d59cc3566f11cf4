"""A small whole rulebook as plain data, for tests: `minimal_files` gives it, overrides change files."""

from __future__ import annotations

import copy
from collections.abc import Mapping

from triage.rulebook.model import Rulebook
from triage.rulebook.reading.reader import rulebook_from_data

NO_SOURCE = "common practice, no source"


def head(rule_id: str, when: object, fires: object, silent: object, **more: object) -> dict[str, object]:
    """The head every rule shares, with one case that fires and one that stays silent."""
    return {
        "id": rule_id,
        "title": rule_id.replace("-", " ").capitalize(),
        "status": "live",
        "owner": "service desk",
        "why": "For tests.",
        "source": NO_SOURCE,
        "when": when,
        "known_misfires": "None known.",
        "cases": [{"facts": fires, "fires": True}, {"facts": silent, "fires": False}],
        **more,
    }


def evidence(
    rule_id: str, when: object, fires: object, silent: object, seen_with: object, **more: object
) -> dict[str, object]:
    """An evidence rule's file."""
    return head(rule_id, when, fires, silent, then={"seen_with": seen_with}, **more)


def policy(
    rule_id: str, when: object, fires: object, silent: object, outcome: str, priority: int, text: str
) -> dict[str, object]:
    """A policy rule's file."""
    then = {"outcome": outcome, "priority": priority, "text": text}
    return head(rule_id, when, fires, silent, then=then)


def check(check_id: str, when: object, resolves: object, **more: object) -> dict[str, object]:
    """An in-store check's file; one that takes nobody near the machine unless `more` says otherwise.

    So a danger that a test does not ask about holds nothing back.
    """
    return {
        "id": check_id,
        "title": check_id.replace("-", " ").capitalize(),
        "when": when,
        "who": "clerk",
        "minutes": 6,
        "wait_minutes": 40,
        "near": False,
        "resolves": resolves,
        "steps": ["Do it.", "Look again."],
        "look_for": "It pours as it should.",
        "why": "For tests.",
        "source": NO_SOURCE,
        **more,
    }


def cause(cause_id: str, component: str = "cooling", **repair: object) -> dict[str, object]:
    """A cause's file; `repair` overrides the typical repair of one hour without parts."""
    return {
        "id": cause_id,
        "title": cause_id.replace("_", " ").capitalize(),
        "component": component,
        "repair": {"labor_hours": 1, **repair},
        "why": "For tests.",
        "source": NO_SOURCE,
    }


def fact(fact_id: str, fact_type: str, **more: object) -> dict[str, object]:
    """A fact's file."""
    title = fact_id.replace("_", " ").capitalize()
    base: dict[str, object] = {"id": fact_id, "title": title, "type": fact_type, "asked_of": "clerk"}
    if more.get("asked_of", "clerk") == "clerk":
        base["ask"] = f"{title}?"
    return {**base, **more}


_MINIMAL: dict[str, object] = {
    "rulebook.yml": {"title": "A minimal rulebook", "currency": "USD"},
    "facts/filter_days.yml": fact(
        "filter_days", "number", unit="d", range="[0..3650]", ask="When was the air filter last cleaned?"
    ),
    "facts/fill_level.yml": fact("fill_level", "number", unit="percent", range="[0..100]"),
    "facts/seal_style.yml": fact(
        "seal_style", "choice", choices={"grooved": "Grooved seal", "flat": "Flat seal"}
    ),
    "facts/cord_damaged.yml": fact("cord_damaged", "flag"),
    "facts/filter_neglected.yml": fact("filter_neglected", "flag", asked_of="computed"),
    "symptoms/not_freezing.yml": {
        "id": "not_freezing",
        "title": "Not freezing",
        "callers_say": ["It is all liquid."],
        "shares": {"dirty_filter": 30, "low_fill": 14, "compressor_fault": 10, "other": 12},
        "source": NO_SOURCE,
    },
    "symptoms/leaking.yml": {
        "id": "leaking",
        "title": "Leaking",
        "shares": {"seal_wrong": 40, "other": 20},
        "source": NO_SOURCE,
    },
    "causes/dirty_filter.yml": cause("dirty_filter", "air_side"),
    "causes/low_fill.yml": cause("low_fill", "hopper"),
    "causes/seal_wrong.yml": cause("seal_wrong", "hopper", parts={"SEAL-1": 1}),
    "causes/compressor_fault.yml": cause(
        "compressor_fault", "compressor", labor_hours=4, parts={"COMP-1": 1}, skill="refrigeration"
    ),
    "causes/other.yml": cause("other", "cooling", labor_hours=2),
    "derive/filter-neglected.yml": head(
        "filter-neglected",
        {"filter_days": "> 15"},
        {"filter_days": 16},
        {"filter_days": 15},
        then={"set": {"filter_neglected": True}, "otherwise": {"filter_neglected": False}},
    ),
    "evidence/filter-overdue.yml": evidence(
        "filter-overdue",
        {"filter_neglected": True},
        {"filter_neglected": True},
        {"filter_neglected": False},
        {"dirty_filter": 0.80, "others": 0.30},
    ),
    "evidence/fill-low.yml": evidence(
        "fill-low",
        {"fill_level": "< 20"},
        {"fill_level": 10},
        {"fill_level": 50},
        {"low_fill": 0.85, "others": 0.10},
        group="fill",
        band=1,
    ),
    "evidence/fill-half.yml": evidence(
        "fill-half",
        {"fill_level": "[20..50)"},
        {"fill_level": 30},
        {"fill_level": 80},
        {"low_fill": 0.10, "others": 0.30},
        group="fill",
        band=2,
    ),
    "cautions/damaged-cord.yml": head(
        "damaged-cord",
        {"cord_damaged": True},
        {"cord_damaged": True},
        {"cord_damaged": False},
        then={
            "text": "Leave the plug alone and keep clear; a licensed electrician looks at it first.",
            "stop_use": True,
            "forbids": "all",
            "visit_skill": "electrical",
            "visit_priority": 1,
            "defers_to": ["a licensed electrician"],
        },
    ),
    "cautions/unplug-first.yml": {
        **head("unplug-first", {}, {}, {}, then={"text": "Unplug the machine first."}),
        "with_checks": True,
        "cases": [],
    },
    "checks/rinse-filter.yml": check(
        "rinse-filter", {"symptom": '"not_freezing"'}, {"dirty_filter": 0.85}, cautions=["unplug-first"]
    ),
    "checks/fill-hopper.yml": check(
        "fill-hopper", {"symptom": '"not_freezing"'}, {"low_fill": 0.90}, minutes=5, wait_minutes=45
    ),
    "checks/reseat-seal.yml": check(
        "reseat-seal", {"symptom": '"leaking"'}, {"seal_wrong": 0.70}, minutes=10, wait_minutes=10
    ),
    "policy/cord-dispatch.yml": policy(
        "cord-dispatch",
        {"cord_damaged": True},
        {"cord_damaged": True},
        {"cord_damaged": False},
        "dispatch",
        900,
        "A damaged cord is seen to by a technician.",
    ),
    "warranty/standard.yml": {
        "id": "standard",
        "title": "Standard terms",
        "cap_months_from_ship": 42,
        "periods": {
            "default": {"parts_months": 12, "labor_months": 12},
            "compressor": {"parts_months": 36, "labor_months": 24},
        },
        "at_risk": [{"when": {"filter_days": "> 90"}, "say": "The filter was not cleaned for 90 days."}],
        "source": NO_SOURCE,
    },
    "limits/standing.yml": {
        "id": "standing",
        "title": "Standing limit",
        "kind": "nte",
        "hit_policy": "UNIQUE",
        "inputs": ["seal_style"],
        "outputs": ["amount"],
        "rows": [{"then": {"amount": 350}}],
        "source": NO_SOURCE,
    },
    "limits/authority.yml": {
        "id": "authority",
        "title": "Who may say yes",
        "kind": "authority",
        "hit_policy": "UNIQUE",
        "inputs": ["seal_style"],
        "outputs": ["authority"],
        "rows": [{"then": {"authority": "ops_lead"}}],
        "authorities": {"ops_lead": {"title": "Ops lead", "reach": "555-0100", "up_to": 2000}},
        "source": NO_SOURCE,
    },
    "rates.yml": {
        "default": {
            "trip": 95,
            "labor_hour": 110,
            "second_technician_hour": 80,
            "parts_markup": 0.2,
            "tax": 0.0825,
            "tax_on": ["parts"],
        },
        "store": {"clerk_hour": 18, "lost_sales_hour": 22, "open_hours_a_day": 16, "days_to_visit": 1.5},
        "swap_cost": 480,
    },
    "parts.yml": {
        "parts": {
            "SEAL-1": {"title": "Hopper seal", "price": 18.50, "kg": 0.1},
            "COMP-1": {"title": "Compressor", "price": 620, "kg": 14},
        }
    },
    "service_hours.yml": {
        "week": {day: ["08:00", "17:00"] for day in ("mon", "tue", "wed", "thu", "fri")},
        "priorities": {
            "1": {"hours": 4, "clock": "elapsed"},
            "2": {"hours": 9, "clock": "service"},
            "3": {"hours": 27, "clock": "service"},
        },
        "default_priority": 3,
    },
    "cases/overdue-filter.yml": {
        "id": "overdue-filter",
        "title": "An overdue filter",
        "report": {
            "machine": None,
            "symptoms": ["not_freezing"],
            "reported_at": "2026-03-02T10:00:00-05:00",
            "answers": {"filter_days": 40},
        },
        "expect": {"outcome": "fix_in_store", "top_cause": "dirty_filter"},
    },
}


def minimal_files(
    overrides: Mapping[str, object | None] | None = None, **singles: object
) -> dict[str, object]:
    """The files of a minimal valid rulebook, path -> plain data; a fresh copy each time.

    `overrides` replaces or adds whole files by path; None takes a file away. Keywords name the single files
    without their ending: `minimal_files(rates={...})`.
    """
    files = copy.deepcopy(_MINIMAL)
    for path, data in {
        **{f"{name}.yml": data for name, data in singles.items()},
        **(overrides or {}),
    }.items():
        if data is None:
            files.pop(path, None)
        else:
            files[path] = copy.deepcopy(data)
    return files


def minimal_rulebook(overrides: Mapping[str, object | None] | None = None, **singles: object) -> Rulebook:
    """The minimal rulebook, read; see `minimal_files`."""
    return rulebook_from_data(minimal_files(overrides, **singles))
