"""What is typed on the pages of a ticket's later life, as the data that the service reads."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.pages.bill_form import lines_of, typed_number
from api.pages.texts import gettext
from triage.values.errors import InputError, Problem
from triage.values.money import typed_amount
from triage.values.time_zones import zone_named


@dataclass(frozen=True, slots=True)
class Form:
    """The fields of a form; times are those of the store's clock."""

    fields: Mapping[str, str]
    several: Mapping[str, list[str]]
    zone: str
    currency: str

    def text(self, name: str) -> str:
        return self.fields.get(name, "").strip()

    def chosen(self, **names: str) -> dict[str, str]:
        """Data of the fields that are filled: key of the data -> name of the field."""
        return {key: self.text(name) for key, name in names.items() if self.text(name)}

    def moment(self, name: str) -> dict[str, str]:
        """`{"at": …}` of a field for day and time; nothing where it is empty."""
        text = self.text(name)
        if not text:
            return {}
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            message = gettext("Write day and time as 2026-11-16 14:30.")
            raise InputError([Problem(message, f"/{name}")]) from None
        return {"at": (at if at.tzinfo else at.replace(tzinfo=zone_named(self.zone))).isoformat()}

    def number(self, name: str) -> Any:
        """A number where it is one; else the text, which the service refuses with its reason."""
        return typed_number(self.text(name))

    def amount(self, name: str) -> str:
        return typed_amount(self.text(name), self.currency)

    def lines(self) -> list[dict[str, Any]]:
        """The lines of an estimate or a closing."""
        return lines_of(self.fields, self.currency)
