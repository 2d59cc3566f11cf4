"""Texts that tell a clerk to open the machine, and texts that still wait to be filled in."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import TypeAlias
from unicodedata import category, name

from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Caution, PolicyRule, Rulebook, Status
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.space import Reasoning
from triage.values.plain_data import Path

_TO_FILL_IN = re.compile(r"\bTODO\b:|^TODO\b|\blorem\b")
"""What a scaffold leaves in a text as long as nobody has written it."""

_UNSEEN = ("Cf", "Cc", "Co", "Cn", "Zl", "Zp", "Zs")
"""Categories of Unicode that show nothing, or turn what is around them."""
_PLAIN = re.compile(r"[\n\t -~¡¿°×ÁÉÍÑÓÚÜáéíñóúü–—‘’“”…]*")
_LATIN = ("LATIN ", "FEMININE ", "MASCULINE ", "MICRO ", "OHM ", "GREEK CAPITAL LETTER OMEGA")
_KINDS = (
    *("facts", "symptoms", "causes", "derive", "evidence", "cautions"),
    *("checks", "policy", "warranty", "limits", "words", "cases"),
)
_KEYS: Mapping[str, Path] = {"head": (), "risks": ("at_risk",), "sets": ("then", "set")}
"""Field of a value -> where it stands in its file, if not under its own name."""

_THING = (
    r"(?:panels?|housings?|casings?|enclosures?|screws?|terminal box(?:es)?|junction box(?:es)?"
    r"|(?:back|rear|side|cover|top|bottom|base) ?plates?|(?:service|access) (?:door|hatch|cover)s?"
    r"|(?:side|back|rear|top|motor|electrical|control|bottom) covers?|outer shell|(?:the|its) covers?"
    r"|(?:the|its) (?:side|back)|machine(?:'s)? (?:body|case)|the machine)"
)
_GAP = r"(?:[\w'’,-]+\s+){0,4}?"
_OPENS = re.compile(
    rf"\b(?:open(?:ing)?(?: up)?|unscrew(?:ing)?|undo(?:ing)?|dismantl(?:e|ing)|disassembl(?:e|ing)"
    rf"|unbolt(?:ing)?|pry(?:ing)?(?: open| off)?|remov(?:e|ing)|loosen(?:ing)?|detach(?:ing)?"
    rf"|(?:tak|pull|lift|pop)(?:e|ing)? (?:off|apart|out))\s+{_GAP}{_THING}\b"
    rf"|\b(?:tak|pull|lift|pop|get)(?:e|ing)?\s+{_GAP}{_THING}\s+(?:off|apart|out|open)\b"
    r"|(?<!\bno )\b(?:abra|abrir|destape|desatornille|desmonte|afloje|quite|saque|retire)\s+"
    r"(?:[\w,-]+\s+){0,3}?"
    r"(?:paneles|panel|carcasa|gabinete|tornillos?|cubierta|tapa (?:trasera|lateral|de atrás))\b",
    re.IGNORECASE,
)
_ONLY_WITH_OPENING = re.compile(
    r"\b(?:remov(?:e|ing)|(?:tak|pull|lift|pop)(?:e|ing)? (?:off|out))\s+the machine$", re.IGNORECASE
)
_SOMEONE_ELSE = re.compile(
    r"\b(?:not|never|no one|nobody|without|cannot|nor|neither|technicians?|electricians?|contractor)\b"
    r"|n['’]t\b|\b(?:nunca|sin|nadie|ni|técnico|electricista)\b",
    re.IGNORECASE,
)
_NUMBERS = re.compile(r"\d+(?:[.,]\d+)?")
_SENTENCE_END = re.compile(r"(?<=[.!?])\s+")
_CLAUSE = re.compile(r"[^.;:!?\n]+")


def text_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes opens-panel, to-fill-in, to-fill-in-live, invisible-character, blank-text, spanish-missing."""
    rulebook = reason.rulebook
    yield from _spanish_gaps(rulebook)
    for rule, file, path, text, _ in _in_both(rulebook, ((*each, "live") for each in clerk_texts(rulebook))):
        words = opening_words(text)
        if words is not None:
            message = f"a clerk is told to “{words}”"
            fix = "A store opens nothing that needs a tool; leave it to the technician"
            yield finding("opens-panel", rule, file, message, fix, path)
    english, fine = "", set[str]()  # most texts stand in many places, as keys and names do
    for rule, file, path, text, status in _in_both(rulebook, every_text(rulebook)):
        if text is rulebook.spanish.get(english) and _NUMBERS.findall(text) != _NUMBERS.findall(english):
            message = f"the Spanish of {rule} says other numbers than the English: “{text[:80]}”"
            yield finding("says-otherwise", rule, file, message, "Make them say the same", path)
        english = text
        if text in fine:
            continue
        key = key_in(path)
        if status != "retired" and _TO_FILL_IN.search(text):
            code = "to-fill-in-live" if status == "live" else "to-fill-in"
            message = f"`{key}` of {rule} still waits to be filled in"
            yield finding(code, rule, file, message, "Write it", path)
        odd = None if _PLAIN.fullmatch(text) else next(filter(_unseen, text), None)
        if odd is not None:
            message = f"`{key}` of {rule} holds {name(odd, 'a control character')} (U+{ord(odd):04X})"
            fix = "It is not what it looks like: type the text anew"
            yield finding("invisible-character", rule, file, message, fix, path)
        elif not text.strip():
            message = f"`{key}` of {rule} is blank"
            yield finding("blank-text", rule, file, message, "Write it, or take the line out", path)
        elif not _TO_FILL_IN.search(text):
            fine.add(text)


_Text: TypeAlias = tuple[str, str, Path, str, Status]


def _in_both(rulebook: Rulebook, texts: Iterable[_Text]) -> Iterator[_Text]:
    """Each text, followed by the Spanish that stands beside it."""
    for rule, file, path, text, status in texts:
        yield rule, file, path, text, status
        if text in rulebook.spanish:
            yield rule, file, spanish_of(path), rulebook.spanish[text], status


def spanish_of(path: Path) -> Path:
    """Where the Spanish of the text at a place stands beside it."""
    at = max(index for index, part in enumerate(path) if isinstance(part, str))
    at -= at > 0 and path[at - 1] == "choices"
    return (*path[:at], f"{path[at]}_es", *path[at + 1 :])


def _spanish_gaps(rulebook: Rulebook) -> Iterator[Finding]:
    for file, keys in rulebook.spanish_gaps.items():
        rule = file.rpartition("/")[2].removesuffix(".yml")
        message = f"{rule} has no {', '.join(keys)}, though the rulebook speaks Spanish"
        yield finding("spanish-missing", rule, file, message, "Write what clerks hear in both languages")


def key_in(path: Path) -> str:
    """The key that a text stands under, as findings name it."""
    return next((str(part) for part in reversed(path) if isinstance(part, str)), "it")


def sentences(text: str) -> tuple[str, ...]:
    return tuple(each for each in _SENTENCE_END.split(text.strip()) if each)


def _unseen(sign: str) -> bool:
    """Whether a character shows nothing, or is a letter that only looks like one of ours."""
    if sign.isalpha():
        return not name(sign, "").startswith(_LATIN)
    return category(sign) in _UNSEEN and sign not in " \n\t"


@once_per_rulebook
def every_text(rulebook: Rulebook) -> tuple[_Text, ...]:
    """Id, file, place, text and status of all that is written, keys of mappings included."""
    return tuple(_every_text(rulebook))


def _every_text(rulebook: Rulebook) -> Iterator[_Text]:
    for kind in _KINDS:
        for id_, entry in getattr(rulebook, kind).items():
            status: Status = getattr(getattr(entry, "head", entry), "status", "live")
            yield from ((id_, f"{kind}/{id_}.yml", *each, status) for each in _texts_in(entry))
    singles = {"rulebook.yml": {"title": rulebook.title}, "models.yml": {"models": rulebook.models}}
    for file, data in (*singles.items(), ("parts.yml", {"parts": rulebook.parts})):
        yield from ((file.removesuffix(".yml"), file, *each, "live") for each in _texts_in(data))
    for table in rulebook.limits.values():
        if table.kind == "authority":
            people = _texts_in(rulebook.authorities, ("authorities",))
            yield from ((table.id, f"limits/{table.id}.yml", *each, "live") for each in people)


def _texts_in(value: object, path: Path = ()) -> Iterator[tuple[Path, str]]:
    match value:
        case str():
            yield path, value
        case Mapping():
            for key, part in value.items():
                if isinstance(key, str):
                    yield (*path, key), key
                yield from _texts_in(part, (*path, key))
        case tuple() | list():
            for index, part in enumerate(value):
                yield from _texts_in(part, (*path, index))
        case frozenset():
            yield from ((path, str(part)) for part in sorted(value, key=str))
        case Caution() | PolicyRule():
            yield from _texts_in(value.head, path)
            yield ("then", "text"), value.text
            yield from _texts_in(getattr(value, "defers_to", ()), ("then", "defers_to"))
        case _ if is_dataclass(value):
            for each in fields(value):
                if each.name not in ("id", "file", "note", "unit"):
                    where = _KEYS.get(each.name, (each.name,))
                    yield from _texts_in(getattr(value, each.name), (*path, *where))


def clerk_texts(rulebook: Rulebook) -> Iterator[tuple[str, str, Path, str]]:
    """Id, file, place and text of everything a clerk may read."""
    for check in rulebook.checks.values():
        file = f"checks/{check.id}.yml"
        if check.who == "clerk":
            yield check.id, file, ("title",), check.title
            yield check.id, file, ("look_for",), check.look_for
            for index, step in enumerate(check.steps):
                yield check.id, file, ("steps", index), step
    for fact in rulebook.facts.values():
        for key, text in (("ask", fact.ask), ("help", fact.help)):
            if text and fact.asked_of == "clerk":
                yield fact.id, f"facts/{fact.id}.yml", (key,), text
    said = [
        *((caution.head, caution.text) for caution in rulebook.cautions.values()),
        *((rule.head, rule.text) for rule in rulebook.policy.values()),
    ]
    for head, text in said:
        if head.status != "retired":
            yield head.id, head.file, ("then", "text"), text


def opening_words(text: str) -> str | None:
    """The words by which a text tells its reader to open the machine, or None.

    "Do not open the panel" and "the technician opens the panel" tell the reader no such thing.
    """
    for clause in _CLAUSE.finditer(text):
        for found in _OPENS.finditer(clause[0]):
            before = clause[0][: found.start()]
            if not _SOMEONE_ELSE.search(before) and not _ONLY_WITH_OPENING.search(found[0]):
                return found[0]
    return None
