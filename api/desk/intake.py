"""What was understood of the words of a new report, as chips: who, where, dangers, symptoms, facts."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Any

from werkzeug.datastructures import MultiDict

from api.pages.texts import tell
from api.pages.words import fact_words, symptom_words, title_words
from triage.inputs.heard import Heard, hear, match_symptoms
from triage.inputs.machine_search import ListedMachine
from triage.intake.facts import heard_facts
from triage.intake.places import Place
from triage.rulebook.fact_values import write_value
from triage.rulebook.model import Rulebook, Symptom
from triage.values.json_text import read_strict, to_json

MOST_KEYS = 9


@dataclass(frozen=True, slots=True)
class HeardRow:
    """A place of the note where a danger was heard; `name` is its field in the form.

    `before`, `quote` and `after` are its sentence; `ask` makes sure of it. `answer` is why the words mean no
    danger, empty where it is so or nobody is sure; None while nobody has said.
    """

    name: str
    title: str
    before: str
    quote: str
    after: str
    ask: str
    answer: str | None


@dataclass(frozen=True, slots=True)
class Chip:
    """What may be so: a box of the form; `key` is its digit, empty without one."""

    name: str
    value: str
    title: str
    words: str
    quote: str
    chosen: bool
    key: str


@dataclass(frozen=True, slots=True)
class Understood:
    """`machines` may be meant, `machine` is; `given` holds whom to call back as typed or heard.

    `marks` are the words, piece by piece, each with what was heard in it: "danger", "fact", "who" or "".
    """

    dangers: tuple[HeardRow, ...]
    chips: tuple[Chip, ...]
    rest: tuple[Symptom, ...]
    chosen: frozenset[str]
    machines: tuple[ListedMachine, ...]
    machine: str
    given: dict[str, str] = field(default_factory=dict)
    marks: tuple[tuple[str, str], ...] = ()

    @property
    def open_danger(self) -> HeardRow | None:
        """The first danger that nobody has answered yet."""
        return next((row for row in self.dangers if row.answer is None), None)


def named(heard: Sequence[Heard]) -> Iterator[tuple[str, Heard]]:
    """Each place with the name of its field in the form: the second one of a list is `heard.LIST.2`."""
    number: Counter[str] = Counter()
    for each in heard:
        number[each.words] += 1
        nth = number[each.words]
        yield f"heard.{each.words}" + (f".{nth}" if nth > 1 else ""), each


def answer_to(form: MultiDict[str, str], name: str, heard: Heard) -> str | None:
    """Why the agent says that a place was misread, empty if it stands; None where nobody has said."""
    if form.get(f"quoted.{name}", heard.quote) != heard.quote:
        return None
    return form.get(name)


def told(form: MultiDict[str, str], place: Place) -> dict[str, str]:
    """What is no decision's: as typed, else as heard; `was.NAME` was heard before."""
    heard = {name: str(getattr(place, name)) for name in ("caller", "phone", "site", "serial_said")}
    typed = {name: form.get(name, "").strip() for name in heard}
    return {
        name: said if typed[name] == form.get(f"was.{name}", "") else typed[name]
        for name, said in heard.items()
    }


def answers(form: MultiDict[str, str]) -> tuple[dict[str, Any], list[str]]:
    """The facts that were confirmed, and those that nobody knows."""
    confirmed = [(fact, value) for fact, _, value in (text.partition("=") for text in form.getlist("fact"))]
    found = {fact: read_strict(value.encode()) for fact, value in confirmed if value}
    return found, [fact for fact, value in confirmed if not value]


def understood(
    rulebook: Rulebook,
    words: str,
    place: Place,
    machine: str,
    form: MultiDict[str, str],
    today: date,
) -> Understood:
    """What the words say, with what the form says of it already: a chip shown before stays as it was left."""
    dangers = tuple(_danger_rows(rulebook, words, form))
    shown, ticked = set(form.getlist("shown")), {*form.getlist("symptom"), *form.getlist("fact")}
    matches = match_symptoms(rulebook, words) if words else ()
    boxes = [
        ("symptom", match.symptom, symptom_words([match.symptom]), "", match.phrase) for match in matches
    ]
    extra = [id_ for id_ in form.getlist("symptom") if id_ in rulebook.symptoms]
    boxes += [
        ("symptom", id_, symptom_words([id_]), "", "")
        for id_ in extra
        if id_ not in {match.symptom for match in matches}
    ]
    facts = heard_facts(rulebook, words, today)
    for heard in facts:
        written = "" if heard.value is None else to_json(write_value(heard.value))
        known = "?" if heard.value is None else fact_words(rulebook, heard.fact, heard.value)
        title = title_words(rulebook.facts, heard.fact)
        boxes.append(("fact", f"{heard.fact}={written}", title, known, heard.quote))
    keyed = all(row.answer is not None for row in dangers)
    chips = tuple(
        Chip(
            name,
            value,
            title,
            known,
            quote if quote != title else "",
            value in ticked or (value not in shown and (bool(shown) or not ticked)),
            str(number) if keyed and number <= MOST_KEYS else "",
        )
        for number, (name, value, title, known, quote) in enumerate(boxes, start=1)
    )
    if dangers and not chips:  # nothing but a danger was heard
        ticked |= {one.id for one in rulebook.symptoms.values() if one.says_little}
    first = {chip.value for chip in chips if chip.name == "symptom"}
    rest = sorted(
        (one for one in rulebook.symptoms.values() if one.id not in first), key=lambda one: one.says_little
    )
    return Understood(
        dangers,
        chips,
        tuple(rest),
        frozenset(ticked),
        place.machines,
        machine,
        told(form, place),
        _marks(
            words,
            who=[_span(words, said) for said in place.said],
            fact=[
                *(_span(words, fact.quote) for fact in facts),
                *(span for match in matches for span in match.places),
            ],
            danger=[(each.start, each.end) for each in hear(rulebook, words)],
        ),
    )


def _span(words: str, said: str) -> tuple[int, int]:
    start = words.find(said)
    return (start, start + len(said)) if start >= 0 else (0, 0)


def _marks(words: str, **spans: Iterable[tuple[int, int]]) -> tuple[tuple[str, str], ...]:
    """The words cut where the mark changes; what stands later in `spans` covers what stands earlier."""
    kinds = [""] * len(words)
    for kind, places in spans.items():
        for start, end in places:
            kinds[start:end] = [kind] * (end - start)
    cuts = [0, *(at for at in range(1, len(words)) if kinds[at] != kinds[at - 1]), len(words)]
    return tuple((words[start:end], kinds[start]) for start, end in pairwise(cuts) if start < end)


def _danger_rows(rulebook: Rulebook, words: str, form: MultiDict[str, str]) -> Iterator[HeardRow]:
    for name, each in named(hear(rulebook, words)):
        fact = rulebook.words[each.words].danger
        known = rulebook.facts.get(fact or "")
        start = max(words.rfind(mark, 0, each.start) for mark in ".!?\n") + 1
        ends = [end for mark in ".!?\n" if (end := words.find(mark, each.end)) >= 0]
        yield HeardRow(
            name,
            tell(rulebook.words[each.words].title if known is None else known.title),
            words[start : each.start].lstrip(),
            each.quote,
            words[each.end : min(ends, default=len(words))],
            "" if known is None else known.ask or "",
            answer_to(form, name, each),
        )
