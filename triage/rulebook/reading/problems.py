"""Where things stand in the rulebook's files, and the one list in which all problems are collected."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from triage.rulebook.model import Fact, Status
from triage.rulebook.reading.table_shapes import DatedShape
from triage.rulebook.validity import ALWAYS_VALID, Validity
from triage.values.errors import Problem, path_to, pointer_to
from triage.values.plain_data import Path
from triage.values.shown import hint
from triage.values.yaml_source import Source


@dataclass(slots=True)
class Problems:
    """Collects problems, each located as exactly as its file allows."""

    sources: Mapping[str, Source]
    found: list[Problem] = field(default_factory=list)

    def at(
        self, file: str, path: Path, message: str, *, column: int | None = None, key: bool = False
    ) -> None:
        """Adds a problem at `path` of `file`; `column` (1-based) is within the value's text."""
        source = self.sources.get(file)
        pointer = pointer_to(path)
        place = None
        if source is not None:
            places = source.keys if key else source.values
            place = places.get(path)
            around = path
            while place is None and around:
                place = source.values.get(around)
                around = around[:-1]
            place = place or source.values.get(())
        if place is None:
            named = bool(path) and message.startswith(f"{path[-1]}: ")
            above = ".".join(str(part) for part in (path[:-1] if named else path))
            start = above and (f"{above}." if named else f"{above}: ")
            self.found.append(Problem(f"{start}{message}", pointer, file))
            return
        exact = column is not None and place.text_column is not None
        at_column = (place.text_column or 0) + (column or 1) - 1 if exact else place.column
        self.found.append(Problem(message, pointer, file, place.line, at_column))

    def line(self, file: str, path: Path) -> int:
        """The line of a value, 0 when the data did not come from a file."""
        source = self.sources.get(file)
        place = source.values.get(path) if source is not None else None
        return place.line if place is not None else 0


def path_of(problem: Problem) -> Path:
    """The path of a problem that `Problems` located; list indexes as text."""
    return path_to(problem.pointer or "")


@dataclass(frozen=True, slots=True)
class Names:
    """Every id there is, by kind, broken files included, so that one broken file is not reported twice."""

    problems: Problems
    ids: Mapping[str, Collection[str]]  # folder -> ids
    facts: Mapping[str, Fact]  # the vocabulary, built-in facts included, without broken ones
    parts: Collection[str] | None  # None: parts.yml is missing or broken
    priorities: Collection[int] | None
    later: Collection[str] = frozenset()  # facts computed only after these rules are asked
    set_aside: Mapping[str, Mapping[str, Status]] = field(default_factory=dict)  # kind -> id -> not live
    apart: Collection[str] = frozenset()  # files that are not live themselves

    def check(
        self,
        kind: str,
        wanted: str,
        file: str,
        path: Path,
        *,
        key: bool = False,
        words: Collection[str] = (),
    ) -> bool:
        """Whether `wanted` is an id of `kind`; adds a problem when it is not.

        `words` are other words that could have been meant at this place.
        """
        if wanted in self.ids[kind] and not (kind == "facts" and wanted in self.later):
            self.refuse_set_aside(kind, wanted, file, path, key)
            return True
        noun, name = kind.removesuffix("s"), wanted[:64]
        if wanted in self.ids[kind]:
            message = f'"{name}" is computed after these rules are asked; only later rules may look at it'
        else:
            known = [*(name for name in self.ids[kind] if name not in self.later), *words]
            message = (
                f'there is no {noun} "{name}"{hint(wanted, known, f"; {kind}/{name}.yml would define it")}'
                f"; to be rid of a {noun} and all that names it, retire it: rulebook retire {kind} {name}"
            )
        self.problems.at(file, path, message, key=key)
        return False

    def refuse_set_aside(self, kind: str, wanted: str, file: str, path: Path, key: bool = False) -> None:
        """A draft does not apply and what is retired no longer does: nothing that is live may hang on it."""
        status = self.set_aside.get(kind, {}).get(wanted)
        if status is None or file in self.apart or kind == "cautions":  # of those the lint speaks
            return
        noun = kind.removesuffix("s")
        say = "make it live there, or this a draft" if status == "draft" else "take it out, or retire this"
        message = f'the {noun} "{wanted}" is {status} by {kind}/{wanted}.yml; {say}'
        self.problems.at(file, path, message, key=key)

    def fact(
        self, wanted: str, file: str, path: Path, *, key: bool = True, words: Collection[str] = ()
    ) -> Fact | None:
        """The fact, or None with a problem when it does not exist (without one when its file is broken)."""
        known = self.check("facts", wanted, file, path, key=key, words=words)
        return self.facts.get(wanted) if known else None


def read_validity(problems: Problems, file: str, path: Path, shape: DatedShape) -> Validity:
    """From which day to which a rule, fact, row, terms or an agreement holds."""
    valid = shape.as_record(Validity)
    if valid.last < valid.first:
        message = f"it ends on {valid.last}, before it begins on {valid.first}"
        problems.at(file, (*path, "valid_to"), message)
        return ALWAYS_VALID
    return valid
