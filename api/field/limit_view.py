"""What may be spent, at one glance: what is left, who may say yes to more, and by which hours."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from api.pages.texts import gettext
from api.pages.words import clock_words
from triage.decide.limits_of_machine import ANY_JOB, Job
from triage.decide.spending.costs import agreement_with
from triage.records.caller import Caller
from triage.records.payloads import Estimated
from triage.records.ticket import Ticket
from triage.schedule.service_hours import is_after_hours, service_times
from triage.service import machines
from triage.service.service import Service
from triage.values.time_zones import UTC_NAME, zone_named

_PHONE = re.compile(r"\+?\d[\d ()-]{5,}\d")


@dataclass(frozen=True, slots=True)
class Stop:
    """One who may say yes. `up_to` is what the whole ticket may come to; None: any amount."""

    title: str
    reach: str
    phone: str
    up_to: Decimal | None
    deputy: str
    absent_until: str
    asked: bool


@dataclass(frozen=True, slots=True)
class Glance:
    """Amounts in the rulebook's currency. `left` may be spent without asking; `gone` is what is not left.

    With an open authorization `left` is its amount, and `number` and `until` are its own. `other_nte` is the
    limit at the other hours.
    """

    left: Decimal
    nte: Decimal
    spent: Decimal
    promised: Decimal
    estimate: Decimal
    number: str
    until: str
    after_hours: bool
    agreed: bool | None
    hours: str
    other_nte: Decimal
    factor: Decimal
    stops: tuple[Stop, ...]
    notes: tuple[str, ...]

    @property
    def enough(self) -> bool:
        return self.estimate <= self.left

    @property
    def over(self) -> Decimal:
        """How much of the estimate is not left."""
        return max(Decimal(0), self.estimate - self.left)

    def percent(self, amount: Decimal) -> str:
        """A length of the gauge, 0 to 100 of the limit or of what is asked, whichever is more."""
        whole = max(self.nte, self.spent + self.promised + self.estimate, Decimal("0.01"))
        return f"{max(Decimal(0), min(Decimal(100), amount * 100 / whole)):.1f}"


def glance(
    service: Service, serial: str, viewer: Caller, ticket: Ticket | None, priced: Estimated | None = None
) -> tuple[Glance, list[Any]]:
    """The limit of a ticket, or of a machine without one, and the warranty of its components.

    `priced` is an estimate that is still typed, instead of the ticket's last.
    """
    name = None if ticket is None else ticket.id
    job = ANY_JOB if priced is None else Job(after_hours=priced.after_hours)
    found = machines.limits(service, serial, None, None, viewer, name, job)
    limit: Mapping[str, Any] = found["limit"]
    late = bool(limit["after_hours"])
    other = machines.limits(service, serial, None, None, viewer, name, Job(after_hours=not late))["limit"]
    site = machines.machine(service, serial, viewer).machine.site
    zone = UTC_NAME if site is None else site.timezone
    given, rulebook = limit["authorization"], service.rulebook
    today = service.now().astimezone(zone_named(zone)).date()
    estimate = priced or (None if ticket is None else ticket.repair.estimate)
    asked = Decimal(0) if estimate is None else estimate.bill.beyond_warranty.amount
    left = Decimal(limit["headroom"])
    ask = (limit["ask"] or {}).get("authority")
    if estimate is not None and estimate.ask is not None:
        ask = estimate.ask.authority
    seen = Glance(
        left=left if given is None else Decimal(given["amount"].split()[0]),
        nte=Decimal(limit["nte"]),
        spent=Decimal(limit["spent_on_ticket"]),
        promised=Decimal(limit["promised"]),
        estimate=asked,
        number="" if given is None else given["number"],
        until="" if given is None else clock_words(given["expires_at"], zone, service.now()),
        after_hours=late,
        agreed=limit["after_hours_agreed"],
        hours=hours_words(service, zone),
        other_nte=Decimal(other["nte"]),
        factor=agreement_with(rulebook, found["contractor"], today).after_hours_factor,
        stops=tuple(_stop(one, one["authority"] == ask) for one in limit["authorities"]),
        notes=tuple(limit["notes"]),
    )
    return seen, found["warranty"]


def _stop(one: Mapping[str, Any], asked: bool) -> Stop:
    phone = _PHONE.search(one["reach"])
    up_to = one["up_to"]
    return Stop(
        one["title"],
        one["reach"],
        "" if phone is None else re.sub(r"[^\d+]", "", phone[0]),
        None if up_to is None else Decimal(str(up_to).split()[0]),
        "" if one["deputy"] is None else one["deputy"]["title"],
        one["absent_until"] or "",
        asked,
    )


def hours_words(service: Service, zone: str) -> str:
    """Which hours it is now at the store, and until when."""
    now, hours = service.now(), service.rulebook.service_hours
    late = is_after_hours(now, hours, zone)
    change: datetime | None = None
    for opens, closes in service_times(now, hours, zone):
        if closes > now:
            change = opens if late else closes
            break
    here = clock_words(now, zone, now)
    if change is None:
        return gettext("It is %(now)s at the store: after hours.", now=here)
    until = clock_words(change, zone, now)
    if late:
        return gettext("It is %(now)s at the store: after hours until %(until)s.", now=here, until=until)
    return gettext("It is %(now)s at the store: service hours until %(until)s.", now=here, until=until)
