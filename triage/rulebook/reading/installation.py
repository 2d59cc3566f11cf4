"""The shape of `installation.yml`, and how it is read."""

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field as Bounds

from triage.logic.unary_tests import UnaryTestError, parse
from triage.rulebook.installation import JUDGED, PLACES, Field, FieldType, Installation, KitItem, Point, Stage
from triage.rulebook.reading.problems import Names
from triage.rulebook.reading.table_shapes import Id, Shape, TestText, Text
from triage.values.plain_data import Path
from triage.values.shown import hint

POINTS = "points/"
"""Where in a checklist the points stand that the rulebook alone judges."""


class FieldShape(Shape):
    place: str
    ask: Text
    ask_es: Text | None = None
    choices: dict[Id, Text] = {}
    choices_es: dict[Id, Text] | None = None


class PointShape(Shape):
    """A point with `ask` is judged by `wanted` or `same_as`; one with `fields` by the program itself."""

    id: Id
    title: Text
    title_es: Text | None = None
    stage: Stage
    ask: Text | None = None
    ask_es: Text | None = None
    type: Literal["flag", "number", "choice", "text"] = "flag"
    choices: dict[Id, Text] = {}
    choices_es: dict[Id, Text] | None = None
    wanted: TestText = True
    same_as: Literal["serial", "asset_tag"] | None = None
    fields: list[FieldShape] = []
    fix: Text
    fix_es: Text | None = None
    blocks: bool = True
    days: Annotated[int, Bounds(ge=1, le=365)] = 14
    fact: Id | None = None


class KitShape(Shape):
    id: Id
    title: Text
    title_es: Text | None = None
    count: Annotated[int, Bounds(ge=1, le=100)] = 1
    models: list[str] = []


class TopicShape(Shape):
    id: Id
    title: Text
    title_es: Text | None = None


class InstallationFile(Shape):
    """installation.yml; it may be left out"""

    call_back_days: Annotated[int, Bounds(ge=1, le=60)] = 3
    training_days: Annotated[int, Bounds(ge=1, le=3650)] = 365
    points: list[PointShape]
    kit: list[KitShape] = []
    topics: list[TopicShape] = []
    least_photos: Annotated[int, Bounds(ge=0, le=10)] = 0

    def worded(self) -> Iterator[Shape]:
        """The parts that say something in both languages."""
        for point in self.points:
            yield point
            yield from point.fields
        yield from self.kit
        yield from self.topics


def read_installation(names: Names, file: str, shape: InstallationFile) -> Installation:
    parts: tuple[tuple[str, list[PointShape] | list[KitShape] | list[TopicShape]], ...]
    parts = (("points", shape.points), ("kit", shape.kit), ("topics", shape.topics))
    for key, entries in parts:
        ids = [each.id for each in entries]
        for index, each in enumerate(ids):
            if each in ids[:index]:
                names.problems.at(file, (key, index, "id"), f'"{each}" stands here twice; keep one')
    points = {each.id: _point(names, file, index, each) for index, each in enumerate(shape.points)}
    kit = {each.id: each.as_record(KitItem) for each in shape.kit}
    topics = {each.id: each.title for each in shape.topics}
    return shape.as_record(Installation, points=points, kit=kit, topics=topics)


def _point(names: Names, file: str, index: int, shape: PointShape) -> Point:
    here: Path = ("points", index)
    if (shape.id in JUDGED) != (shape.ask is None):
        message = (
            "the program judges this point itself; give its `fields` instead of `ask`"
            if shape.id in JUDGED
            else "`ask` is missing: what is the installer asked?"
        )
        names.problems.at(file, here, message)
    fields = tuple(
        Field(one.place, one.ask, _type_of(names, file, (*here, "fields", number), one.place), one.choices)
        for number, one in enumerate(shape.fields)
    )
    wanted = None
    if shape.ask is not None:
        fields = (Field(f"{POINTS}{shape.id}", shape.ask, shape.type, shape.choices),)
        try:
            wanted = parse(shape.wanted, shape.type, shape.choices) if shape.same_as is None else None
        except UnaryTestError as error:
            names.problems.at(file, (*here, "wanted"), error.message, column=error.column)
    if shape.fact is not None:
        fact = names.fact(shape.fact, file, (*here, "fact"))
        if fact is not None and fact.type != shape.type:
            message = f"{fact.id} is a {fact.type}, and this point a {shape.type}"
            names.problems.at(file, (*here, "fact"), message)
    return shape.as_record(Point, fields=fields, wanted=wanted)


def _type_of(names: Names, file: str, path: Path, place: str) -> FieldType:
    types = {PLACES.get(line) for line in Field(place, "").lines()}
    found = types.pop()
    if found is None or types:
        fix = hint(place, PLACES, f"; lines are {', '.join(PLACES)}")
        names.problems.at(file, path, f'a checklist has no line "{place[:60]}"{fix}')
    return found or "text"
