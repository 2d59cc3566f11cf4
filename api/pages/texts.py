"""The desk's texts, in the agent's language, and what is read to clerks, in the clerk's.

Texts of the program go through Flask-Babel (`translations/messages.pot`, and `messages.po` of each language);
one without a translation stays English. The rulebook's questions, steps, cautions and titles are what it says
itself in keys that end in `_es`.
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from io import BytesIO
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations
from flask import Flask, g, has_request_context, request
from flask_babel import Babel, get_translations

from api.http.auth import service
from triage.rulebook.built_in_facts import LOCAL_CODES
from triage.values.shown import N_

LANGUAGES = {"en": "English", "es": "Español"}
"""Languages a clerk can be spoken to in, and of the pages."""

LANGUAGE_COOKIE = "barrelwise_clerk_language"
PAGES_COOKIE = "barrelwise_pages_language"
SCHEME_COOKIE = "barrelwise_colors"
SCHEMES = ("auto", "light", "dark")
FOLDER = Path(__file__).parents[1] / "translations"


def init_texts(app: Flask) -> None:
    """Gives the templates `_`, and the filters `clerk` and `clerk_lang`."""
    Babel(app, default_locale="en", locale_selector=lambda: "en")
    app.jinja_env.install_gettext_callables(_text, _texts, newstyle=True)  # type: ignore[attr-defined]
    app.jinja_env.filters["clerk"] = clerk
    app.jinja_env.filters["sentences"] = sentences
    app.jinja_env.globals["clerk_language"] = clerk_language
    app.jinja_env.globals["page_language"] = page_language
    app.jinja_env.globals["clerk_lang_of"] = clerk_lang_of
    app.jinja_env.globals["N_"] = N_
    app.jinja_env.globals["languages"] = LANGUAGES
    app.jinja_env.globals["color_scheme"] = color_scheme
    app.jinja_env.globals["local_codes"] = LOCAL_CODES


def gettext(text: str, **values: object) -> str:
    """A text of the pages in the agent's language."""
    return _text(text) % values if values else _text(text)


def ngettext(one: str, many: str, num: int) -> str:
    """The same by number, as `%(num)s`."""
    return _texts(one, many, num) % {"num": num}


def _text(text: str) -> str:
    return str(_catalog_of_pages().ugettext(text))


def _texts(one: str, many: str, num: int) -> str:
    return str(_catalog_of_pages().ungettext(one, many, num))


def _catalog_of_pages() -> NullTranslations:
    """Looked up once a request: a page holds some two hundred texts."""
    if "page_texts" not in g:
        language = page_language()
        g.page_texts = get_translations() if language == "en" else catalog(language)
    found: NullTranslations = g.page_texts
    return found


@contextmanager
def as_clerks_hear() -> Iterator[None]:
    """Texts of the pages are given in the clerk's language meanwhile, whatever the pages are in."""
    held = g.pop("page_texts", None)
    g.as_clerks_hear = True
    try:
        yield
    finally:
        g.as_clerks_hear = False
        g.pop("page_texts", None)
        if held is not None:
            g.page_texts = held


def page_language() -> str:
    """The language of the pages on this agent's browser."""
    if has_request_context() and g.get("as_clerks_hear"):
        return clerk_language()
    chosen = request.cookies.get(PAGES_COOKIE, "en") if has_request_context() else "en"
    return chosen if chosen in LANGUAGES else "en"


def color_scheme() -> str:
    """The colors chosen on this browser, light or dark; empty where they are as the browser's."""
    chosen = request.cookies.get(SCHEME_COOKIE, "") if has_request_context() else ""
    return chosen if chosen in SCHEMES[1:] else ""


def clerk_language() -> str:
    """The language that the clerk is spoken to in, such as "en": the ticket's, else this browser's last."""
    chosen = g.get("ticket_language") or request.cookies.get(LANGUAGE_COOKIE, "en")
    return chosen if chosen in LANGUAGES else "en"


def speak_as_on(ticket_language: str | None) -> None:
    """The rest of this request speaks the language of a ticket, where one was said on it."""
    g.ticket_language = ticket_language


def clerk(text: str, language: str | None = None) -> str:
    """A text as it is read to the clerk: the rulebook's own Spanish before the catalog's; else English."""
    language = language or clerk_language()
    return _rulebooks_own(language).get(text) or (str(catalog(language).gettext(text)) if text else text)


def sentences(text: str) -> list[str]:
    """A text as it is read aloud, sentence by sentence."""
    return re.split(r"(?<=[.!?])\s+(?=[^a-z\s])", text.strip())


def clerk_lang_of(text: str) -> str:
    """The language that `clerk` gives this text in, for the `lang` of its element."""
    language = clerk_language()
    return language if text in _rulebooks_own(language) or clerk(text) != text else "en"


def _rulebooks_own(language: str) -> Mapping[str, str]:
    """English wording -> what the live rulebook says in that language itself."""
    return service().rulebook.spanish if language == "es" and has_request_context() else {}


@cache
def catalog(language: str) -> NullTranslations:
    """The catalog of one language, read from its .po file."""
    path = FOLDER / language / "LC_MESSAGES" / "messages.po"
    if not path.exists():
        return NullTranslations()
    with path.open("rb") as source:
        messages = read_po(source, locale=language)
    compiled = BytesIO()
    write_mo(compiled, messages)
    compiled.seek(0)
    return Translations(fp=compiled, domain="messages")
