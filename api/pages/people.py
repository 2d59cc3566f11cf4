"""What the service says went wrong, in the words of people: titles for ids, the store's time for moments.

The service speaks to programs as well: what only helps in writing JSON is left out on a page, or said for it.
"""

import re
from collections.abc import Mapping
from datetime import date

from api.pages.words import date_words, local_time
from triage.rulebook.built_in_facts import OUTCOME_TITLES
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook

MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d)")
DAY = re.compile(r"(?<![\w-])(?:19|20)\d\d-[01]\d-[0-3]\d(?![\w-])")
WORD = re.compile(r"\"?\b[a-z][a-z0-9]*(?:[_-][a-z0-9]+)+\b\"?")


_FOR_PROGRAMS = tuple(
    (re.compile(pattern), instead)
    for pattern, instead in (
        (r"; a number is wanted, such as .*", "; say a number as the clerk says it, or “?”: does not know"),
        (r"a report names at least one symptom.*", "choose at least one symptom"),
        (r"\"[^\"]*\" is no symptom of the rulebook.*", "choose a symptom of the list"),
        (
            r"(say what it was): a cause of the rulebook, or \".*\"",
            r"\1, or that no fault was found",
        ),
        (r"\"[^\"]*\" does not say what fixed it.*", "say what fixed it"),
        (r"the answer is one of .*", "say yes, no, or yes up to an amount"),
        (r"an amount goes with the answer yes_up_to only.*", "an amount goes with “yes, up to” only"),
        (r"say yes_up_to with an amount", "say yes up to an amount"),
        (r"this token speaks as ", "you speak as "),
        (r"this token is (.*)'s;", r"you are \1;"),
        (r"this Idempotency-Key was used for another request.*", "this was sent before; load the page again"),
        (r"(ticket \S+) is at version .*", r"\1 has changed; look at it again"),
        (r"(is past); a visit that has begun is recorded as `started`", r"\1; choose a time to come"),
        (r"(this is not a date of the calendar); write it as .*", r"\1"),
        (r"; leave `at` out for the next free time", "; choose another time"),
        (r"; leave (?:the |it |this )?(?:\w+ )?out(?: here or there| for [^;.]*)?(?=[;.]|$)", ""),
        (r", or null (?:to take it back|when it is not known)", ""),
        (r", with \"follows\": \"[^\"]*\" in its report", ""),
        (r"; it is \"repair\", \"nothing\" or a check of the rulebook|, without quotes| \(made_safe\)|`", ""),
    )
)
"""What the service says to whoever writes JSON, and what a page says instead."""


def in_words(rulebook: Rulebook, said: str, zone: str = "UTC") -> str:
    """A refusal with every id of the rulebook as its title, and every moment on the store's clock."""
    titles = _titles(rulebook)

    def titled(found: re.Match[str]) -> str:
        return titles.get(found[0].strip('"'), found[0].strip('"').replace("_", " "))

    for pattern, instead in _FOR_PROGRAMS:
        said = pattern.sub(instead, said)
    said = MOMENT.sub(lambda found: local_time(found[0], zone), said)
    return WORD.sub(titled, DAY.sub(_day, said))


def _day(found: re.Match[str]) -> str:
    """A day as it is read; what is no day of the calendar stays."""
    try:
        return date_words(date.fromisoformat(found[0]))
    except ValueError:
        return found[0]


@once_per_rulebook
def _titles(rulebook: Rulebook) -> Mapping[str, str]:
    """Title by id of what people read about; where one id stands for two things, the caution counts."""
    kinds = (rulebook.facts, rulebook.causes, rulebook.checks, rulebook.symptoms)
    titles = {id_: each.title for kind in kinds for id_, each in kind.items()}
    cautions = {id_: each.head.title for id_, each in rulebook.cautions.items()}
    authorities = {id_: each.title for id_, each in rulebook.authorities.items()}
    outcomes = {str(id_): title for id_, title in OUTCOME_TITLES.items()}
    return {**titles, **authorities, **cautions, **outcomes}
