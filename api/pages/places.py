"""Where on a machine the parts are that a store looks for; each has a drawing in `_places.html`."""

import re
from collections.abc import Iterable

from api.pages.texts import gettext
from triage.values.shown import N_

PLACES = {
    "filter": re.compile(r"\b(air )?filter\b", re.IGNORECASE),
    "plug": re.compile(r"\b(un)?plug(ged)?\b|\boutlet\b", re.IGNORECASE),
    "seal": re.compile(r"\bseals?\b", re.IGNORECASE),
    "drain": re.compile(r"\b(drip )?tray\b|\bdrain\b", re.IGNORECASE),
    "night": re.compile(r"\bnight mode\b", re.IGNORECASE),
}
"""Place -> the English words that speak of it."""


def places_in(texts: Iterable[str]) -> tuple[str, ...]:
    """The places that these steps speak of, in the order of `PLACES`."""
    said = " ".join(texts)
    return tuple(place for place, words in PLACES.items() if words.search(said))


TITLES = {
    "filter": N_("Air filter: slides out at the front or side, without a tool"),
    "plug": N_("Plug and outlet: behind the machine, at the end of the cord"),
    "seal": N_("Seal: the ring between hopper and machine"),
    "drain": N_("Drip tray and its drain: under the taps"),
    "night": N_("Night mode: the moon on the panel"),
}
"""What the drawing of each place shows."""


def place_words() -> dict[str, str]:
    """The same in the language of the pages."""
    return {place: gettext(title) for place, title in TITLES.items()}
