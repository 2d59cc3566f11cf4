"""What the program did in a period, as numbers an ops lead is asked for: tickets, visits, money, causes.

Works on sums of days (`triage.repairs.period`). How each number is defined is told in `DEFINITIONS`, by its
name in the answer.
"""

import statistics
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from triage.repairs.exports import NO_FAULT_FOUND
from triage.repairs.overview import swaps_saved
from triage.repairs.period import NOT_KNOWN, Period, Sums, Tally
from triage.repairs.statistics import NORMAL, TOO_FEW, wilson
from triage.rulebook.model import Rulebook
from triage.values.shown import N_

MOST_CAUSES = 10

DEFINITIONS: Mapping[str, str] = {
    "opened": N_("Tickets opened in the period."),
    "by_first_outcome": N_("Tickets opened in the period, by the outcome of the first decision."),
    "by_last_outcome": N_("Tickets opened in the period, by the outcome as it stands now."),
    "by_symptom": N_("Tickets opened in the period, by symptom; one with two symptoms counts at both."),
    "closed": N_("Tickets that are closed now and whose last closing was written down in the period."),
    "reopened": N_("How often a ticket was reopened in the period."),
    "cured_in_store": N_(
        "Of the tickets closed in the period, those that a check fixed and nobody was sent to."
    ),
    "visits_sent": N_("Visits first scheduled in the period; one that is rescheduled stays one visit."),
    "first_visit_fix": N_(
        "Of the tickets closed in the period that somebody came to, those that took one visit: one closing "
        "with a visit, no second one scheduled, and something was fixed."
    ),
    "hours_to_close": N_(
        "Hours from opening to the last closing, of the tickets closed in the period, each to two digits. "
        "The 90th percentile interpolates between the two nearest tickets."
    ),
    "holds": N_("Tickets on hold now, and the median of hours since the decision that began the hold."),
    "spend_approved": N_(
        "Amounts approved in the period, by an authority or within the standing limit; of several on one "
        "ticket before it is closed only the last, which is the one that stands."
    ),
    "spend_closed": N_("What the program paid on all closings written down in the period, after warranty."),
    "outside_agreement": N_(
        "What the rate agreement does not pay of the bills of those closings, before warranty."
    ),
    "over_limit": N_(
        "Of the closings written down in the period that cost the program something, those that cost more "
        "than the last decision said may be spent on the ticket without asking."
    ),
    "swaps": N_("Machines swapped in the period, by when the swap was confirmed."),
    "swaps_saved": N_(
        "Of the swaps whose decision compared keeping with swapping: what they cost, the repairs "
        "due then that they replaced, and what the decisions said swapping and keeping cost a year, the "
        "price, the repair due and the repairs to be expected spread over the years. Saved a year is what "
        "keeping costs less what swapping costs, if keeping would have cost 80 % to 120 % of what was said "
        "(our estimate)."
    ),
    "repeats": N_(
        "Of the tickets opened in the period on a machine, those for which another ticket of the machine was "
        "closed within 30 days before."
    ),
    "no_fault_found": N_("Of the tickets closed in the period, those without a confirmed cause."),
    "causes": N_("Confirmed causes of the tickets closed in the period, the most frequent first."),
    "first_ranked": N_(
        "Of the tickets closed in the period with a confirmed cause, those whose last decision ranked that "
        "cause first."
    ),
    "scores": N_(
        "How well the chances of the last decision fit the confirmed cause, the mean over tickets: the log "
        "loss, and the Brier score from 0 to 2. Both are 0 for a sure and right answer; less is better."
    ),
    "rules": N_(
        "By how much the log loss would be worse without what each rule said, the mean over the tickets that "
        "it spoke on: above 0 the rule helps, below 0 it misleads. Likely: its 95 % interval."
    ),
    "questions": N_(
        "Questions that were asked in the period: what the decision said each would save on average, how "
        "often there was an answer, and how often it changed the outcome or the first check to do. Those "
        "asked before the program kept this are not counted."
    ),
    "checks": N_(
        "Of the tickets opened in the period, checks with their last result. `cure_share` is measured over "
        "all that were done; a fix by several together is nobody's. `rulebook` is the mean of the rulebook's "
        "chances to fix the causes that were confirmed, and `confirmed_cure_share` is measured over just "
        "these tickets, to be held against it."
    ),
    "groups": N_(
        "The same numbers for each site, contractor, model, confirmed cause, symptom, first outcome, day, "
        "week or month: what was opened, closed, sent and spent under it."
    ),
}
"""Name of a number in the answer -> how it is defined."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """What a period's days add up to. `held` says since when each ticket on hold now waits."""

    total: Sums
    outcomes: Mapping[str, Sums]
    symptoms: Mapping[str, Sums]
    causes: Mapping[str, Sums]
    last_outcomes: Mapping[str, Tally]
    hours: Mapping[str, Tally]
    checks: Mapping[str, Tally]
    rules: Mapping[str, Tally]
    questions: Mapping[str, Tally]
    swaps: Mapping[str, Tally]
    held: Sequence[datetime]


def period_numbers(found: Recorded, rulebook: Rulebook, period: Period, now: datetime) -> dict[str, Any]:
    """All numbers as JSON data; shares are None where there is nothing to share, money is `312.40 USD`."""
    median, p90 = hours_of(found.hours)
    closed = {cause: sums.closed for cause, sums in found.causes.items() if sums.closed}
    closed.pop(NO_FAULT_FOUND, None)
    return {
        "since": period.first.isoformat(),
        "until": period.last.isoformat(),
        "currency": rulebook.currency,
        **group_numbers(found.total, rulebook.currency),
        "by_first_outcome": _falling({name: one.opened for name, one in found.outcomes.items()}),
        "by_last_outcome": _falling({name: one.count for name, one in found.last_outcomes.items()}),
        "by_symptom": _falling({name: one.opened for name, one in found.symptoms.items()}),
        "hours_to_close": {"median": median, "p90": p90},
        "holds": _holds(found.held, now),
        "swaps_saved": swaps_saved(found.swaps, rulebook.currency),
        "causes": [
            {"cause": cause, "title": cause_title(rulebook, cause), "tickets": count}
            for cause, count in list(_falling(closed).items())[:MOST_CAUSES]
        ],
        "checks": _checks(found.checks, rulebook),
        "rules": _rules(found.rules, rulebook),
        "questions": _questions(found.questions, rulebook),
    }


def group_numbers(sums: Sums, currency: str) -> dict[str, Any]:
    """The numbers that every group has."""
    return {
        "opened": sums.opened,
        "closed": sums.closed,
        "reopened": sums.reopened,
        "visits_sent": sums.visits_sent,
        "swaps": sums.swaps,
        "cured_in_store": part(sums.in_store, sums.closed),
        "first_visit_fix": part(sums.first_visit, sums.came_to),
        "repeats": part(sums.repeats, sums.on_machine),
        "no_fault_found": part(sums.closed - sums.confirmed, sums.closed),
        "first_ranked": part(sums.first_ranked, sums.confirmed),
        "scores": {
            "of": sums.scored,
            "log_loss": _mean(sums.log_loss, sums.scored),
            "brier": _mean(sums.brier, sums.scored),
            "too_few": sums.scored < TOO_FEW,
        },
        "mean_hours_to_close": _mean(sums.hours, sums.closed, 2),
        "spend_approved": _money(sums.approved, currency),
        "spend_closed": _money(sums.spent, currency),
        "outside_agreement": _money(sums.outside, currency),
        "over_limit": part(sums.over_limit, sums.limited),
    }


def part(count: int, of: int) -> dict[str, Any]:
    """A share with its counts and its interval; `too_few`: nothing is to be read from it."""
    low, high = wilson(count, of)
    share = None if of == 0 else round(count / of, 4)
    return {
        "count": count,
        "of": of,
        "share": share,
        "low": round(low, 4),
        "high": round(high, 4),
        "too_few": of < TOO_FEW,
    }


def hours_of(hours: Mapping[str, Tally]) -> tuple[float | None, float | None]:
    """The median and the 90th percentile of hours that were counted by length."""
    if not hours:
        return None, None
    lengths = np.repeat([float(length) for length in hours], [one.count for one in hours.values()])
    median, p90 = np.quantile(lengths, [0.5, 0.9])
    return round(float(median), 2), round(float(p90), 2)


def cause_title(rulebook: Rulebook, cause: str) -> str:
    return rulebook.causes[cause].title if cause in rulebook.causes else cause.replace("_", " ")


def _falling(counts: Mapping[str, int]) -> dict[str, int]:
    """The most frequent first, without those that did not come."""
    found = Counter({name: count for name, count in counts.items() if count})
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))


def _mean(total: float, of: int, digits: int = 4) -> float | None:
    return None if of == 0 else round(total / of, digits)


def _money(amount: Decimal, currency: str) -> str:
    return f"{amount:.2f} {currency}"


def _holds(held: Sequence[datetime], now: datetime) -> dict[str, Any]:
    waited = [(now - since) / timedelta(hours=1) for since in held]
    return {"open": len(held), "median_hours": round(statistics.median(waited), 2) if waited else None}


def _split(tallies: Mapping[str, Tally]) -> Iterable[tuple[list[str], Tally]]:
    return ((key.split("|"), one) for key, one in tallies.items())


def _checks(tallies: Mapping[str, Tally], rulebook: Rulebook) -> list[dict[str, Any]]:
    results: dict[str, Counter[str]] = defaultdict(Counter)
    confirmed: dict[str, list[tuple[int, bool, float]]] = defaultdict(list)  # how many, cured, the rulebook's
    for (check, result, cause), one in _split(tallies):
        results[check][result] += one.count
        known = cause not in (NOT_KNOWN, NO_FAULT_FOUND) and check in rulebook.checks
        if known and result in ("cured", "not_cured"):
            chance = float(rulebook.checks[check].resolves.get(cause, 0))
            confirmed[check].append((one.count, result == "cured", chance))
    rows = []
    for check, counts in results.items():
        done = counts["cured"] + counts["not_cured"]
        known_count = sum(count for count, _, _ in confirmed[check])
        cured = sum(count for count, cured, _ in confirmed[check] if cured)
        rows.append(
            {
                "check": check,
                "title": rulebook.checks[check].title if check in rulebook.checks else check,
                "done": done,
                "cured": counts["cured"],
                "could_not_do": counts["could_not_do"],
                "cure_share": part(counts["cured"], done),
                "confirmed_cure_share": part(cured, known_count),
                "rulebook": _mean(sum(n * chance for n, _, chance in confirmed[check]), known_count),
            }
        )
    return sorted(rows, key=lambda row: (-row["done"], row["check"]))


def _rules(tallies: Mapping[str, Tally], rulebook: Rulebook) -> list[dict[str, Any]]:
    """Those that help most first; checks that did not fix it say something too, but are no rules."""
    rows = []
    for rule, one in tallies.items():
        if rule in rulebook.checks:
            continue
        mean = one.total / one.count
        spread = max(0.0, one.squares / one.count - mean * mean) / max(1, one.count - 1)
        away = NORMAL * spread**0.5
        head = rulebook.evidence[rule].head.title if rule in rulebook.evidence else f"none of: {rule}"
        too_few = one.count < TOO_FEW
        low, high = round(mean - away, 4), round(mean + away, 4)
        says = "too_few" if too_few else "helps" if low > 0 else "misleads" if high < 0 else "neither"
        rows.append(
            {"rule": rule, "title": head, "of": one.count, "change": round(mean, 4), "low": low, "high": high,
             "says": says}
        )  # fmt: skip
    return sorted(rows, key=lambda row: (row["says"] == "too_few", -row["change"], row["rule"]))


def _questions(tallies: Mapping[str, Tally], rulebook: Rulebook) -> list[dict[str, Any]]:
    by_fact: dict[str, dict[str, Tally]] = defaultdict(dict)
    for (fact, how), one in _split(tallies):
        by_fact[fact][how] = one
    rows = []
    for fact, found in by_fact.items():
        asked = sum(one.count for one in found.values())
        changed, same = (found[how].count if how in found else 0 for how in ("changed", "same"))
        saves = sum(one.total for one in found.values()) / asked
        rows.append(
            {
                "fact": fact,
                "title": rulebook.facts[fact].title if fact in rulebook.facts else fact.replace("_", " "),
                "asked": asked,
                "promised": f"{saves:.2f} {rulebook.currency}",
                "told": part(changed + same, asked),
                "changed": part(changed, asked),
            }
        )
    return sorted(rows, key=lambda row: (-row["asked"], row["fact"]))
