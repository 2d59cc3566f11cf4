"""The rest of two years: installations, training and the care log, played before the tickets.

Installed is what the records have as commissioned in that time and well set up; what an installer measures is
what the record says. One installation of four leaves something open that does not block, one of nine fails at
first and is called back. At the end one is planned, one is under way, and one failed. Most of the fleet is in
order then: of twelve machines one has care overdue, and of eight stores one is to be trained again.
"""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any, cast
from zoneinfo import ZoneInfo

from PIL import Image

from triage.records.caller import Caller
from triage.records.report import CareEvent, CareKind, Machine
from triage.service.installs import jobs, training, view
from triage.service.photos import kept
from triage.service.service import Service

SEED = 21
DESK = Caller("Odile", "ops")
NAMES = tuple(
    f"{first} {last}"
    for first in ("Ana", "Ben", "Dana", "Eli", "Fay", "Gus", "Hana", "Ivo", "June", "Lena", "Moss", "Nia")
    for last in ("Birch", "Cove", "Dale", "Fenn", "Hollow", "Marsh")
)
SMALL_FAULTS: tuple[dict[str, Any], ...] = (
    {"points/tray_in": False},
    {"points/thickness_set": "thick"},
    {"points/lights_on": False},
    {"points/reminder_off": False},
)
SELDOM_CARED_FOR, SELDOM_TRAINED = 12, 8
LEAKS = {"water_test/leaked": True}


@dataclass
class Lives:
    service: Service
    move: Callable[[datetime], None]
    dice: random.Random

    def install(self, machine: Machine, at: datetime, wrong: dict[str, Any], ends: str = "live") -> None:
        """One installation on the day of `at`; `ends` may also be `call_back` or `in_work`."""
        van = Caller(f"{machine.contractor} van", "technician", contractor=machine.contractor)
        assert machine.site is not None
        self.move(at - timedelta(days=9))
        made = jobs.plan(self.service, {"site": machine.site.id, "machine": machine.serial}, DESK).install.id
        self.move(at - timedelta(days=8))
        self._step(made, "survey", van, answers=self._answers("survey", machine))
        self._step(made, "date", van, at=at.isoformat(), technician="Ray")
        self.move(at)
        kit = {one.id: one.count for one in self.service.rulebook.installation.kit_of(machine.model)}
        if ends == "in_work":
            self._step(made, "kit", van, counts={**kit, "leg": 3})
            return
        self._step(made, "kit", van, counts=kit)
        self.move(at + timedelta(hours=2))
        self._step(made, "set_up", van, answers=self._answers("set_up", machine) | wrong)
        people = self.dice.sample(NAMES, 2)
        topics = list(self.service.rulebook.installation.topics)
        self._step(made, "training", van, people=people, topics=topics, watched=True, signed=people[0])
        self._step(made, "hand_over", van, answers=self._answers("hand_over", machine))
        for shade in range(3):
            kept.add(self.service, made, _photo(self.dice.randrange(256), shade), van, view.ALBUM)
        self._step(made, "finish", van)
        if wrong == LEAKS and ends == "live":
            self._step(made, "date", van, at=(at + timedelta(days=2)).isoformat())
            self.move(at + timedelta(days=2))
            self._step(made, "set_up", van, answers={"water_test/leaked": False})
            self._step(made, "finish", van)

    def _step(self, made: str, name: str, who: Caller, **told: Any) -> None:
        jobs.step(self.service, made, {"step": name, **told}, who)

    def _answers(self, stage: Any, machine: Machine) -> dict[str, Any]:
        assert machine.site is not None
        known = {
            "circuit/amps": 20,
            "circuit/volts": self.dice.choice((117.5, 118, 119.5, 121)),
            "circuit/extension_cord": False,
            "clearance/behind_in": int(str(machine.facts["clearance_behind_in"])),
            "clearance/left_in": 4,
            "clearance/right_in": 4,
            "points/signs_allowed": True,
            "points/bolt_kept_by": "the store's lead",
            "legs/depth_in": 18 if machine.model == "LH-20" else 20,
            "legs/width_in": 15 if machine.model == "LH-20" else 18,
            "seal/style": machine.facts["seal_style"],
            "seal/mounting": machine.facts["seal_mounting"],
            "water_test/leaked": False,
            "clock/timezone": machine.site.timezone,
            "night_mode/start": "23:00",
            "night_mode/end": "04:00",
            "points/thickness_set": "middle",
            "points/serial_read_back": machine.serial,
            "points/asset_tag_read_back": machine.asset_tag,
        }
        answers: dict[str, Any] = {}
        for point in self.service.rulebook.installation.of_stage(stage):
            for field in point.fields:
                usual = ["06:00", "22:30"] if field.type == "hours" else 4 if field.type == "number" else True
                answers[field.place] = known.get(field.place, usual)
        return answers

    def train(self, site: str, at: datetime, *, leaves: bool) -> None:
        """Somebody of a store, who may have left since."""
        self.move(at)
        topics, person = list(self.service.rulebook.installation.topics), self.dice.choice(NAMES)
        told = {"site": site, "people": [person], "topics": topics, "signed": person, "by": "Ray"}
        number = training.note(self.service, told, DESK).found.here[0].id
        if leaves:
            self.move(at + timedelta(days=20))
            training.left(self.service, number, {}, DESK)


def play(service: Service, move: Callable[[datetime], None], begin: datetime, until: datetime) -> None:
    """All of it, between two times; `move` sets the clock."""
    dice = random.Random(SEED)
    lives = Lives(service, move, dice)
    with service.store.write() as work:
        fleet = work.machines.all()
        for machine in fleet:
            work.care.add_care(machine.serial, _care(dice, machine, begin, until - timedelta(days=120)))
    good = [machine for machine in fleet if _well_set_up(machine)]
    ready = sorted(good, key=lambda one: (str(one.commissioned_on), one.serial))
    for number, machine in enumerate(one for one in ready[:-2] if _at(one) > begin + timedelta(days=10)):
        if _at(machine) < until - timedelta(days=12):
            wrong = LEAKS if number % 9 == 4 else SMALL_FAULTS[number % 4] if number % 4 == 1 else {}
            lives.install(machine, _at(machine), wrong)
    for machine, wrong, ends in zip(ready[-2:], ({}, LEAKS), ("in_work", "call_back"), strict=False):
        lives.install(machine, until - timedelta(hours=30), wrong, ends)
    sites = sorted({machine.site.id for machine in fleet if machine.site is not None})
    for number, site in enumerate(sites):
        lives.train(site, until - timedelta(days=dice.randint(25, 355)), leaves=number % SELDOM_TRAINED == 3)
    move(until - timedelta(hours=20))
    jobs.plan(service, {"site": sites[1], "model": "LH-20", "contractor": "fogline"}, DESK)


def keep_up(service: Service, until: datetime, but: Collection[str]) -> None:
    """The last month's care of the machines that are looked after, all `but` some."""
    dice = random.Random(SEED)
    with service.store.write() as work:
        for number, machine in enumerate(work.machines.all()):
            if machine.site is None or machine.serial in but or number % SELDOM_CARED_FOR == 5:
                continue
            signed = {"signed": dice.choice(NAMES)}
            days = {"fully_cleaned": dice.randint(2, 25), "filter_cleaned": dice.randint(1, 12)}
            begun = _at(machine) if machine.commissioned_on is not None else until
            done = [(kind, until - timedelta(days=back, hours=9)) for kind, back in days.items()]
            work.care.add_care(
                machine.serial,
                [CareEvent(cast(CareKind, kind), at, "store", signed) for kind, at in done if at > begun],
            )


def _at(machine: Machine) -> datetime:
    """Nine in the morning of the day on which it was commissioned, at the store."""
    assert machine.site is not None
    assert machine.commissioned_on is not None
    local = datetime.combine(machine.commissioned_on, time(9), ZoneInfo(machine.site.timezone))
    return local.astimezone(UTC)


def _well_set_up(machine: Machine) -> bool:
    facts = machine.facts
    return (
        facts["dedicated_circuit"] is True
        and facts["extension_cord"] is False
        and facts["bolt_removed"] is True
        and facts["clearance_behind_in"] >= 6  # type: ignore[operator]
        and (facts["seal_style"] == "grooved") == (facts["seal_mounting"] == "hopper")
        and facts["night_mode_hours"] >= 4  # type: ignore[operator]
        and machine.site is not None
        and not machine.site.open_around_the_clock
    )


def _care(dice: random.Random, machine: Machine, begin: datetime, until: datetime) -> Iterator[CareEvent]:
    """What a store wrote down before the records' own care log begins, by its habit."""
    gap, who = dice.choice((13, 15, 15, 18, 26, 45)), dice.choice(NAMES)
    at = max(begin, _at(machine))
    while (
        at := at + timedelta(days=max(5, round(dice.gauss(gap, 3))), minutes=dice.randint(-180, 180))
    ) < until:
        kind: CareKind = "fully_cleaned" if dice.random() < 0.45 else "filter_cleaned"
        yield CareEvent(kind, at, "store", {"signed": who})


def _photo(shade: int, number: int) -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (64, 48), (shade, 80 * number, 255 - shade)).save(made, "JPEG")
    return made.getvalue()
