"""The desk's texts, in the agent's language, and what is read to clerks, in the clerk's.

Texts of the program go through Flask-Babel (`translations/messages.pot`, and `messages.po` of each language);
one without a translation stays English. The rulebook's questions, steps, cautions and titles are what it says
itself in keys that end in `_es`.
"""

import re
from collections.abc import Callable, Iterator, Mapping
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
from api.pages.refusals import REFUSALS
from triage.rulebook.built_in_facts import LOCAL_CODES
from triage.rulebook.cache import once_per_rulebook
from triage.rulebook.model import Rulebook
from triage.values.shown import N_

LANGUAGES = {"en": "English", "es": "Español"}
"""Languages a clerk can be spoken to in, and of the pages."""

LANGUAGE_COOKIE = "barrelwise_clerk_language"
PAGES_COOKIE = "barrelwise_pages_language"
SCHEME_COOKIE = "barrelwise_colors"
SCHEMES = ("auto", "light", "dark")
FOLDER = Path(__file__).parents[1] / "translations"


def init_texts(app: Flask) -> None:
    """Gives the templates `_`, and the filters `clerk` and `tell`."""
    Babel(app, default_locale="en", locale_selector=lambda: "en")
    app.jinja_env.install_gettext_callables(_text, _texts, newstyle=True)  # type: ignore[attr-defined]
    app.jinja_env.filters["clerk"] = clerk
    app.jinja_env.filters["tell"] = tell
    app.jinja_env.filters["sentences"] = sentences
    app.jinja_env.filters["sentence"] = sentence
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


def sayer(rulebook: Rulebook, language: str) -> Callable[[str], str]:
    """Gives texts of the program, and those of this rulebook, in a language; others as they are."""
    told, own = catalog(language), rulebook.spanish if language == "es" else {}

    def say(text: str) -> str:
        said = str(told.gettext(text)) if text else text
        return own.get(text, text) if said == text else said

    return say


DECIDED = (
    N_("A caution depends on it: {danger}."),
    N_("It tells “{one}” from “{other}”."),
    N_("It makes “{cause}” more or less likely."),
    N_("It shows whether “{check}” applies."),
    N_("{check}: it fixed the fault. Nobody needs to come."),
    N_("{check}: did not fix it"),
    N_("No machine on record: no warranty, default rates, the limits of any other contractor, UTC times."),
    N_("This page is for others: {roles}. You are signed in as: {role}."),
    N_("A check fixed the symptom, but a caution still stands in the way."),
    N_("Not to be done, by the cautions: {checks}."),
    N_("Nobody goes near the machine before this is known: {facts}."),
    N_("Not before this is known ({facts}): {checks}."),
    N_("No caution forbids the checks listed; they may be done while waiting."),
    N_("The likeliest cause is one that the rulebook does not name."),
    N_("The technician's estimate stands in for the typical cost of the repair."),
    *(N_("Outcome: {was} → {now}."), N_("{outcome} up to {amount}")),
    *(N_("Now a reason: {what}"), N_("No longer a reason: {what}"), N_("It now reads: {what}")),
    *(N_("Now asked: {what}"), N_("No longer asked: {what}")),
    *(N_("Now said: {what}"), N_("No longer said: {what}")),
    *(N_("A caution comes in: {what}."), N_("A caution goes: {what}."), N_("{what}, which stops use")),
    *(N_("A caution reads otherwise: {what}."), N_("{what}: not considered → {now}.")),
    *(N_("{what}: {was} → not considered."), N_("Keep or swap: {was} → {now}.")),
    *(N_("The rule “{rule}” now fires."), N_("The rule “{rule}” no longer fires.")),
    *(N_("A step comes in as number {number}: {step}."), N_("A step is dropped: {step}.")),
    *(N_("{step}: from step {was} to step {now}."), N_("Visit, {what}: {was} → {now}.")),
    *(N_("Now somebody is sent, due {due}."), N_("Now nobody is sent.")),
    *(N_("Warranty is now at risk: {what}"), N_("Warranty is no longer at risk: {what}")),
    *(N_("covered ({part})"), N_("not covered ({part})"), N_("not: {what}")),
    *(N_("{what}: {was} → {now}."), N_("{what}: × {factor}")),
)
"""What decisions say in their own words; in braces titles of the rulebook, or what was typed."""


CHANGED = (
    *(N_("The limit"), N_("Spent on this ticket"), N_("Spent in 12 months"), N_("Left of the limit")),
    *(N_("The expected repair"), N_("The chance to run over"), N_("Who may approve more")),
    *(N_("The rest of the call by the best plan"), N_("Sending a technician now"), N_("not asked")),
    *(N_("keep"), N_("swap"), N_("skill"), N_("what is brought"), N_("Parts"), N_("Labor"), N_("not known")),
)
"""What the differences of two decisions name."""


COMPONENTS = (
    N_("air path"),
    N_("barrel"),
    N_("body"),
    N_("care"),
    N_("compressor"),
    N_("condenser"),
    N_("controls"),
    N_("cooling fan"),
    N_("cup station"),
    N_("dispensing"),
    N_("drive"),
    N_("electrical"),
    N_("installation"),
    N_("lights"),
    N_("product"),
    N_("refrigeration"),
    N_("request"),
    N_("seals"),
    N_("settings"),
    N_("site power"),
)
"""What warranty counts by, as the default rulebook names it."""


def tell(text: str) -> str:
    """What the rulebook or a decision says, in the language of the pages; English where there is no other."""
    language = page_language()
    said = clerk(text, language)
    if said != text or language == "en":
        return said
    return _filled(text) or " ".join(_filled(each) or each for each in sentences(text))


def _filled(text: str) -> str:
    """A text whose places in braces were filled, such as "It saves 3.10 USD."; empty where none fits."""
    for pattern, told in _with_places(service().rulebook):
        found = pattern.fullmatch(text)
        if found is not None:
            for name, value in found.groupdict().items():
                said = tell(value)
                if said == value:
                    titles = re.split("([;,] )", value)
                    titles[::2] = map(tell, titles[::2])
                    said = "".join(titles)
                told = told.replace(f"{{{name}}}", said)
            return told
    return ""


@once_per_rulebook
def _with_places(rulebook: Rulebook) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Texts with places in braces, as patterns of what they become, each with its Spanish."""
    said = {text: str(catalog("es").gettext(text)) for text in (*DECIDED, *REFUSALS)}
    told = {**said, **rulebook.spanish}
    return tuple(
        (re.compile(re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>.*?)", re.escape(english))), words)
        for english, words in told.items()
        if "{" in english
    )


def sentences(text: str) -> list[str]:
    """A text as it is read aloud, sentence by sentence."""
    return re.split(r"(?<=[.!?])\s+(?=[^a-z\s])", text.strip())


def sentence(text: str) -> str:
    """A refusal as a sentence: a capital first, a full stop last."""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


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
