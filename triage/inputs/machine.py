"""Reads a machine file: the machine's record, its care log and its past repairs."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any, get_args

from triage.inputs.reader import MOST_NAME, InputReader
from triage.records.report import CareEvent, CareKind, History, Machine, PastRepair, Site
from triage.rulebook.model import Rulebook
from triage.schedule.service_hours import check_access
from triage.values.errors import InputError
from triage.values.shown import hint
from triage.values.time_zones import UTC_NAME

MACHINE_KEYS = (
    "serial",
    "model",
    "shipped_on",
    "commissioned_on",
    "site",
    "contractor",
    "asset_tag",
    "price",
    "facts",
    "care",
    "repairs",
)
SITE_KEYS = (
    "id",
    "name",
    "town",
    "timezone",
    "phone",
    "distance_km",
    "open_around_the_clock",
    "access_from",
    "access_until",
    "email",
)


def read_machine(data: object, rulebook: Rulebook) -> tuple[Machine, History]:
    """A machine's record and history from a machine file's data. Raises InputError listing every problem."""
    read = InputReader(rulebook)
    top = read.mapping(data, "", MACHINE_KEYS, "the machine file")
    for key in ("serial", "model", "shipped_on"):
        if top.get(key) is None:
            read.problem(f"`{key}` is missing", f"/{key}")
    shipped_on = read.day(top.get("shipped_on"), "/shipped_on")
    commissioned_on = read.day(top.get("commissioned_on"), "/commissioned_on")
    if shipped_on is not None and commissioned_on is not None and commissioned_on < shipped_on:
        message = f"commissioned on {commissioned_on}, before the machine was shipped on {shipped_on}"
        read.problem(message, "/commissioned_on")
    price = top.get("price")
    machine = Machine(
        serial=read.name(top.get("serial"), "/serial") or "",
        model=read.name(top.get("model"), "/model") or "",
        shipped_on=shipped_on or date.min,
        commissioned_on=commissioned_on,
        site=_site(read, top.get("site"), "/site"),
        contractor=read.name(top.get("contractor"), "/contractor"),
        asset_tag=read.text(top.get("asset_tag"), "/asset_tag", MOST_NAME),
        price=None if price is None else read.money(price, "/price"),
        facts=read.facts(top.get("facts"), "/facts", computed=True),
    )
    care = read.each(top.get("care"), "/care", partial(_care, read))
    repairs = read.each(top.get("repairs"), "/repairs", partial(_repair, read))
    read.finish()
    return machine, History(care=tuple(care), repairs=tuple(repairs))


def _site(read: InputReader, raw: object, pointer: str) -> Site | None:
    if raw is None:
        return None
    item = read.mapping(raw, pointer, SITE_KEYS, "a site")
    if not isinstance(raw, Mapping):
        return None
    for key in ("id", "name", "timezone"):
        if item.get(key) is None:
            read.problem(f"`{key}` is missing", f"{pointer}/{key}")
    distance = item.get("distance_km", 0)
    if isinstance(distance, Decimal) and distance == distance.to_integral_value():
        distance = int(distance)
    if isinstance(distance, bool) or not isinstance(distance, int) or not 0 <= distance <= 20_000:
        read.problem("the distance is a whole number of km, 0 to 20000", f"{pointer}/distance_km")
        distance = 0
    around = item.get("open_around_the_clock")
    return Site(
        id=read.name(item.get("id"), f"{pointer}/id") or "",
        name=read.name(item.get("name"), f"{pointer}/name") or "",
        town=read.text(item.get("town"), f"{pointer}/town", MOST_NAME),
        timezone=read.zone(item.get("timezone"), f"{pointer}/timezone") or UTC_NAME,
        phone=read.text(item.get("phone"), f"{pointer}/phone", MOST_NAME),
        distance_km=distance,
        open_around_the_clock=read.flag(around, f"{pointer}/open_around_the_clock") or False,
        email=read.email(item.get("email"), f"{pointer}/email"),
        **_access(read, item, pointer),
    )


def _access(read: InputReader, item: Mapping[str, Any], pointer: str) -> dict[str, str]:
    """The access hours: both times or neither."""
    found = {key: item.get(key) or "" for key in ("access_from", "access_until")}
    for key, text in found.items():
        if not isinstance(text, str):
            read.problem('a time of day is a text such as "07:00"', f"{pointer}/{key}")
            return {}
    try:
        check_access(found["access_from"], found["access_until"])
    except InputError as error:
        read.problem(error.problems[0].message, f"{pointer}/access_from")
        return {}
    return found


def _care(read: InputReader, raw: object, pointer: str) -> CareEvent | None:
    item = read.mapping(raw, pointer, ("kind", "at", "by", "details"), "a line of the care log")
    if not isinstance(raw, Mapping):
        return None
    at = read.moment(item.get("at"), f"{pointer}/at")
    by = read.text(item.get("by"), f"{pointer}/by", MOST_NAME)
    details = item.get("details") or {}
    if not isinstance(details, Mapping):
        read.problem("details are an object", f"{pointer}/details")
        details = {}
    kinds: tuple[CareKind, ...] = get_args(CareKind)
    for kind in kinds:
        if item.get("kind") == kind:
            return CareEvent(kind, at, by, dict(details))
    fix = hint(str(item.get("kind")), kinds, f"; kinds are {', '.join(kinds)}")
    read.problem(f'"{str(item.get("kind"))[:60]}" is no kind of care{fix}', f"{pointer}/kind")
    return None


def _repair(read: InputReader, raw: object, pointer: str) -> PastRepair | None:
    item = read.mapping(raw, pointer, ("at", "ticket", "cause", "cost"), "a past repair")
    if not isinstance(raw, Mapping):
        return None
    at = read.moment(item.get("at"), f"{pointer}/at")
    ticket = read.name(item.get("ticket"), f"{pointer}/ticket") or ""
    # A cause that a later rulebook no longer names is history all the same.
    cause = read.name(item.get("cause"), f"{pointer}/cause")
    cost = read.money(item.get("cost"), f"{pointer}/cost")
    return None if cost is None else PastRepair(at, ticket, cause, cost)
