"""A day's tickets folded into its sums."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime, timedelta

from triage.repairs.close_out import COMEBACK_DAYS, NOTHING, REPAIR
from triage.repairs.period import NOT_KNOWN, Closing, DayRows, DaySums, OpenedTicket, Place, Sums

EARLIER = timedelta(days=COMEBACK_DAYS)
STORE, VISIT = "store", "visit"
TENTHS = 10


def folded(rows: DayRows) -> DaySums:
    """What the rows of a day add up to."""
    day = DaySums()
    for ticket in rows.opened:
        _add_opened(day, ticket)
    for closing in rows.closings:
        _add_closing(day, closing)
    for sums in _of(day, rows.sent):
        sums.visits_sent += 1
    for sums in _of(day, rows.reopened):
        sums.reopened += 1
    for place, amount in rows.approved:
        for sums in _of(day, [place]):
            sums.approved += amount
    for swap in rows.swapped:
        for sums in _of(day, [swap.place]):
            sums.swaps += 1
        for name, amount in {} if swap.said is None else asdict(swap.said).items():
            day.tallies["swap", name].add(float(amount))
    for asked in rows.asked:
        how = "changed" if asked.changed else "same" if asked.told else "not_told"
        day.tallies["question", f"{asked.fact}|{how}"].add(float(asked.saves))
    return day


def _of(day: DaySums, places: Iterable[Place]) -> Iterable[Sums]:
    return (day.sums[key] for place in places for key in place.groups())


def _add_opened(day: DaySums, ticket: OpenedTicket) -> None:
    before = ticket.closed_before
    again = before is not None and ticket.opened_at - before <= EARLIER
    for sums in _of(day, [ticket.place]):
        sums.opened += 1
        sums.on_machine += ticket.machine is not None
        sums.repeats += again
    day.tallies["last_outcome", ticket.last_outcome or NOT_KNOWN].add()
    group = STORE if ticket.place.outcome == "fix_in_store" else VISIT
    ended = ticket.closed_at
    how = f"open|{ticket.opened_at.hour}" if ended is None else f"closed|{_hours(ticket.opened_at, ended)}"
    day.tallies["wait", f"{group}|{how}"].add()
    done = dict(ticket.checks)
    if ticket.cured_by not in (None, REPAIR, NOTHING):
        done[str(ticket.cured_by)] = "cured"
    for check, result in done.items():
        day.tallies["check", f"{check}|{result}|{ticket.place.cause}"].add()


def _add_closing(day: DaySums, closing: Closing) -> None:
    in_store = not (closing.visits or closing.scheduled) and closing.cured_by not in (REPAIR, NOTHING)
    first_visit = closing.visits == 1 and closing.scheduled <= 1 and closing.cured_by != NOTHING
    hours = _hours(closing.opened_at, closing.at)
    for sums in _of(day, [closing.place]):
        sums.spent += closing.cost
        sums.outside += closing.outside
        if closing.cost and closing.nte is not None:
            sums.limited += 1
            sums.over_limit += closing.cost > closing.nte
        if not closing.stands:
            continue
        sums.closed += 1
        sums.hours += hours
        sums.in_store += in_store
        sums.came_to += closing.visits > 0
        sums.first_visit += first_visit
        if closing.cause is not None:
            sums.confirmed += 1
            sums.first_ranked += closing.top_cause == closing.cause
        if closing.log_loss is not None and closing.brier is not None:
            sums.scored += 1
            sums.log_loss += closing.log_loss
            sums.brier += closing.brier
    if not closing.stands:
        return
    day.tallies["hours", str(hours)].add()
    if closing.visited:
        day.tallies["visit_cost", ""].add(float(closing.cost))
    if closing.cause is not None and closing.top_chance is not None:
        tenth = min(TENTHS - 1, int(closing.top_chance * TENTHS))
        hit = "hit" if closing.top_cause == closing.cause else "miss"
        day.tallies["chance", f"{tenth}|{hit}"].add(closing.top_chance)
    for rule, change in closing.rules.items():
        day.tallies["rule", rule].add(change)


def _hours(start: datetime, end: datetime) -> float:
    """To two digits, at least to a tenth of an hour: so that a year has few lengths to sum."""
    hours = max(0.0, (end - start) / timedelta(hours=1))
    if hours < 10:
        return round(hours, 1)
    return float(round(hours)) if hours < 100 else float(round(hours, -1))
