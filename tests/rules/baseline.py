"""Two hundred ordinary reports, the same every time: a quiet week without any danger in it.

`ordinary_reports()` gives pairs of a report and a machine file as plain data. Machines are of every age, kept
as in most stores, fixed twice a year at most; callers say what callers say on an ordinary day.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

SEED = 416
COUNT = 200
AS_OF = datetime(2026, 6, 10, 18, 30, tzinfo=UTC)

ORDINARY = {
    "not_freezing": 30, "freezes_slowly": 12, "watery": 8, "frozen_hard": 8, "ice_between_barrels": 6,
    "leaking_tap": 8, "leaking_behind_hopper": 4, "tray_overflow": 5, "no_dispense": 6, "auger_stopped": 5,
    "noisy": 8, "too_sweet": 3, "poor_texture": 5, "off_color": 3, "alarm_message": 6, "lights_out": 3,
    "cup_station": 4, "dispenses_itself": 2, "no_power": 3,
}  # fmt: skip
"""How often each symptom is called in; those that are a danger by themselves are no part of a quiet week."""

SAID: dict[str, tuple[object, ...]] = {
    "fan_air": ("warm_strong", "weak"),
    "fill_level": ("empty", "below_half", "half_or_more", "half_or_more"),
    "refill_temp": ("cold", "room"),
    "minutes_since_refill": (15, 60, 240),
    "minutes_since_start": (20, 120, 600),
    "sides_affected": ("one", "both"),
    "thickness": ("thin", "middle", "thick"),
    "mix_measured": ("by_label", "by_eye", "ready_to_pour"),
    "night_mode_now": (False, False, True),
    "clock_right": (True, True, False),
    "tap_state": ("closes", "stiff", "crooked", "loose"),
    "leak_rate": ("drops", "trickle"),
    "leak_where": ("tap", "tray", "behind_hopper"),
    "seal_gap_seen": (True, False),
    "tray_emptied": (True, False),
    "auger": ("turning", "jerky"),
    "ice_seen": ("none", "between_barrels", "rear_wall"),
    "noise_kind": ("rattle", "squeal", "knock"),
    "texture": ("smooth", "watery", "coarse"),
    "color_look": ("as_usual", "pale", "layered"),
    "taste": ("as_usual", "too_sweet", "weak"),
    "message": ("none", "high_temperature", "low_level", "clock"),
    "cups": ("jammed", "drops_many", "no_push"),
    "lights_which": ("one_hopper", "all"),
    "plug_home": (True, False),
    "burning_smell": (False,),
    "tingle_felt": (False,),
    "wet_electrics": (False,),
    "cord_damaged_seen": (False,),
    "product_warm_hours": (0, 1, 2),
}


def ordinary_reports() -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """The reports with their machines, in order."""
    dice = random.Random(SEED)
    for number in range(1, COUNT + 1):
        yield _report(dice), _machine(dice, number)


def _report(dice: random.Random) -> dict[str, Any]:
    symptoms, weights = zip(*ORDINARY.items(), strict=True)
    asked = dice.sample(sorted(SAID), dice.randint(1, 6))
    return {
        "symptoms": dice.choices(symptoms, weights),
        "reported_at": (AS_OF - timedelta(minutes=dice.randrange(2000))).isoformat(),
        "answers": {fact: dice.choice(SAID[fact]) for fact in asked},
    }


def _machine(dice: random.Random, number: int) -> dict[str, Any]:
    model = dice.choice(("LH-20", "LH-30"))
    shipped = (AS_OF - timedelta(days=dice.randint(90, 2000))).date()
    days = (AS_OF.date() - shipped).days
    cleaned = AS_OF - timedelta(days=dice.randint(2, 28))
    return {
        "serial": f"{model.replace('-', '')}-{30000 + number}",
        "model": model,
        "shipped_on": shipped.isoformat(),
        "commissioned_on": (shipped + timedelta(days=dice.randint(10, 60))).isoformat(),
        "contractor": dice.choice(("brightwater", "fogline", "tern_and_daughters")),
        "price": "3150.00 USD" if model == "LH-20" else "4280.00 USD",
        "site": {
            "id": f"halt-{number % 42 + 1:03d}",
            "name": "Lanternway Example Halt",
            "town": "Example",
            "timezone": dice.choice(("America/New_York", "America/Chicago")),
            "distance_km": dice.randint(4, 140),
        },
        "facts": {
            "dedicated_circuit": dice.random() < 0.85,
            "extension_cord": dice.random() < 0.08,
            "clearance_behind_in": dice.choice((3, 6, 7, 8)),
            "bolt_removed": True,
            "night_mode_hours": dice.choice((0, 2, 4, 6)),
        },
        "care": [{"kind": "filter_cleaned", "at": cleaned.isoformat(), "by": "store"}],
        "repairs": [
            {
                "at": (AS_OF - timedelta(days=dice.randint(10, min(360, days - 65)))).isoformat(),
                "ticket": f"T-{number:04d}-{visit}",
                "cause": dice.choice(("dirty_filter", "hopper_seal_pinched", "weak_circuit")),
                "cost": f"{dice.randint(120, 240)}.00 USD",
            }
            for visit in range(dice.choice((0, 0, 0, 1, 2)) if days > 90 else 0)
        ],
    }
