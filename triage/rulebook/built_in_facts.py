"""The facts that are the program's own, and where each may stand; and words that come with every rulebook.

The ids of outcomes stay in data; the pages' own catalog holds the same titles.
"""

from collections.abc import Mapping
from dataclasses import replace

from triage.logic.unary_tests import FactType
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Fact, Fixer, Outcome, Rulebook
from triage.values.shown import N_

MONEY = "money"
"""The unit of an amount, in files and here; a rulebook that is read gives its currency in its place."""


def _fact(id_: str, title: str, type_: FactType, unit: str | None = None) -> Fact:
    return Fact(id_, title, type_, "computed", unit)


_DAYS = {
    "mon": N_("Monday"),
    "tue": N_("Tuesday"),
    "wed": N_("Wednesday"),
    "thu": N_("Thursday"),
    "fri": N_("Friday"),
    "sat": N_("Saturday"),
    "sun": N_("Sunday"),
}
WEEKDAYS = tuple(_DAYS)
"""From Monday, as a calendar counts them."""

CLOCK_FACTS = frozenset({"hour", "weekday", "store_open", "holiday"})
"""Of the site's own clock and calendar when the report came in; known only where a rule looks at them."""

_PRE = (
    # The choices of symptom, top_cause and component are the rulebook's own; the reader fills them in.
    Fact("symptom", N_("Symptoms reported"), "choice", "clerk", ask=N_("What is wrong with the machine?")),
    Fact("model", N_("Model of the machine"), "text", "record"),
    _fact("machine_known", N_("The machine is in the records"), "flag"),
    _fact("contractor", N_("Contractor of the machine"), "text"),
    _fact("open_around_the_clock", N_("The store never closes"), "flag"),
    _fact("hour", N_("Hour of the report at the store, 0..23"), "number"),
    Fact("weekday", N_("Day of the week of the report"), "choice", "computed", choices=dict(_DAYS)),
    _fact("store_open", N_("The store lets somebody in when it reports"), "flag"),
    _fact("holiday", N_("The report comes on a public holiday"), "flag"),
    _fact("age_months", N_("Whole months since the machine was shipped"), "number", "month"),
    _fact("months_since_commissioned", N_("Whole months since commissioning"), "number", "month"),
    _fact("repairs_12_months", N_("Repairs in the last 12 months"), "number"),
    _fact("repeat_visits_90_days", N_("Visits in the last 90 days"), "number"),
    _fact("repeats_of_one_cause", N_("Most repairs of the same cause in the last 12 months"), "number"),
    _fact("spent_12_months", N_("Spent on repairs in the last 12 months"), "number", MONEY),
)


_POLICY = (
    _fact("top_cause", N_("Likeliest cause"), "choice"),
    _fact("component", N_("Component of the likeliest cause"), "choice"),
    Fact(
        "fixed_by",
        N_("Who fixes what is likely at fault"),
        "choice",
        "computed",
        choices={
            "contractor": N_("The machine's contractor"),
            "electrician": N_("The store's electrician"),
            "installer": N_("The installer"),
            "pest_control": N_("The store's pest control"),
        },
    ),
    _fact("top_chance", N_("Chance of the likeliest cause, 0..1"), "number"),
    _fact("second_chance", N_("Chance of the second likeliest cause, 0..1"), "number"),
    _fact("near_certain", N_("The likeliest cause is near certain"), "flag"),
    _fact("plan_starts_in_store", N_("The best plan starts with a check in the store"), "flag"),
    _fact("plan_cost", N_("Expected cost of the best plan"), "number", MONEY),
    _fact("dispatch_cost", N_("Expected cost of sending a technician now"), "number", MONEY),
    _fact("plan_saves", N_("What the best plan saves against sending a technician now"), "number", MONEY),
    _fact("expected_repair", N_("Expected cost of the repair to the program"), "number", MONEY),
    _fact("cover_parts", N_("Parts of the likeliest component are in warranty"), "flag"),
    _fact("cover_labor", N_("Labor on the likeliest component is in warranty"), "flag"),
    _fact("cover_known", N_("Warranty can be answered for"), "flag"),
    _fact("cover_chance", N_("Chance that the faulty component is covered in both, 0..1"), "number"),
    _fact("cover_at_risk", N_("Something puts warranty at risk"), "flag"),
    _fact("after_hours", N_("The visit would be paid at after-hours rates"), "flag"),
    _fact("nte", N_("Not to exceed on this ticket"), "number", MONEY),
    _fact("spent_on_ticket", N_("Spent on this ticket so far"), "number", MONEY),
    _fact("headroom", N_("What may still be spent on this ticket"), "number", MONEY),
    _fact("chance_over", N_("Chance that the repair runs over the headroom, 0..1"), "number"),
    _fact("over_limit", N_("What is likely to be spent is above the headroom"), "flag"),
    _fact("estimate_given", N_("A technician gave an estimate"), "flag"),
    _fact("estimate_total", N_("Total of the technician's estimate"), "number", MONEY),
    _fact("estimate_beyond_cover", N_("What of the estimate the program pays"), "number", MONEY),
    _fact("outside_agreement", N_("Some of the estimate is outside the rate agreement"), "flag"),
    _fact(
        "outside_agreement_amount", N_("What of the estimate is outside the rate agreement"), "number", MONEY
    ),
    _fact("outside_agreement_share", N_("Share of the estimate outside the rate agreement, 0..1"), "number"),
    _fact("stop_use", N_("A caution says to stop using the machine"), "flag"),
    _fact("caution_fired", N_("A caution speaks of this report"), "flag"),
    _fact("solved", N_("A check fixed it"), "flag"),
    _fact("checks_tried", N_("Checks tried so far"), "number"),
    _fact("value_now", N_("What the machine is worth now"), "number", MONEY),
    _fact("swap_cost", N_("Cost of swapping the machine"), "number", MONEY),
    _fact("spent_share_of_value", N_("Spent in 12 months, by what the machine is worth"), "number"),
    _fact("keep_cost_year", N_("Cost of keeping the machine for a year"), "number", MONEY),
    _fact("swap_cost_year", N_("Cost of swapping the machine, by year of its life"), "number", MONEY),
    _fact(
        "swap_saves_year", N_("What swapping the machine saves a year against keeping it"), "number", MONEY
    ),
    _fact("failures_faster", N_("Failures come faster than they did"), "flag"),
)


LIMIT_DAY = "limit_day"
"""The day a limit is asked for. Rows with `valid_from` or `valid_to` are tests of it."""


_LIMIT = (
    _fact("amount", N_("What the ticket would come to (authority tables)"), "number", MONEY),
    _fact(LIMIT_DAY, N_("Day for which the limit is asked"), "date"),
)


POLICY_FACTS: frozenset[str] = frozenset(fact.id for fact in _POLICY)
"""Built-in facts computed after the ranking: only policy rules and limit tables may look at them."""


VALUES_OF: Mapping[str, str] = {"symptom": "symptoms", "top_cause": "causes"}
"""Built-in facts whose values are entries themselves -> their kind."""


LIMIT_FACTS: frozenset[str] = frozenset(fact.id for fact in _LIMIT)
"""Built-in facts that only a table of `limits/` may look at."""


BUILTIN_FACTS: Mapping[str, Fact] = {fact.id: fact for fact in (*_PRE, *_POLICY, *_LIMIT)}


def in_currency(facts: Mapping[str, Fact], currency: str) -> Mapping[str, Fact]:
    """The facts, with `currency` as the unit of those that are amounts of money."""
    return {id_: replace(fact, unit=currency) if fact.unit == MONEY else fact for id_, fact in facts.items()}


@once_per_rulebook
def every_fact(rulebook: Rulebook) -> Mapping[str, Fact]:
    """The built-in facts, without the choices a rulebook names, and the rulebook's own, by id."""
    return {**in_currency(BUILTIN_FACTS, rulebook.currency), **rulebook.facts}


def is_money(rulebook: Rulebook, fact_id: str) -> bool:
    """Whether a fact is an amount of money: its unit is the rulebook's currency."""
    fact = every_fact(rulebook).get(fact_id)
    return fact is not None and fact.unit == rulebook.currency


OUTCOME_TITLES: Mapping[Outcome, str] = {
    "fix_in_store": "Fix in store",
    "dispatch": "Send a technician",
    "approve": "Repair approved",
    "hold": "On hold: approval needed",
    "swap": "Swap the machine",
}
SENT_TITLES: Mapping[Fixer, str] = {
    "electrician": "Send the store's electrician",
    "installer": "Send the installer back",
    "pest_control": "Send the store's pest control",
}
"""Instead of the title of `dispatch` where the machine's contractor is not the one who comes."""

SOLVED = "Fixed in store"
"""Instead of the outcome's title once a check has fixed it."""

ASSUMED = (
    "What the numbers assume: one fault at a time, unless `faults` names two; findings that tell "
    "nothing of each other given the cause, but for rules that share a mechanism; shares that are "
    "estimates until closed tickets teach better. A cause's `chance` is among such calls. The `chance` "
    "of a step of the plan is of the calls that reach it, all steps of one `group` together. "
    "`expected_cost` is an average over the clerk's time, sales lost while waiting, material, and the "
    "visit and repair where nothing helped; what a question `saves` is the same amount, less the time "
    "to ask."
)
"""Said with the API; the pages say it in their own words."""

LOCAL_CODES = N_("Local codes and the maker's manual come first.")
"""Said once a page and once a printout."""


def title_of(outcome: str, by: str = "contractor") -> str:
    """The title of an outcome's id; of "solved", that a check fixed it.

    `by` is who comes where someone does.
    """
    titles: dict[str, str] = dict(OUTCOME_TITLES.items())
    titles["dispatch"] = next((title for one, title in SENT_TITLES.items() if one == by), titles["dispatch"])
    return titles.get(outcome, SOLVED)


def titles_of(outcomes: object) -> str:
    """The title of one outcome, or of several: "Fix in store or Swap the machine"."""
    several = outcomes if isinstance(outcomes, list | tuple) else (outcomes,)
    return " or ".join(title_of(str(outcome)) for outcome in several)
