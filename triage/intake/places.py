"""Who calls, from which store and about which machine, heard in the words of a call.

A serial, an asset tag, a store's number or phone counts when it is said whole; a store's name by its town or
by two of its words. What looks like a serial and is in no record is kept as it was said.
"""

import re
from collections import Counter
from dataclasses import dataclass, field

from triage.inputs.machine_search import ListedMachine, MachineIndex, machines_named
from triage.inputs.word_forms import said_words

_PHONE = re.compile(r"(?<![\w-])\+?(?:\d[ .-]?)?(?:\(\d{3}\) ?|\d{3}[ .-])?\d{3}[ .-]\d{4}(?![\w-])")
_NUMBER = re.compile(r"(?<![\w-])(?=[\w-]*\d)[A-Za-z]{0,5}[ -]?\d[\w-]*", re.ASCII)
_CAPITAL = r"[A-ZÁÉÍÓÚÑ][\w'’-]+"
_NAME = re.compile(
    rf"\b(?i:this is|my name is|name is|clerk|soy|me llamo|habla)\s+({_CAPITAL}(?: {_CAPITAL})?)"
    rf"|\b({_CAPITAL}) (?:here|calling)\b"
    rf"|^({_CAPITAL}) (?:from|at|de) (?=[A-ZÁÉÍÓÚÑ\d]|store |la tienda )"
)
_NUMBERED = ("serial", "asset tag", "store", "phone")
FEW = 30
"""Machines that a word may name; one that names more, such as the chain's own, says nothing of where."""
LEAST_SERIAL = 5
MOST_MACHINES = 8


@dataclass(frozen=True, slots=True)
class Place:
    """`machines` are those that may be meant; `sure` where only one is. `serial_said` is in no record.

    `site` is the store's number, empty where none or several were named. `said` are the words that tell it.
    """

    machines: tuple[ListedMachine, ...] = ()
    sure: bool = False
    site: str = ""
    serial_said: str = ""
    caller: str = ""
    phone: str = ""
    said: tuple[str, ...] = field(default=(), compare=False)


def heard_place(index: MachineIndex, text: str) -> Place:
    """What a text says of caller, store and machine; nothing is taken for granted but what stands there."""
    phones = [found[0].strip() for found in _PHONE.finditer(text)]
    rest = _PHONE.sub(" ", text)
    numbers = [found[0].strip() for found in _NUMBER.finditer(rest)]
    phones += [number for number in numbers if machines_named(index, number, ("phone",))]
    hits = [found for number in numbers if (found := machines_named(index, number, ("serial", "asset tag")))]
    least = min(map(len, hits), default=0)
    named = [machine for found in hits if len(found) == least for machine in found]
    stores = [one for phone in phones for one in machines_named(index, phone, ("phone",))]
    stores += [one for number in numbers for one in machines_named(index, number, ("store",))]
    here, by_words = _stores_named(index, rest)
    stores += here
    unknown = [
        number
        for number in numbers
        if len(re.sub(r"\W", "", number)) >= LEAST_SERIAL
        if not machines_named(index, number, _NUMBERED)
    ]
    sites_named = {machine.site for machine in stores}
    meant = [machine for machine in named if machine.site in sites_named] or named or stores
    machines = tuple(dict.fromkeys(meant))
    sites = {machine.site for machine in machines} - {""}
    caller = _NAME.search(text)
    told = [number for number in numbers if machines_named(index, number, _NUMBERED)]
    return Place(
        machines[:MOST_MACHINES],
        len(machines) == 1,
        sites.pop() if len(sites) == 1 else "",
        "" if named or not unknown else unknown[0],
        next(filter(None, caller.groups()), "") if caller else "",
        phones[0] if phones else "",
        (*by_words, *told, *unknown[:1], *phones, *(filter(None, caller.groups()) if caller else ())),
    )


def _stores_named(index: MachineIndex, text: str) -> tuple[list[ListedMachine], list[str]]:
    """The machines of the stores that most words of the text name, and those words."""
    words = {word.plain: text[word.start : word.end] for word in said_words(text) if word.is_word}
    named: Counter[ListedMachine] = Counter()
    named_by: dict[str, frozenset[ListedMachine]] = {}
    in_town: set[ListedMachine] = set()
    for word in words:
        hits = machines_named(index, word, ("store", "town"))
        counts = len(hits) <= FEW and not word.isdigit()
        named_by[word] = frozenset(hits if counts else ())
        if counts:
            named.update(hits)
            in_town.update(machines_named(index, word, ("town",)))
    likely = {one: count for one, count in named.items() if count > 1 or one in in_town}
    most = max(likely.values(), default=0)
    stores = [one for one, count in likely.items() if count == most]
    by = [said for word, said in words.items() if not named_by[word].isdisjoint(stores)]
    return stores, by
