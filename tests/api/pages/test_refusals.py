"""What the service refuses is said in Spanish where the pages are: every sentence that a form can get."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask import Flask

from api.app import create_app
from api.pages.people import in_words
from api.pages.texts import PAGES_COOKIE, tell
from tests import ROOT
from tests.browser.served import default_rulebook
from triage.rulebook.model import Rulebook
from triage.service.service import Service


@pytest.fixture
def app(service: Service) -> Flask:
    return create_app(service)


@pytest.fixture(scope="module")
def rulebook() -> Rulebook:
    return default_rulebook()[0]


CORE = ROOT / "triage"
SAID_ON_PAGES = (
    *("inputs/photo.py", "inputs/reader.py", "inputs/spoken.py", "machine/measures/quantities.py"),
    *("records/authorization.py", "records/custody.py", "schedule/contractors.py", "schedule/slots.py"),
    *("repairs/approvals.py", "repairs/close_out.py", "repairs/estimate_input.py"),
    *("service/calls.py", "service/changes.py", "service/dangers.py", "service/fleet/care.py"),
    *("service/installs/jobs.py", "service/installs/reading.py", "service/installs/training.py"),
    *("service/installs/view.py", "service/outgoing/ask.py", "service/photos/kept.py", "service/repairs.py"),
    *("service/requests.py", "service/swaps.py", "service/tickets.py", "service/visits.py"),
    *("values/money.py", "values/plain_data.py", "values/time_zones.py"),
)
"""Where a form of the desk, the field or the fleet is refused."""

REFUSALS = {
    *("Problem", "problem", "ValueError", "InputError", "ConflictError", "ForbiddenError", "NotFoundError"),
    *("_refuse", "_refused", "append"),
}
GIVES_REFUSALS = {"why_not", "_refused", "lies_ahead", "refused_time"}
ONLY_IN_JSON = re.compile(
    r"true or false|this is a (text|list)|entries; at most|object|unknown key|worked out|has no fact|null"
    r"|offset|expires later|as an amount|half of|stands twice|depth|nested|timezone|time zone"
)
"""Said to whoever writes JSON; no form of a page can get it."""


def sentences_of(path: Path) -> Iterator[str]:
    """The texts that a module refuses with, Z7 standing for what is filled in."""
    for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(function, ast.FunctionDef):
            continue
        said = [
            node.args[0]
            for node in ast.walk(function)
            if isinstance(node, ast.Call) and node.args and _name(node.func) in REFUSALS
        ]
        if function.name in GIVES_REFUSALS:
            said += [node.value for node in ast.walk(function) if isinstance(node, ast.Return) and node.value]
        named = {node.id for node in said if isinstance(node, ast.Name)}
        said += [
            node.value
            for node in ast.walk(function)
            if isinstance(node, ast.Assign) and named & {_name(target) for target in node.targets}
        ]
        yield from filter(None, map(_text, said))


def _name(node: ast.expr) -> str:
    return str(getattr(node, "id", getattr(node, "attr", "")))


def _text(node: ast.expr) -> str:
    """A text as it is written; empty where it is none, or has too few words of its own to be one."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value if " " in node.value else ""
    if isinstance(node, ast.JoinedStr):
        parts = (str(part.value) if isinstance(part, ast.Constant) else "Z7" for part in node.values)
        return "".join(parts)
    return ""


TEXTS = sorted({text for name in SAID_ON_PAGES for text in sentences_of(CORE / name)})


def test_every_refusal_is_said_in_spanish(app: Flask, rulebook: Rulebook) -> None:
    english = [in_words(rulebook, text) for text in TEXTS if not ONLY_IN_JSON.search(text)]
    with app.test_request_context("/", headers={"Cookie": f"{PAGES_COOKIE}=es"}):
        spanish = {text: tell(text) for text in english}
    assert [text for text, said in spanish.items() if said == text] == []
    assert [
        said for text, said in spanish.items() if "{" in said or said.count("Z7") > text.count("Z7")
    ] == []
    assert len(spanish) > 150


def test_texts_are_found_in_every_module_that_refuses() -> None:
    for name in SAID_ON_PAGES:
        assert list(sentences_of(CORE / name)), name


def test_what_is_filled_in_is_in_spanish_too(app: Flask) -> None:
    for english, spanish in {
        'no depot unit "DU-1"; did you mean "DU-11"?': (
            "no hay ninguna unidad de depósito «DU-1»; ¿quiso decir «DU-11»?"
        ),
        'no depot unit "DU-1"': "no hay ninguna unidad de depósito «DU-1»",
        "nobody on record can be sent: Gull Cold does no refrigeration work; Pier Ice does not serve Quay": (
            "no se puede enviar a nadie del registro: Gull Cold no hace trabajos de refrigeración; "
            "Pier Ice no atiende Quay"
        ),
    }.items():
        with app.test_request_context("/", headers={"Cookie": f"{PAGES_COOKIE}=es"}):
            assert tell(english) == spanish
