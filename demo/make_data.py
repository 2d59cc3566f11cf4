"""Makes the demo's records: `python -m demo.make_data [FOLDER]`.

Everything is invented: sites, machines, contractors, serials, phone numbers (555-01xx) and history. A fixed
seed makes the same files every time; dates count back from `AS_OF`, which BARRELWISE_DEMO_DAY sets.
"""

from __future__ import annotations

import csv
import os
import random
import sys
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

SEED = 20
WRITTEN = date(2026, 11, 20)  # the day of the records in `records/` and of the reports
AS_OF = date.fromisoformat(os.environ.get("BARRELWISE_DEMO_DAY", WRITTEN.isoformat()))
EASTERN, CENTRAL = "America/New_York", "America/Chicago"

HALTS = {
    EASTERN: (
        "Alder Quay", "Birch Landing", "Cooper's Slip", "Dunmere Halt", "Eastreach Pier", "Fennel Cross",
        "Gull Point", "Harrow Halt", "Inlet Road", "Juniper Wharf", "Kestrel Halt", "Lowtide Pier",
        "Marram Landing", "North Ferry", "Oxbow Halt", "Pebble Quay", "Quince Street", "Ropewalk Halt",
        "Saltmarsh Pier", "Tidewater Halt", "Underhill Halt", "Vane Landing",
    ),
    CENTRAL: (
        "Willow Halt", "Yarrow Junction", "Ashgrove Halt", "Bellows Crossing", "Cinder Lane", "Drover's Halt",
        "Elm Junction", "Fallow Halt", "Granary Crossing", "Hollow Halt", "Ironbridge Halt", "Jackdaw Lane",
        "Kiln Halt", "Larkspur Junction", "Millrace Halt", "Nettle Crossing", "Orchard Halt", "Plover Halt",
        "Reedbed Landing", "Stonecrop Halt",
    ),
}  # fmt: skip

CONTRACTORS = (
    ("brightwater", "Brightwater Field Repair", "555-0161", (EASTERN,), "Type I", 6),
    ("fogline", "Fogline Refrigeration", "555-0162", (EASTERN, CENTRAL), "Universal", 4),
    ("tern_and_daughters", "Tern & Daughters", "555-0163", (CENTRAL,), "Type II", 3),
)
ACCESS = (("06:00", "22:00"), ("05:30", "23:00"), ("07:00", "20:00"))
"""When the stores that close let a technician in."""

DEPOTS = ("Lanternway Stores East", "Lanternway Stores Midland")
DEPOT_UNITS = (
    # serial, model, amps, seal style, days ready before AS_OF, days shipped before AS_OF, depot
    ("LH20-20001", "LH-20", 20, "grooved", 45, 90, 0),
    ("LH20-20002", "LH-20", 20, "flat", 30, 90, 0),
    ("LH20-20003", "LH-20", 15, "grooved", 12, 400, 1),
    ("LH20-20004", "LH-20", 20, "grooved", -9, 20, 1),
    ("LH30-20005", "LH-30", 20, "grooved", 60, 120, 0),
    ("LH30-20006", "LH-30", 20, "flat", 21, 75, 1),
)
"""Units to be sent for a machine that is exchanged; one is ready only later."""

PRICES = {"LH-20": "3150.00 USD", "LH-30": "4280.00 USD"}
CAUSES_SEEN = (
    ("dirty_filter", 30), ("low_fill", 14), ("hopper_seal_pinched", 12), ("night_mode_missing", 10),
    ("weak_circuit", 6), ("blocked_clearance", 7), ("wrong_mix", 6), ("compressor_worn", 3), ("", 12),
)  # fmt: skip
Row = Mapping[str, object]

STORY_MACHINES = (
    # serial, model, shipped, commissioned, site, contractor, costs of repairs by days before AS_OF
    ("LH20-10201", "LH-20", date(2026, 1, 12), date(2026, 2, 2), "halt-003", "brightwater", ()),
    ("LH30-10202", "LH-30", date(2020, 9, 1), date(2020, 10, 5), "halt-004", "fogline", ()),
    (
        "LH20-10203", "LH-20", date(2021, 2, 18), date(2021, 3, 20), "halt-005", "brightwater",
        ((40, "gearmotor_worn", "655.00"), (105, "start_parts_weak", "402.10"),
         (176, "fan_failed", "318.00"), (276, "gearmotor_worn", "612.40")),
    ),
    ("LH20-10204", "LH-20", date(2024, 5, 6), date(2024, 6, 3), "halt-030", "tern_and_daughters", ()),
)  # fmt: skip
"""Machines that the hand-written reports are about; well set up, so that the report decides."""


def make() -> dict[str, list[Row]]:
    """The rows of every file, by file name."""
    dice = random.Random(SEED)
    sites, machines, care, repairs = [], [], [], []
    names = [(zone, name) for zone, found in HALTS.items() for name in found]
    for number, (zone, name) in enumerate(names, start=1):
        site = _site(dice, number, zone, name)
        sites.append(site)
        for _ in range(3 if number <= 36 else 2):
            machine = _machine(dice, len(machines) + 1, site, zone)
            machines.append(machine)
            care += _care(dice, machine, zone)
            repairs += _repairs(dice, machine, zone)
    for serial, model, *days, site_id, contractor, past in STORY_MACHINES:
        shipped, commissioned = (day + (AS_OF - WRITTEN) for day in days)
        machine = _story_machine(serial, model, shipped, commissioned, site_id, contractor)
        machines.append(machine)
        care.append(_care_row(machine, "commissioned", f"{commissioned}T15:00:00+00:00", "installer"))
        for days_ago, cause, cost in past:
            at = f"{AS_OF - timedelta(days=days_ago)}T15:00:00+00:00"
            repairs.append(_repair_row(machine, at, f"OLD-{days_ago:05d}", cause, f"{cost} USD"))
    contractors = [
        {
            "id": key,
            "name": name,
            "phone": phone,
            "serves": "; ".join(zones),
            "skills": "general; electrical; refrigeration",
            "certificate": certificate,
            "visits_a_day": visits,
        }
        for key, name, phone, zones, certificate, visits in CONTRACTORS
    ]
    return {
        "sites.csv": sites,
        "contractors.csv": contractors,
        "machines.csv": machines,
        "care.csv": care,
        "repairs.csv": repairs,
        "depot.csv": [_depot_row(*unit) for unit in DEPOT_UNITS],
    }


def _depot_row(serial: str, model: str, amps: int, seal: str, ready: int, shipped: int, depot: int) -> Row:
    return {
        "serial": serial,
        "model": model,
        "volts": 115,
        "amps": amps,
        "seal_style": seal,
        "ready_since": AS_OF - timedelta(days=ready),
        "depot": DEPOTS[depot],
        "shipped_on": AS_OF - timedelta(days=shipped),
        "commissioned_on": "",
        "price": PRICES[model],
    }


def _site(dice: random.Random, number: int, zone: str, name: str) -> dict[str, object]:
    site = {
        "id": f"halt-{number:03d}",
        "name": f"Lanternway {name}",
        "town": name.split()[0].removesuffix("'s"),
        "timezone": zone,
        "phone": f"555-01{number % 60:02d}",
        "distance_km": dice.randint(4, 140),
        "open_around_the_clock": "true" if dice.random() < 0.2 else "false",
    }
    opens, closes = ("", "") if site["open_around_the_clock"] == "true" else ACCESS[number % len(ACCESS)]
    return {**site, "access_from": opens, "access_until": closes}


def _machine(dice: random.Random, number: int, site: Row, zone: str) -> dict[str, object]:
    model = dice.choice(("LH-20", "LH-30"))
    shipped = AS_OF - timedelta(days=dice.randint(60, 2200))
    commissioned = shipped + timedelta(days=dice.randint(7, 70))
    serves = [key for key, _, _, zones, *_ in CONTRACTORS if zone in zones]
    seal = dice.choice(("grooved", "flat"))
    right = "hopper" if seal == "grooved" else "machine"
    wrong = "machine" if right == "hopper" else "hopper"
    return {
        "serial": f"{model[:2]}{model[3:]}-{10000 + number}",
        "model": model,
        "shipped_on": shipped,
        "commissioned_on": commissioned,
        "site": site["id"],
        "contractor": dice.choice(serves),
        "asset_tag": f"LW-{number:04d}",
        "price": PRICES[model],
        "fact.dedicated_circuit": "true" if dice.random() < 0.85 else "false",
        "fact.extension_cord": "true" if dice.random() < 0.08 else "false",
        "fact.clearance_behind_in": dice.choice((3, 6, 6, 7, 8, 10)),
        "fact.bolt_removed": "true" if dice.random() < 0.97 else "false",
        "fact.seal_style": seal,
        "fact.seal_mounting": right if dice.random() < 0.95 else wrong,
        "fact.night_mode_hours": dice.choice((0, 2, 4, 5, 6, 6, 7)),
    }


def _story_machine(
    serial: str, model: str, shipped: date, commissioned: date, site: str, contractor: str
) -> dict[str, object]:
    return {
        "serial": serial,
        "model": model,
        "shipped_on": shipped,
        "commissioned_on": commissioned,
        "site": site,
        "contractor": contractor,
        "asset_tag": f"LW-9{serial[-3:]}",
        "price": PRICES[model],
        "fact.dedicated_circuit": "true",
        "fact.extension_cord": "false",
        "fact.clearance_behind_in": 8,
        "fact.bolt_removed": "true",
        "fact.seal_style": "grooved",
        "fact.seal_mounting": "hopper",
        "fact.night_mode_hours": 6,
    }


def _at(dice: random.Random, day: date, zone: str) -> str:
    local = datetime.combine(day, time(dice.randint(7, 19), dice.randrange(60)), ZoneInfo(zone))
    return local.astimezone(UTC).isoformat()


def _care(dice: random.Random, machine: Row, zone: str) -> Iterable[Row]:
    commissioned = machine["commissioned_on"]
    assert isinstance(commissioned, date)
    yield _care_row(machine, "commissioned", _at(dice, min(commissioned, AS_OF), zone), "installer")
    gap = dice.choice((13, 15, 15, 18, 26, 45))
    day = max(commissioned, AS_OF - timedelta(days=120))
    while (day := day + timedelta(days=max(5, round(dice.gauss(gap, 3))))) < AS_OF:
        kind = "fully_cleaned" if dice.random() < 0.45 else "filter_cleaned"
        yield _care_row(machine, kind, _at(dice, day, zone), "store")


def _care_row(machine: Row, kind: str, at: str, by: str) -> Row:
    return {"serial": machine["serial"], "kind": kind, "at": at, "by": by}


def _repairs(dice: random.Random, machine: Row, zone: str) -> Iterable[Row]:
    commissioned = machine["commissioned_on"]
    assert isinstance(commissioned, date)
    years = max(0.0, (AS_OF - commissioned).days / 365)
    names, weights = zip(*CAUSES_SEEN, strict=True)
    for _ in range(sum(dice.random() < 0.45 for _ in range(1 + int(years * 2)))):
        day = commissioned + timedelta(days=dice.randint(1, max(2, (AS_OF - commissioned).days - 1)))
        if day >= AS_OF:
            continue
        at, ticket = _at(dice, day, zone), f"OLD-{dice.randint(10000, 99999)}"
        cost = f"{dice.randint(140, 620)}.{dice.randint(0, 99):02d} USD"
        yield _repair_row(machine, at, ticket, dice.choices(names, weights)[0], cost)


def _repair_row(machine: Row, at: str, ticket: str, cause: str, cost: str) -> Row:
    return {"serial": machine["serial"], "at": at, "ticket": ticket, "cause": cause, "cost": cost}


def write(folder: Path) -> None:
    """Writes every file into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in make().items():
        write_rows(folder / name, rows)


def write_rows(path: Path, rows: Sequence[Row]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "records")
