"""Words that people read with every rulebook: a title for each outcome, and what comes before everything.

The ids of outcomes stay in data; the pages' own catalog holds the same titles.
"""

from collections.abc import Mapping

from triage.rulebook.model import Fixer, Outcome

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

LOCAL_CODES = "Local codes and the maker's manual come first."
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
