"""The app over WSGI: requests made from its own description and its own forms, then changed."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote

import icalendar
from flask import Flask
from werkzeug.test import TestResponse

from api.app import create_app
from tests.api.conftest import add_tokens
from tests.fuzz.door import Opened, Verdict, door, good, let_in, refusing
from tests.fuzz.records import MACHINE, words_of_rules
from tests.fuzz.texts import json_seed
from tests.fuzz.web_requests import Asked, api_requests, page_requests, prepare
from tests.fuzz.world import Program, program
from triage.values.json_text import read_strict

METHODS = ("GET", "POST", "PUT", "DELETE")
BESIDES = ("/v1/rulebook/check", "/v1/rulebook/replay", "/rulebook/candidates")
"""Starts of paths on which a process of its own may be started; what those read has doors of its own."""

MOST_ANSWER = 300_000
"""Bytes of a refusal, in which what was sent may be repeated in part."""


class Errors(logging.Handler):
    """Keeps the error that was answered as 500."""

    last: BaseException | None = None

    def emit(self, record: logging.LogRecord) -> None:
        self.last = record.exc_info[1] if record.exc_info else RuntimeError(record.getMessage())


class Server:
    """Answers requests that are data, each from the same state."""

    def __init__(self, running: Program) -> None:
        self.running = running
        self.app: Flask = create_app(running.service)
        self.errors = Errors(logging.ERROR)
        for name in ("api", "api.http.problems"):
            logging.getLogger(name).addHandler(self.errors)
            logging.getLogger(name).propagate = False
        self.tokens = add_tokens(running.service)
        self.cookies = {name: self.signed_in(token) for name, token in self.tokens.items()}

    def signed_in(self, token: str) -> str:
        """The header of a browser that has signed in with this token."""
        response = self.app.test_client().post("/sign-in", data={"token": token})
        assert response.status_code == 302, response.text
        return response.headers["Set-Cookie"].partition(";")[0]

    def send(self, asked: Asked) -> TestResponse:
        headers = {name: value for name, value in _pairs(asked.get("headers")) if _is_header(name, value)}
        by, path = str(asked.get("by")), str(asked.get("path"))
        if path.startswith("/v1") and by in self.tokens:
            headers["Authorization"] = f"Bearer {self.tokens[by]}"
        elif by in self.cookies:
            headers["Cookie"] = self.cookies[by]
        if "form" in asked:
            fields: dict[str, list[str]] = {}
            for name, value in _pairs(asked["form"]):
                fields.setdefault(name, []).append(value)
            content: dict[str, Any] = {"data": fields}
        elif "body" in asked:
            content = {"data": json.dumps(asked["body"]), "content_type": "application/json"}
        else:
            content = {}
        self.errors.last = None
        response = self.app.test_client(use_cookies=False).open(
            quote(path, safe="/:", errors="replace"),
            method=str(asked.get("method")),
            headers=headers,
            query_string=dict(_pairs(asked.get("query"))),
            **content,
        )
        if self.errors.last is not None:
            raise self.errors.last
        return response

    def judge(self, data: bytes) -> Verdict:
        try:
            asked = json.loads(data)
        except (ValueError, RecursionError):
            return Verdict.REFUSED
        if not isinstance(asked, dict) or asked.get("method") not in METHODS:
            return Verdict.REFUSED
        path = str(asked.get("path"))
        if not path.startswith("/") or path.startswith(BESIDES):
            return Verdict.REFUSED
        try:
            response = self.send(asked)
            check(response)
            return let_in(response.status_code < 400)
        finally:
            if asked["method"] != "GET":
                self.running.restore()


def check(response: TestResponse) -> None:
    """The answer is one of ours, whole and of a bearable size."""
    content = response.get_data()
    assert response.status_code < 500, response.status
    assert len(content) <= MOST_ANSWER or response.status_code < 400, f"a refusal of {len(content):,} bytes"
    if response.mimetype.endswith("json"):
        read_strict(content)
    elif response.mimetype == "text/calendar":
        icalendar.Calendar.from_ical(content)
    if response.status_code >= 400 and response.mimetype != "text/html":
        assert response.mimetype == "application/problem+json", response.mimetype


def _pairs(given: object) -> list[tuple[str, str]]:
    if isinstance(given, dict):
        return [(_sent(name), _sent(value)) for name, value in given.items()]
    found = given if isinstance(given, list) else []
    return [(_sent(pair[0]), _sent(pair[1])) for pair in found if isinstance(pair, list) and len(pair) == 2]


def _sent(value: object) -> str:
    """What a client can send: no halves of characters."""
    text = value if isinstance(value, str) else json.dumps(value)
    return text.encode("utf-8", "replace").decode("utf-8")


def _is_header(name: str, value: str) -> bool:
    """Whether a server would hand it on: HTTP knows no other."""
    return (name + value).isascii() and (name + value).isprintable() and name.replace("-", "").isalnum()


WORDS = (
    *(b"T-000001", b"T-000002", b"T-000003", b"LH20-1", b"LH30-2", b"LH20-D1", b"fogline", b"damaged-cord"),
    *(b"*", b'"3"', b"ops_lead", b"no_fault_found", b"repair", b"scheduled", b"2026-03-03T09:00:00-05:00"),
    *(b"agent", b"reporter", b"authority", b"tern", b"what-if", b"swap/done"),
)
STILL = ("method", "path", "by", "body", "form")


@door("api", nightly=30_000, everyday=40)
def api() -> Iterator[Opened]:
    with program() as running:
        server = Server(running)
        prepare(server.send)
        running.keep()
        document: Any = server.send({"method": "GET", "path": "/openapi.json"}).json
        judge = refusing(server.judge)
        seeds = good(judge, map(json_seed, api_requests(document, MACHINE)))
        yield Opened(judge, seeds, [*words_of_rules(), *WORDS], STILL)


@door("pages", nightly=30_000, everyday=40)
def pages() -> Iterator[Opened]:
    with program() as running:
        server = Server(running)
        prepare(server.send)
        running.keep()
        judge = refusing(server.judge)
        seeds = good(judge, map(json_seed, list(page_requests(server.send))))
        yield Opened(judge, seeds, [*words_of_rules(), *WORDS], STILL)
