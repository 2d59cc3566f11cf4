"""A page's form as a browser without scripts would send it."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

Sent = dict[str, list[Any]]


class _Form(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.sent: Sent = {}
        self._text: tuple[str, list[str]] | None = None
        self._select: tuple[str, bool] | None = None
        self._options: list[tuple[str | None, bool, list[str]]] = []
        self._inside = False

    def _add(self, name: str, value: str) -> None:
        self.sent.setdefault(name, []).append(value)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        name = given.get("name") or ""
        if tag == "form":
            self._inside = given.get("id") == "form"
        if not self._inside:
            return
        if tag == "input" and name and (given.get("type") not in ("checkbox", "file") or "checked" in given):
            self._add(name, given.get("value") or "")
        elif tag == "textarea":
            self._text = (name, [])
        elif tag == "select":
            self._select, self._options = (name, "multiple" in given), []
        elif tag == "option" and self._select:
            self._options.append((given.get("value"), "selected" in given, []))

    def handle_data(self, data: str) -> None:
        if self._text:
            self._text[1].append(data)
        elif self._select and self._options:
            self._options[-1][2].append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea" and self._text:
            self._add(self._text[0], "".join(self._text[1]).removeprefix("\n"))
            self._text = None
        elif tag == "select" and self._select:
            name, many = self._select
            chosen = [each for each in self._options if each[1]] or ([] if many else self._options[:1])
            for value, _, words in chosen:
                self._add(name, "".join(words).strip() if value is None else value)
            self._select = None
        elif tag == "form":
            self._inside = False


def sent_form(page: str) -> Sent:
    """Name -> values of the form with the id "form"."""
    reader = _Form()
    reader.feed(page)
    return reader.sent
