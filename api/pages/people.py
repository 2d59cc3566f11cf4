"""What the service says went wrong, in the words of people: titles for ids, the store's time for moments."""

import re
from collections.abc import Mapping
from dataclasses import replace

from api.pages.words import local_time
from triage.rulebook.built_in_facts import OUTCOME_TITLES
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.values.errors import Problem

MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d+)?)?(?:Z|[+-]\d\d:\d\d)")
WORD = re.compile(r"\"?\b[a-z][a-z0-9]*(?:[_-][a-z0-9]+)+\b\"?")


def in_words(rulebook: Rulebook, problem: Problem, zone: str = "UTC") -> Problem:
    """The problem with every id of the rulebook as its title, and every moment on the store's clock."""
    titles = _titles(rulebook)

    def titled(found: re.Match[str]) -> str:
        return titles.get(found[0].strip('"'), found[0])

    said = MOMENT.sub(lambda found: local_time(found[0], zone), problem.message)
    return replace(problem, message=WORD.sub(titled, said))


@once_per_rulebook
def _titles(rulebook: Rulebook) -> Mapping[str, str]:
    """Title by id of what people read about; where one id stands for two things, the caution counts."""
    kinds = (rulebook.facts, rulebook.causes, rulebook.checks, rulebook.symptoms)
    titles = {id_: each.title for kind in kinds for id_, each in kind.items()}
    cautions = {id_: each.head.title for id_, each in rulebook.cautions.items()}
    authorities = {id_: each.title for id_, each in rulebook.authorities.items()}
    outcomes = {str(id_): title for id_, title in OUTCOME_TITLES.items()}
    return {**titles, **authorities, **cautions, **outcomes}
