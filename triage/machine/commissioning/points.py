"""Points of an installation that the rulebook alone judges, by what is wanted of each."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from triage.logic.conditions import Scalar, holds
from triage.logic.unary_text import text_of_test
from triage.machine.commissioning.placement import Finding, Line
from triage.records.report import Machine
from triage.rulebook.installation import JUDGED, Installation, Point


def point_findings(
    installation: Installation, values: Mapping[str, Scalar] | None, machine: Machine
) -> Iterator[Finding]:
    """Each point, judged; none where the checklist is from before there were any."""
    if values is not None:
        for point in installation.points.values():
            if point.id not in JUDGED:
                yield _judged(point, values.get(point.id), machine)


def _judged(point: Point, value: Scalar | None, machine: Machine) -> Finding:
    on_record = {"serial": machine.serial, "asset_tag": machine.asset_tag}
    wanted = on_record[point.same_as] if point.same_as else _wanted_words(point)
    line = Line(point.id, point.title, wanted)
    if value is None or value == "":
        return line.missing(point.title)
    field = point.fields[0]
    if point.same_as is not None:
        ok = _plain(str(value)) == _plain(wanted)
    else:
        of_its_type = isinstance(value, _TYPES.get(field.type, str))
        ok = of_its_type and (point.wanted is None or holds(point.wanted, value))
    return line.judged(ok, _shown(value, field.choices), point.fix)


_TYPES: Mapping[str, type] = {"flag": bool, "number": Decimal}


def _wanted_words(point: Point) -> str:
    text = "-" if point.wanted is None else text_of_test(point.wanted)
    words = {"true": "yes", "false": "no", "-": "written down"}
    return words.get(text, point.fields[0].choices.get(text.strip('"'), text))


def _shown(value: Scalar, choices: Mapping[str, str]) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:f}" if isinstance(value, Decimal) else choices.get(str(value), str(value))


def _plain(text: str) -> str:
    return "".join(sign for sign in text.casefold() if sign.isalnum())
