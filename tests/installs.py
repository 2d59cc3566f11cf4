"""A rulebook with the points of an installation, and answers that pass all of them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.triage.services import rulebook_files
from triage.rulebook.reading.reader import rulebook_files_data
from triage.values.json_text import to_json

RULES = Path(__file__).parents[1] / "rules"


def install_files() -> dict[str, object]:
    """The minimal rulebook with the default `installation.yml`; no photos are asked for."""
    data: Any = json.loads(to_json(rulebook_files_data(RULES)["installation.yml"]))
    points = [{key: one for key, one in point.items() if key != "fact"} for point in data["points"]]
    return rulebook_files(**{"installation.yml": {**data, "points": points, "least_photos": 0}})


SURVEY: dict[str, Any] = {
    "circuit/dedicated": True,
    "circuit/amps": 20,
    "circuit/volts": 119.5,
    "circuit/extension_cord": False,
    "points/counter_carries": True,
    "clearance/behind_in": 8,
    "clearance/left_in": 4,
    "clearance/right_in": 4,
    "points/water_near": True,
    "points/signs_allowed": False,
}
SET_UP: dict[str, Any] = {
    "points/support_frame": True,
    "shipping_bolt_removed": True,
    "points/bolt_kept_by": "Dana, store lead",
    **{f"legs/{leg}_in": 4 for leg in ("front_left", "front_right", "back_left", "back_right")},
    "legs/depth_in": 18,
    "legs/width_in": 15,
    "seal/style": "grooved",
    "seal/mounting": "hopper",
    **{
        f"points/{point}": True
        for point in ("auger_engaged", "taps_close", "tray_in", "sensor_reads", "lights_on", "lids_fit")
    },
    **{f"points/{point}": True for point in ("sanitized", "first_mix", "freeze_on", "reminder_off")},
    "water_test/before_first_fill": True,
    "water_test/leaked": False,
    "clock/right": True,
    "clock/timezone": "America/New_York",
    "night_mode/start": "23:00",
    "night_mode/end": "04:00",
    "opening/mon,tue,wed,thu,fri": ["05:30", "22:30"],
    "opening/sat": ["07:00", "22:00"],
    "opening/sun": "closed",
    "points/thickness_set": "middle",
}
HAND_OVER: dict[str, Any] = {
    "points/care_guide_left": True,
    "points/number_left": True,
    "points/serial_read_back": "lh20 1",
    "points/asset_tag_read_back": "LW-0001",
}
TRAINING: dict[str, Any] = {
    "people": ["Dana", "Ray"],
    "topics": ["fill", "clean"],
    "watched": True,
    "signed": "Dana",
}
COUNTS: dict[str, int] = {
    "hopper": 2,
    "auger": 2,
    "hopper_seal": 2,
    "tap": 2,
    "tap_ring": 2,
    "leg": 4,
    "drip_tray": 1,
    "filter": 1,
    "cleaning_kit": 1,
    "manual": 1,
}
PLAN: dict[str, Any] = {"site": "halt-001", "machine": "LH20-1"}
DATE: dict[str, Any] = {"step": "date", "at": "2026-03-03T09:00:00-05:00"}
WORK: tuple[dict[str, Any], ...] = (
    {"step": "kit", "counts": COUNTS},
    {"step": "set_up", "answers": SET_UP},
    {"step": "training", **TRAINING},
    {"step": "hand_over", "answers": HAND_OVER},
)
ALL: tuple[dict[str, Any], ...] = ({"step": "survey", "answers": SURVEY}, DATE, *WORK, {"step": "finish"})
"""The steps from the plan to live."""
