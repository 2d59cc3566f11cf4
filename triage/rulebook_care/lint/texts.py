"""Texts that tell a clerk to open the machine, and texts that still wait to be filled in."""

from __future__ import annotations

import re
from collections.abc import Iterator

from triage.rulebook.model import Rulebook
from triage.rulebook_care.lint.findings import Finding, finding
from triage.rulebook_care.reasoning.space import Reasoning, heads
from triage.values.plain_data import Path

TO_FILL_IN = "TODO"
"""What a text starts with as long as nobody has written it."""

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
    rf"|\b(?:tak|pull|lift|pop|get)(?:e|ing)?\s+{_GAP}{_THING}\s+(?:off|apart|out|open)\b",
    re.IGNORECASE,
)
_ONLY_WITH_OPENING = re.compile(
    r"\b(?:remov(?:e|ing)|(?:tak|pull|lift|pop)(?:e|ing)? (?:off|out))\s+the machine$", re.IGNORECASE
)
_SOMEONE_ELSE = re.compile(
    r"\b(?:not|never|no one|nobody|without|cannot|nor|neither|technicians?|electricians?|contractor)\b"
    r"|n['’]t\b",
    re.IGNORECASE,
)
_CLAUSE = re.compile(r"[^.;:!?\n]+")


def text_findings(reason: Reasoning) -> Iterator[Finding]:
    """Codes opens-panel, to-fill-in, to-fill-in-live."""
    rulebook = reason.rulebook
    for rule, file, path, text in clerk_texts(rulebook):
        words = opening_words(text)
        if words is not None:
            message = f"a clerk is told to “{words}”"
            fix = "A store opens nothing that needs a tool; leave it to the technician"
            yield finding("opens-panel", rule, file, message, fix, path)
    for head in heads(rulebook):
        for key, text in (
            ("title", head.title),
            ("owner", head.owner),
            ("why", head.why),
            ("source", head.source),
            ("known_misfires", head.known_misfires),
        ):
            if text.startswith(TO_FILL_IN):
                code = "to-fill-in-live" if head.status == "live" else "to-fill-in"
                message = f"`{key}` of {head.id} still waits to be filled in"
                yield finding(code, head.id, head.file, message, "Write it", (key,))


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
