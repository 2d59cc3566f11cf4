"""Sign in and out, and the language the clerk is spoken to in. All pages work without scripts."""

from __future__ import annotations

from contextlib import suppress
from urllib.parse import urlsplit

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.wrappers import Response

from api.http.auth import COOKIE, caller, page_roles, service
from api.pages.texts import LANGUAGE_COOKIE, LANGUAGES, PAGES_COOKIE
from triage.service import calls, requests
from triage.values.errors import ConflictError, NotFoundError

blueprint = Blueprint("pages", __name__)
DESK = ("agent", "ops")
A_YEAR = 365 * 24 * 3600


@blueprint.get("/sign-in")
def sign_in() -> ResponseReturnValue:
    target = own_path(request.args.get("next", ""))
    return render_template("sign_in.html", next=target, ended=COOKIE in request.cookies)


@blueprint.post("/sign-in")
def signed_in() -> ResponseReturnValue:
    token, target = request.form.get("token", "").strip(), own_path(request.form.get("next", ""))
    held = requests.sign_in(service(), token)
    if held is None:
        return render_template("sign_in.html", next=target, wrong=True), 401
    response = redirect(target)
    response.set_cookie(COOKIE, held, httponly=True, samesite="Strict", secure=request.is_secure)
    return response


@blueprint.post("/sign-out")
def sign_out() -> ResponseReturnValue:
    requests.sign_out(service(), request.cookies.get(COOKIE, ""))
    response = redirect(url_for("pages.sign_in"))
    response.delete_cookie(COOKIE)
    return response


@blueprint.post("/language")
@page_roles(*DESK, "reporter")
def language() -> ResponseReturnValue:
    """From now on, on this browser, speaks to clerks in `language`, or shows the pages in that of `pages`.

    With a `ticket`, its clerk is spoken to so by everybody.
    """
    response = redirect(own_path(request.form.get("next", "")), 303)
    spoken, ticket = request.form.get("language", ""), request.form.get("ticket", "")
    if ticket and spoken in LANGUAGES and caller().role in DESK:
        with suppress(ConflictError, NotFoundError):  # of a closed ticket only this browser changes
            calls.speak(service(), ticket, spoken, caller())
    for name, cookie in (("language", LANGUAGE_COOKIE), ("pages", PAGES_COOKIE)):
        set_language(response, cookie, request.form.get(name, ""))
    return response


def set_language(response: Response, cookie: str, chosen: str) -> None:
    """Keeps a language on this browser; nothing where there is no such language."""
    if chosen in LANGUAGES:
        response.set_cookie(cookie, chosen, max_age=A_YEAR, httponly=True, samesite="Strict")


def own_path(target: str) -> str:
    """A path on this server to go on to; anything else leads to the start."""
    try:
        elsewhere = bool(urlsplit(target).netloc)
    except ValueError:
        elsewhere = True
    own = target.startswith("/") and not target.startswith("//") and "\\" not in target
    return target if own and not elsewhere and target.isprintable() and target.isascii() else "/"
