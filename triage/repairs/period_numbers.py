"""What the program did in a period, as numbers an ops lead is asked for: tickets, visits, money, causes.

Works on plain rows (`triage.store.numbers` reads them) and computes nothing that they do not hold. How each
number is defined is told in `DEFINITIONS`, by its name in the answer.
"""

import statistics
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from triage.repairs.close_out import COMEBACK_DAYS, NOTHING, REPAIR
from triage.repairs.exports import NOT_ON_RECORD
from triage.repairs.period import EARLIER, Approval, Closing, OpenedTicket, Period, Recorded
from triage.rulebook.model import Rulebook

MOST_CAUSES = 10
NOT_DECIDED = "not_decided"


DEFINITIONS: Mapping[str, str] = {
    "opened": "Tickets opened in the period.",
    "by_first_outcome": "Tickets opened in the period, by the outcome of the first decision.",
    "by_last_outcome": "Tickets opened in the period, by the outcome as it stands now.",
    "by_symptom": "Tickets opened in the period, by symptom; one with two symptoms counts at both.",
    "closed": "Tickets that are closed now and whose last closing was written down in the period.",
    "reopened": "How often a ticket was reopened in the period.",
    "cured_in_store": "Of the tickets closed in the period, those that a check fixed and nobody was sent to.",
    "visits_sent": "Visits first scheduled in the period; one that is rescheduled stays one visit.",
    "first_visit_fix": (
        "Of the tickets closed in the period that somebody came to, those that took one visit: one closing "
        "with a visit, no second one scheduled, and something was fixed."
    ),
    "hours_to_close": (
        "Hours from opening to the last closing, of the tickets closed in the period. The 90th percentile "
        "interpolates between the two nearest tickets."
    ),
    "holds": "Tickets on hold now, and the median of hours since the decision that began the hold.",
    "spend_approved": (
        "Amounts approved in the period, by an authority or within the standing limit; of several on one "
        "ticket before it is closed only the last, which is the one that stands."
    ),
    "spend_closed": "What the program paid on all closings written down in the period, after warranty.",
    "outside_agreement": (
        "What the rate agreement does not pay of the bills of those closings, before warranty."
    ),
    "repeats": (
        "Tickets opened in the period on a machine for which another ticket was closed within "
        f"{COMEBACK_DAYS} days before."
    ),
    "causes": "Confirmed causes of the tickets closed in the period, the most frequent first.",
    "first_ranked": (
        "Of the tickets closed in the period with a confirmed cause, those whose last decision ranked that "
        "cause first."
    ),
    "checks": (
        "Of the tickets opened in the period, checks with their last result. `cure_share` is measured over "
        "all that were done; a fix by several together is nobody's. `rulebook` is the mean of the rulebook's "
        "chances to fix the causes that were confirmed, and `confirmed_cure_share` is measured over just "
        "these tickets, to be held against it."
    ),
    "contractors": (
        "Calls are tickets opened in the period and now in the contractor's care; visits and spend as above; "
        "repeats count for whoever had the earlier ticket in its care."
    ),
}
"""Name of a number in the answer -> how it is defined."""


def period_numbers(recorded: Recorded, rulebook: Rulebook, period: Period, now: datetime) -> dict[str, Any]:
    """All numbers as JSON data; shares are None where there is nothing to share, money is `312.40 USD`."""
    opened = recorded.opened
    in_period = [closing for closing in recorded.closings if period.holds(closing.at)]
    closed = [closing for closing in in_period if closing.stands]
    visited_closings = Counter(closing.ticket for closing in recorded.closings if closing.visited)
    in_store = [one for one in closed if _cured_in_store(one, visited_closings)]
    came_to = [one for one in closed if visited_closings[one.ticket]]
    first_visit = [
        one
        for one in came_to
        if visited_closings[one.ticket] == 1 and one.scheduled <= 1 and one.cured_by != NOTHING
    ]
    repeats = [before for _, before in repeats_of(opened, recorded.closings)]
    spent = sum((closing.cost for closing in in_period), Decimal(0))
    approved = sum((one.amount for one in _standing(recorded.approvals, recorded.closings)), Decimal(0))
    confirmed = [one for one in closed if one.cause is not None]
    return {
        "since": period.first.isoformat(),
        "until": period.last.isoformat(),
        "currency": rulebook.currency,
        "opened": len(opened),
        "by_first_outcome": _counted(one.first_outcome or NOT_DECIDED for one in opened),
        "by_last_outcome": _counted(one.last_outcome or NOT_DECIDED for one in opened),
        "by_symptom": _counted(symptom for one in opened for symptom in dict.fromkeys(one.symptoms)),
        "closed": len(closed),
        "reopened": recorded.reopened,
        "cured_in_store": _of(len(in_store), len(closed)),
        "visits_sent": len(recorded.sent),
        "first_visit_fix": _of(len(first_visit), len(came_to)),
        "hours_to_close": _hours([_hours_between(one.opened_at, one.at) for one in closed]),
        "holds": _holds(recorded.held, now),
        "spend_approved": _money(approved, rulebook),
        "spend_closed": _money(spent, rulebook),
        "outside_agreement": _money(sum((one.outside for one in in_period), Decimal(0)), rulebook),
        "repeats": _of(len(repeats), sum(one.machine is not None for one in opened)),
        "causes": _causes(closed, rulebook),
        "no_fault_found": len(closed) - len(confirmed),
        "first_ranked": _of(sum(one.top_cause == one.cause for one in confirmed), len(confirmed)),
        "checks": _checks(opened, rulebook),
        "contractors": _contractors(recorded, in_period, repeats, rulebook),
    }


def _cured_in_store(closing: Closing, visited_closings: Mapping[str, int]) -> bool:
    sent_to = visited_closings.get(closing.ticket, 0) or closing.scheduled
    return not sent_to and closing.cured_by not in (None, REPAIR, NOTHING)


def repeats_of(
    opened: Iterable[OpenedTicket], closings: Iterable[Closing]
) -> Iterator[tuple[OpenedTicket, Closing]]:
    """Each repeat, and the last closing of another ticket of its machine, at most EARLIER before it."""
    by_machine: dict[str, list[Closing]] = defaultdict(list)
    for closing in sorted(closings, key=lambda one: (one.at, one.ticket)):
        if closing.machine is not None:
            by_machine[closing.machine].append(closing)
    for ticket in opened:
        known = by_machine.get(ticket.machine or "", [])
        place = bisect_right(known, ticket.opened_at, key=lambda one: one.at)
        while place and known[place - 1].ticket == ticket.ticket:
            place -= 1
        if place and ticket.opened_at - known[place - 1].at <= EARLIER:
            yield ticket, known[place - 1]


def _standing(approvals: Iterable[Approval], closings: Iterable[Closing]) -> Iterator[Approval]:
    """The approvals that no later one of the same ticket replaced before a closing."""
    ended = defaultdict(list)
    for closing in closings:
        ended[closing.ticket].append(closing.seq)
    last: dict[tuple[str, int], Approval] = {}
    for one in sorted(approvals, key=lambda each: (each.ticket, each.seq)):
        stretch = sum(seq < one.seq for seq in ended[one.ticket])
        last[one.ticket, stretch] = one
    yield from last.values()


def _counted(names: Iterable[str]) -> dict[str, int]:
    """The most frequent first."""
    return dict(sorted(Counter(names).items(), key=lambda item: (-item[1], item[0])))


def _of(count: int, of: int) -> dict[str, Any]:
    return {"count": count, "of": of, "share": _share(count, of)}


def _share(count: float, of: int) -> float | None:
    return None if of == 0 else round(count / of, 4)


def _hours_between(start: datetime, end: datetime) -> float:
    return (end - start) / timedelta(hours=1)


def _hours(hours: Sequence[float]) -> dict[str, float | None]:
    if not hours:
        return {"median": None, "p90": None}
    p90 = statistics.quantiles(hours, n=10, method="inclusive")[8] if len(hours) > 1 else hours[0]
    return {"median": round(statistics.median(hours), 2), "p90": round(p90, 2)}


def _holds(held: Sequence[datetime], now: datetime) -> dict[str, Any]:
    waited = [_hours_between(since, now) for since in held]
    return {"open": len(held), "median_hours": round(statistics.median(waited), 2) if waited else None}


def _money(amount: Decimal, rulebook: Rulebook) -> str:
    return f"{amount:.2f} {rulebook.currency}"


def _causes(closed: Iterable[Closing], rulebook: Rulebook) -> list[dict[str, Any]]:
    counts = Counter(one.cause for one in closed if one.cause is not None)
    return [
        {
            "cause": cause,
            "title": rulebook.causes[cause].title if cause in rulebook.causes else cause.replace("_", " "),
            "tickets": count,
        }
        for cause, count in sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:MOST_CAUSES]
    ]


def _checks(opened: Iterable[OpenedTicket], rulebook: Rulebook) -> list[dict[str, Any]]:
    results: dict[str, Counter[str]] = defaultdict(Counter)
    confirmed: dict[str, list[tuple[bool, float]]] = defaultdict(list)  # cured, the rulebook's chance
    for ticket in opened:
        done = dict(ticket.checks)
        if ticket.cured_by in rulebook.checks:
            done[str(ticket.cured_by)] = "cured"
        for check, result in done.items():
            results[check][result] += 1
            if ticket.cause is not None and result in ("cured", "not_cured") and check in rulebook.checks:
                chance = float(rulebook.checks[check].resolves.get(ticket.cause, 0))
                confirmed[check].append((result == "cured", chance))
    rows = []
    for check, counts in results.items():
        done_count = counts["cured"] + counts["not_cured"]
        known = confirmed[check]
        rows.append(
            {
                "check": check,
                "title": rulebook.checks[check].title if check in rulebook.checks else check,
                "done": done_count,
                "cured": counts["cured"],
                "could_not_do": counts["could_not_do"],
                "cure_share": _share(counts["cured"], done_count),
                "confirmed": len(known),
                "confirmed_cure_share": _share(sum(cured for cured, _ in known), len(known)),
                "rulebook": _share(sum(chance for _, chance in known), len(known)),
            }
        )
    return sorted(rows, key=lambda row: (-row["done"], row["check"]))


def _contractors(
    recorded: Recorded, closings: Iterable[Closing], repeats: Iterable[Closing], rulebook: Rulebook
) -> list[dict[str, Any]]:
    calls = Counter(one.contractor or NOT_ON_RECORD for one in recorded.opened)
    visits = Counter(contractor or NOT_ON_RECORD for contractor in recorded.sent)
    comebacks = Counter(one.contractor or NOT_ON_RECORD for one in repeats)
    spend: dict[str, Decimal] = defaultdict(Decimal)
    outside: dict[str, Decimal] = defaultdict(Decimal)
    for closing in closings:
        spend[closing.contractor or NOT_ON_RECORD] += closing.cost
        outside[closing.contractor or NOT_ON_RECORD] += closing.outside
    names = sorted({*calls, *visits, *comebacks, *spend}, key=lambda name: (-calls[name], name))
    return [
        {
            "contractor": name,
            "calls": calls[name],
            "visits_sent": visits[name],
            "spend_closed": _money(spend[name], rulebook),
            "outside_agreement": _money(outside[name], rulebook),
            "repeats": comebacks[name],
        }
        for name in names
    ]
