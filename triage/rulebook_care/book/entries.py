"""The entries of the book: one plain line and a Markdown text for each thing of a rulebook, from templates.

Pages and document show the same entries. A kind's macros in `templates/entries.md` and `templates/lines.txt`
have its name.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property, partial
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from jinja2.environment import TemplateModule
from markupsafe import Markup

from triage.rulebook.built_in_facts import LOCAL_CODES, every_fact, titles_of
from triage.rulebook.model import Rulebook
from triage.rulebook_care.book.names import Names, PlainNames, Say, code, id_of, plain_value, text, title_of
from triage.rulebook_care.book.references import KINDS, Key
from triage.values.shown import N_

BUILT_IN = "built in"
"""Where a fact stands that every rulebook has; other entries name their file."""

_ORDER: Mapping[str, Callable[[Any], tuple[Any, ...]]] = {
    "evidence": lambda rule: (rule.group or rule.head.id, rule.band, rule.head.id),
    "policy": lambda rule: (-rule.priority, rule.head.id),
}
_EMPTY_LINES = re.compile(r"\n{3,}")


@dataclass(frozen=True)
class Entry:
    """One thing that the rulebook says. `line` sums it up; `status` is empty for kinds that have none.

    Its Markdown links to other entries as `#kind-id`. Both are made when they are first asked for.
    """

    kind: str
    id: str
    title: str
    file: str
    status: str
    owner: str
    _line: Callable[[], str]
    _markdown: Callable[[], str]

    @property
    def key(self) -> Key:
        return self.kind, self.id

    @cached_property
    def line(self) -> str:
        return " ".join(self._line().split())

    @cached_property
    def markdown(self) -> str:
        return _EMPTY_LINES.sub("\n\n", str(self._markdown())).strip() + "\n"


def templates(**options: Any) -> Environment:
    """The environment of the book's templates; `finalize=text` escapes what people wrote for Markdown."""
    made = Environment(
        loader=PackageLoader("triage.rulebook_care.book"),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        **options,
    )
    made.filters |= {
        "cents": lambda amount: f"{amount:.2f}",
        "code": code,
        "fixed": lambda number: f"{number:f}",
        "markdown": Markup,
        "per_hundred": lambda chance: f"{chance * 100:g}",
        "percent": lambda share: f"{(100 * Decimal(share)).normalize():f}",
        "outcome": titles_of,
        "ranked": lambda counts: sorted(counts.items(), key=lambda item: (-item[1], item[0])),
        "spaced": lambda name: str(name).replace("_", " "),
        "value": plain_value,
        "telling": lambda seen, others: sorted(
            seen.items(), key=lambda item: (-abs(item[1] - others), item[0])
        ),
    }
    made.globals["local_codes"] = LOCAL_CODES
    made.tests["has"] = lambda things, one: one in things
    return made


MARKDOWN = templates(autoescape=True, finalize=text)
PLAIN = templates()


def whole(rulebook: Rulebook) -> Rulebook:
    """The rulebook with the facts that every rulebook has."""
    return replace(rulebook, facts=every_fact(rulebook))


def entries_of(rulebook: Rulebook, say: Say = str) -> Iterator[Entry]:
    """All entries in the order of the book, what people read said by `say`."""
    book = whole(rulebook)
    said = MARKDOWN.get_template("entries.md").make_module(
        {"book": book, "names": Names(book, say), "_": say}
    )
    plain = {"book": book, "names": PlainNames(book, say), "_": say}
    lines = PLAIN.get_template("lines.txt").make_module(plain)
    for kind in KINDS:
        if kind == "program":
            yield from _program(book, said, say)
            continue
        order = _ORDER.get(kind, lambda thing: (title_of(thing), id_of(thing)))
        for thing in sorted(getattr(book, kind).values(), key=order):
            name, head = id_of(thing), getattr(thing, "head", None)
            yield Entry(
                kind,
                name,
                say(title_of(thing)),
                BUILT_IN if kind == "facts" and name not in rulebook.facts else f"{kind}/{name}.yml",
                head.status if head else "",
                head.owner if head else "",
                partial(getattr(lines, kind), thing),
                partial(getattr(said, kind), thing),
            )


def _program(book: Rulebook, said: TemplateModule, say: Say) -> Iterator[Entry]:
    """The files of which a rulebook has one."""
    approvers = next((f"limits/{one.id}.yml" for one in book.limits.values() if one.kind == "authority"), "")
    agreements, points = len(book.rates.contractors), len(book.installation.points)
    for name, title, line in (
        ("rates", N_("What visits cost"), say(N_("%s agreements beside the default")) % agreements),
        ("parts", N_("Parts and their prices"), say(N_("%s parts")) % len(book.parts)),
        ("service_hours", N_("Service hours and priorities"), say(N_("When a technician comes"))),
        ("models", N_("Models of machines"), say(N_("%s models")) % len(book.models)),
        ("installation", N_("Installations"), say(N_("%s points")) % points),
        ("rulebook", N_("The program's own numbers"), say(N_("Tolerances and care"))),
        ("authorities", N_("Who approves what"), say(N_("%s authorities")) % len(book.authorities)),
    ):
        there = {"authorities": book.authorities, "installation": book.installation.points}
        if there.get(name, True):
            file = approvers if name == "authorities" else f"{name}.yml"
            yield Entry("program", name, say(title), file, "", "", partial(str, line), getattr(said, name))
