"""The files of a load and what stands in their columns; the templates and the README are made from this."""

from collections.abc import Mapping

COLUMNS: Mapping[str, Mapping[str, str]] = {
    "sites": {
        "id*": "a short name that stays, such as halt-001",
        "name*": "the name of the store",
        "town*": "its town",
        "timezone*": "by place, such as America/Chicago; not CST, which has no summer time",
        "phone": "",
        "distance_km": "whole kilometers from the contractor's base",
        "open_around_the_clock": "true or false",
        "access_from": "from when somebody is let in, such as 07:00; with access_until",
        "access_until": "until when; both empty: at any time",
        "email": "where reminders of care go",
    },
    "contractors": {
        "id*": "a short name that stays; the rate agreement and the limits name it",
        "name*": "",
        "phone": "",
        "serves": "time zones and site ids, such as America/Chicago; halt-030",
        "skills": "of general; electrical; refrigeration",
        "certificate": "for refrigerant work",
        "visits_a_day": "how many it takes on",
    },
    "machines": {
        "serial*": "as on the rating plate",
        "model*": "",
        "shipped_on*": "a day, 2026-03-31 or 3/31/2026",
        "commissioned_on": "a day",
        "site": "an id of sites",
        "contractor": "an id of contractors",
        "asset_tag": "",
        "price": "what it cost, 3150.00 USD or $3,150.00",
        "fact.": "a recorded fact of the rulebook, such as fact.dedicated_circuit",
    },
    "care": {
        "serial*": "a serial of machines",
        "kind*": "filter_cleaned, fully_cleaned or commissioned",
        "at*": "a time with its offset, 2026-03-31T14:05:00-04:00",
        "by*": "who did it",
        "details.": "anything else; details.side is left or right where only that side was fully cleaned",
    },
    "repairs": {
        "serial*": "a serial of machines",
        "at*": "a time with its offset",
        "ticket*": "the number of the old ticket",
        "cause": "a cause of the rulebook; empty: no fault was found",
        "cost*": "what the program paid, 312.40 USD or $312.40",
    },
    "depot": {
        "serial*": "",
        "model*": "",
        "volts*": "of its plug",
        "amps*": "of the circuit that its plug is for",
        "seal_style*": "",
        "ready_since*": "a day",
        "depot*": "where it waits",
        "shipped_on*": "a day",
        "commissioned_on": "a day",
        "price": "",
    },
}
"""File -> its columns and what each means. `*`: a new record needs it. A name that ends in a point: any
column that starts so.
"""


def key_of(kind: str) -> str:
    """The column that names a record, the first of its file."""
    return next(iter(COLUMNS[kind])).rstrip("*")
