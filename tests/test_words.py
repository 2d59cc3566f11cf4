"""One word for one thing in all that people read: rules, pages, messages, documents, in both languages."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pytest
from babel.messages.pofile import read_po
from flask import Flask
from flask_babel import Babel
from jinja2 import Environment

from api.pages.words import decision_words, event_words, outcome_words
from tests import ROOT
from triage.records.payloads import PAYLOADS
from triage.rulebook.built_in_facts import OUTCOME_TITLES, SENT_TITLES, SOLVED, title_of
from triage.rulebook.reading.reader import read_rulebook
from triage.values.yaml_source import read_yaml

NOT_SAID: dict[str, str] = {
    r"\bspirals?\b(?!-)": "auger",
    r"\b(in|no|under|out of|beyond|what|the) cover\b(?! (is|the))|\bcover (terms|left|at risk)": "warranty",
    r"\bwithout a word\b|\bthe word of\b|\bword from\b|\bfor a word\b|\bwhose word\b": "approval",
    r"\bin force\b": "live",
    r"\bmend(s|ed|ing)?\b": "fix",
    r"\b(more|than|most) \S+ signs\b|\bsigns long\b|\bstarts with a sign\b": "character",
    r"\b[Ss]end(s|ing)? someone\b|\bsomeone is sent\b": "Send a technician",
    r"\bexchang(e|es|ed|ing)\b": "swap",
    r"\bcur(e|es|ed|ing)\b": "fix",
    r"\bprogrammes?\b": "program, or service",
    r"\bmoved on\b|\bwhat moves\b|\bnothing moves\b|\bmoves from\b|\bother than before\b": "change",
    r"\b(decid\w+|made) again\b|\bdecide again\b": "redecide",
    r"\bfigures?\b": "numbers, or computed facts",
    r"\btranscripts?\b": "copy",
    r"\bworkbench\b": "nothing: the name is another program's",
    r"\bcolours?\b|\blabour\b|\bauthoris\w+|\bcancelled\b|\bkilometres?\b": "US spelling",
    r"\bplug home\b|\bpush\w* home\b|\bcurrent going astray\b|\bwent astray\b|\bwith two;": "no idiom",
    r"\bnothing .{0,20}\bpays?\b|\bis worth its time\b|\bargued for\b|\boverruled$": "plain words",
    r"\bwhoever felt\b|\bgoes on again\b|\bfalls quiet\b|\ba sort that\b|\bwas a slip\b": "plain words",
    r"\b[Ll]ook (that|whether) ": "Check that",
    r"\bits own fault\b": "Internal error, not your input",
}
"""What nobody reads any more, and the word instead."""

NO_SE_DICE: dict[str, str] = {
    r"\benchufes?\b": "clavija o tomacorriente",
    r"\bla palabra de\b": "la aprobación de",
    r"\bgrifos?\b": "llave de despacho",
    r"\bnevera\b": "refrigerador",
    r"\bavisos?\b(?! de piso)(?=.*\{ticket\})|número de aviso": "reporte",
    r"\bno apague nada\b": "no accione nada",
    r"\bsuelo\b": "piso",
    r"\bcomprobaci(?:ón|ones)\b": "prueba",
}
IDS = re.compile(r"`[^`]*`|\{[^{}]*\}|\w+(?:[-_/.=]\w+)+")
"""Ids, file names and places of texts keep their names: not_cured, cover_parts, rules/warranty."""

MESSAGE_PARTS = ("api", "triage")
DOCUMENTS = ("README.md", "rules/README.md", "rules/DMN.md", "demo/estimate_to_close.md")
YAML_WORDS = (
    "title",
    "ask",
    "help",
    "text",
    "why",
    "say",
    "look_for",
    "known_misfires",
    "steps",
    "note",
    "choices",
)


def faults(text: str, words: dict[str, str]) -> list[str]:
    """What of these words the text has, each with the word instead."""
    said = IDS.sub(" ", text)
    return [f"{text!r}: say {right}" for wrong, right in words.items() if re.search(wrong, said, re.I)]


def texts_of_yaml(data: Any, key: str = "") -> Iterator[str]:
    """The sentences in a rule file's plain data."""
    match data:
        case str() if key in YAML_WORDS:
            yield data
        case list():
            for each in data:
                yield from texts_of_yaml(each, key)
        case dict():
            for name, value in data.items():
                yield from texts_of_yaml(value, key if key == "choices" else str(name))


def texts_of_template(source: str) -> Iterator[str]:
    """Text between tags, and every text constant within `{{ }}` and `{% %}` that holds a space."""
    for _, kind, value in Environment(autoescape=True).lex(source):
        if kind == "data":
            yield from filter(str.strip, re.split(r"<[^>]*>|<[^>]*$|^[^<]*>", value))
        elif kind == "string" and " " in value:
            yield value.strip("\"'")


def texts_of_script(source: str) -> Iterator[str]:
    code = re.sub(r"(^|\s)//[^\n]*", "", source)
    yield from (
        text for text in re.findall(r"\"([^\"\n]*)\"|`([^`]*)`", code) for text in text if " " in text
    )


def texts_of_python(source: str) -> Iterator[str]:
    """Text constants that hold a space: messages and help, and the docstrings of commands and routes."""
    tree = ast.parse(source)
    docs = {id(doc) for node in ast.walk(tree) for doc in _docstring(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield from [node.value] * (" " in node.value.strip())


def _docstring(node: ast.AST) -> Iterator[ast.Constant]:
    """A text that stands by itself; not that of a command, a group or a route, which people read."""
    read = any(
        word in ast.unparse(each)
        for each in getattr(node, "decorator_list", ())
        for word in ("command(", "group(", "blueprint.response")
    )
    for statement in () if read or not isinstance(getattr(node, "body", None), list) else node.body:  # type: ignore[attr-defined]
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            yield statement.value


def catalog(path: str) -> list[tuple[str, str]]:
    """(English, translation) of each message; a plural's two forms as one."""
    messages = read_po(BytesIO((ROOT / path).read_bytes()))
    return [(_joined(message.id), _joined(message.string)) for message in messages if message.id]


def _joined(text: str | tuple[str, ...] | list[str]) -> str:
    return text if isinstance(text, str) else " ".join(text)


def read_by_people() -> Iterator[tuple[str, str]]:
    """(file, text) of everything there is to read in English."""
    for path in sorted((ROOT / "rules").rglob("*.yml")):
        name = path.relative_to(ROOT).as_posix()
        yield from ((name, text) for text in texts_of_yaml(read_yaml(path.read_bytes(), name).data))
    readers = {
        **dict.fromkeys((".html", ".md", ".txt"), texts_of_template),
        ".js": texts_of_script,
        ".py": texts_of_python,
    }
    for part in MESSAGE_PARTS:
        for path in sorted((ROOT / part).rglob("*")):
            if path.suffix in readers and not {"migrations", "built"} & set(path.parts):
                texts = readers[path.suffix](path.read_text(encoding="utf-8"))
                yield from ((path.relative_to(ROOT).as_posix(), text) for text in texts)
    for document in DOCUMENTS:
        for paragraph in (ROOT / document).read_text(encoding="utf-8").split("\n\n"):
            yield document, " ".join(paragraph.split())
    file = "api/translations/messages.pot"
    yield from ((file, source) for source, _ in catalog(file))


def test_nobody_reads_a_word_that_was_given_up() -> None:
    read = list(read_by_people())
    assert len(read) > 3000
    found = [f"{file}: {fault}" for file, text in read for fault in faults(text, NOT_SAID)]
    assert found == [], "\n".join(found)


def test_spanish_keeps_to_the_words_of_stores_in_the_us() -> None:
    said = [text for _, text in catalog("api/translations/es/LC_MESSAGES/messages.po")]
    said += read_rulebook(ROOT / "rules").spanish.values()
    assert len(said) > 1200
    assert [fault for text in said for fault in faults(text, NO_SE_DICE)] == []


def test_a_ticket_is_one_word_in_spanish() -> None:
    with (ROOT / "api/translations/es/LC_MESSAGES/messages.po").open("rb") as source:
        told = {str(each.id): str(each.string) for each in read_po(source, locale="es")}
    of_tickets = {english: said for english, said in told.items() if re.search("[Tt]icket", english)}
    assert len(of_tickets) > 60
    assert [said for said in of_tickets.values() if re.search(r"\b[Cc]asos?\b", said)] == []


def test_outcomes_are_read_alike_at_every_door() -> None:
    assert dict(OUTCOME_TITLES) == {
        "fix_in_store": "Fix in store",
        "dispatch": "Send a technician",
        "approve": "Repair approved",
        "hold": "On hold: approval needed",
        "swap": "Swap the machine",
    }
    assert title_of("solved") == SOLVED == "Fixed in store"
    assert dict(SENT_TITLES) == {
        "electrician": "Send the store's electrician",
        "installer": "Send the installer back",
        "pest_control": "Send the store's pest control",
    }
    assert title_of("swap", "electrician") == "Swap the machine"
    app = Flask(__name__)
    Babel(app)
    with app.test_request_context():
        assert {outcome: outcome_words(outcome) for outcome in OUTCOME_TITLES} == dict(OUTCOME_TITLES)
        assert outcome_words("fix_in_store", solved=True) == SOLVED
        for by in ("contractor", *SENT_TITLES):
            decision = {"outcome": "dispatch", "solved": False, "visit": {"by": by}}
            assert decision_words(decision) == title_of("dispatch", by)
        assert decision_words({"outcome": "dispatch", "visit": {"priority": 3}}) == "Send a technician"
        assert decision_words({"outcome": "fix_in_store", "visit": None}) == "Fix in store"


def test_every_state_of_a_ticket_has_its_words() -> None:
    app = Flask(__name__)
    Babel(app)
    with app.test_request_context():
        words = {kind: event_words(kind) for kind in PAYLOADS}
    assert words["swapped"] == "machine swapped"
    assert words["undone"] == "undone"
    assert len(set(words.values())) == len(words)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("The repair is in cover.", "warranty"),
        ("Push the plug home.", "no idiom"),
        ("Nothing the store can do pays", "plain words"),
        ("It is held without a word from the authority.", "approval"),
        ("What the programme paid", "program"),
        ("cures in 69 of 100 such calls", "fix"),
        ("Look that the floor is dry.", "Check that"),
    ],
)
def test_a_planted_text_is_found(text: str, fault: str) -> None:
    quoted = text.replace('"', "'")
    planted = {
        "yaml": texts_of_yaml({"then": {"text": text}}),
        "page": texts_of_template(f'<p class="a">{{{{ _("{quoted}") }}}} <b>{text}</b></p>'),
        "script": texts_of_script(f'say("{quoted}"); // {text}'),
        "message": texts_of_python(f'"""Words."""\nraise InputError(f"{quoted} {{name}}")'),
        "command": texts_of_python(f'@click.command()\ndef run():\n    """{quoted}"""'),
    }
    for where, found in planted.items():
        said = [each for part in found for each in faults(part, NOT_SAID)]
        assert any(f"say {fault}" in each for each in said), where
    assert faults("Deje el enchufe.", NO_SE_DICE)
