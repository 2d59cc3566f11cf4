"""Sign in and out, and the language the clerk is spoken to in. All pages work without scripts."""

import math
from contextlib import suppress
from datetime import timedelta
from urllib.parse import urlsplit

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.wrappers import Response

from api.http.auth import COOKIE, caller, page_roles, service
from api.pages.texts import LANGUAGE_COOKIE, LANGUAGES, PAGES_COOKIE, SCHEME_COOKIE, SCHEMES
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
    kept = [pair for pair in request.form.items(multi=True) if pair[0] not in ("next", "token", "look")]
    again = {"next": target, "kept": kept if "look" in request.form else ()}
    held = requests.sign_in(service(), token, request.remote_addr or "")
    if isinstance(held, timedelta):
        page = render_template("sign_in.html", too_many=math.ceil(held / timedelta(minutes=1)), **again)
        return page, 429, {"Retry-After": str(math.ceil(held.total_seconds()))}
    if held is None:
        return render_template("sign_in.html", wrong=True, **again), 401
    # With 307 the browser sends what was typed on to its form, which shows it again and stores nothing.
    response = redirect(request.root_path + target, 307 if "look" in request.form else 302)
    return keep(response, COOKIE, held)


@blueprint.post("/sign-out")
def sign_out() -> ResponseReturnValue:
    requests.sign_out(service(), request.cookies.get(COOKIE, ""))
    response = redirect(url_for("pages.sign_in"))
    response.delete_cookie(COOKIE, path=_own_root())
    return response


@blueprint.post("/language")
@page_roles(*DESK, "reporter")
def language() -> ResponseReturnValue:
    """From now on, on this browser, speaks to clerks in `language`, or shows the pages in that of `pages`.

    With a `ticket`, its clerk is spoken to so by everybody.
    """
    response = redirect(request.root_path + own_path(request.form.get("next", "")), 303)
    spoken, ticket = request.form.get("language", ""), request.form.get("ticket", "")
    if ticket and spoken in LANGUAGES and caller().role in DESK:
        with suppress(ConflictError, NotFoundError):  # of a closed ticket only this browser changes
            calls.speak(service(), ticket, spoken, caller())
    for name, cookie in (("language", LANGUAGE_COOKIE), ("pages", PAGES_COOKIE)):
        set_language(response, cookie, request.form.get(name, ""))
    if (scheme := request.form.get("scheme")) in SCHEMES:
        keep(response, SCHEME_COOKIE, scheme, A_YEAR)
    return response


def _own_root() -> str:
    return request.root_path or "/"


def keep(response: Response, name: str, value: str, seconds: int | None = None) -> Response:
    """A cookie of this program alone, which no script and no other site gets."""
    response.set_cookie(
        name, value, seconds, path=_own_root(), secure=request.is_secure, httponly=True, samesite="Strict"
    )
    return response


def set_language(response: Response, cookie: str, chosen: str) -> None:
    """Keeps a language on this browser; nothing where there is no such language."""
    if chosen in LANGUAGES:
        keep(response, cookie, chosen, A_YEAR)


def own_path(target: str) -> str:
    """A path of this program, below its root, to go on to; anything else leads to the start."""
    try:
        elsewhere = bool(urlsplit(target).netloc)
    except ValueError:
        elsewhere = True
    own = target.startswith("/") and not target.startswith("//") and "\\" not in target
    return target if own and not elsewhere and target.isprintable() and target.isascii() else "/"
