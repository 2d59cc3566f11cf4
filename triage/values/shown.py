"""A value in words: as people read it, and as a problem quotes it."""

from __future__ import annotations

from decimal import Decimal


def shown(value: object, empty: str = "nothing") -> str:
    """As people read it; `empty` is said of a list without members."""
    match value:
        case None:
            return "not known"
        case bool():
            return "yes" if value else "no"
        case list() | tuple():
            return ", ".join(shown(each, empty) for each in value) or empty
        case _:
            return str(value)


def quoted(value: object) -> str:
    """As it was written, for a message on what is wrong with it; long texts are cut."""
    match value:
        case None:
            return "nothing (null)"
        case bool():
            return str(value).lower()
        case str():
            return f'"{value[:60]}"'
        case int() | float() | Decimal():
            return str(value)[:60]
        case dict():
            return "a mapping"
        case list() | tuple():
            return "a list"
        case _:
            return str(value)[:60]
