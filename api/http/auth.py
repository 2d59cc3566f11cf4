"""Who is calling: bearer tokens on `/v1`, a session in a cookie for the pages.

A route names the roles that may use it with `@roles(...)`; a route of `/v1` without a token answers 401, with
the wrong role 403. Pages send people without a session to the sign-in form instead.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from flask import current_app, g, redirect, render_template, request, url_for
from werkzeug.exceptions import Forbidden, Unauthorized
from werkzeug.wrappers import Response as BaseResponse

from triage.records.caller import Caller
from triage.service import requests
from triage.service.service import Service
from triage.values.shown import N_

COOKIE = "barrelwise_session"
MOST_PATH = 2000
"""Characters of an address that the sign-in form leads back to."""
View = TypeVar("View", bound=Callable[..., Any])

READERS = ("agent", "technician", "ops", "reporter")
"""Who may read; what a technician sees is narrowed to its contractor by the program itself.

An authority reads the tickets that it is asked about, or one below it, and nothing else.
"""


ROLE_TITLES = {
    "agent": N_("agent"),
    "ops": N_("operations lead"),
    "reporter": N_("reporter"),
    "technician": N_("technician"),
    "authority": N_("authority"),
}
OWN_PAGE = {
    ("desk_call.ticket", "technician"): "field_ticket.page",
    ("life.end", "technician"): "field_ticket.page",
    ("desk_find.machine", "technician"): "field_own.machine",
    ("desk_call.ticket", "reporter"): "desk_call.history",
    ("life.end", "reporter"): "desk_call.history",
    ("field_ticket.page", "agent"): "desk_call.ticket",
    ("field_ticket.page", "ops"): "desk_call.ticket",
    ("field_own.machine", "agent"): "desk_find.machine",
    ("field_own.machine", "ops"): "desk_find.machine",
}
"""Where somebody who was sent the address of another role's page finds the same thing."""


def service() -> Service:
    """The program this app serves."""
    return cast(Service, current_app.extensions["barrelwise"])


def caller() -> Caller:
    """The caller that `roles` let in."""
    return cast(Caller, g.caller)


def _needs_token() -> Unauthorized:
    return Unauthorized(
        "Send a token as `Authorization: Bearer …`; an operator makes one with `barrelwise token add`.",
        www_authenticate=_challenge(),
    )


def _challenge() -> Any:
    from werkzeug.datastructures import WWWAuthenticate

    return WWWAuthenticate("bearer", {"realm": "barrelwise"})


def bearer() -> str | None:
    authorization = request.authorization
    if authorization is None or authorization.type != "bearer":
        return None
    return authorization.token


def roles(*allowed: str) -> Callable[[View], View]:
    """Lets a view of `/v1` be called with a token of one of these roles only."""

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            token = bearer()
            found = requests.caller_for(service(), token) if token else None
            if found is None:
                raise _needs_token()
            if found.role not in allowed:
                raise Forbidden(
                    f"A token with the role {found.role} may not do this; {_either(allowed)} may."
                )
            g.caller = found
            return view(*args, **kwargs)

        guarded.roles = allowed  # type: ignore[attr-defined]
        return cast(View, guarded)

    return wrap


def _either(allowed: tuple[str, ...]) -> str:
    return " or ".join(allowed)


def page_roles(*allowed: str, keeps: bool = False) -> Callable[[View], View]:
    """The same for a page: without a session, or when it has ended, to the sign-in form and back.

    With `keeps` what was typed goes along: after the sign-in the view gets it again with `look`, to be shown.
    """

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            held = request.cookies.get(COOKIE)
            found = requests.caller_signed_in(service(), held) if held else None
            if found is None and keeps and request.method == "POST":
                kept = [pair for pair in request.form.items(multi=True) if pair[0] not in ("next", "token")]
                page = render_template("sign_in.html", next=request.path, ended=True, kept=kept)
                return page, 401
            if found is None:
                return redirect(url_for("pages.sign_in", next=_way_back()))
            g.caller = found
            if found.role not in allowed:
                own = OWN_PAGE.get((str(request.endpoint), found.role)) if request.method == "GET" else None
                if own is not None:
                    return redirect(url_for(own, **kwargs))
                theirs = ", ".join(ROLE_TITLES[role] for role in allowed)
                raise Forbidden(
                    f"This page is for others: {theirs}. You are signed in as: {ROLE_TITLES[found.role]}."
                )
            return view(*args, **kwargs)

        return cast(View, guarded)

    return wrap


def _way_back() -> str:
    """The page that was asked for; of a form, the page that it stood on. No longer than addresses are."""
    path, sent_from = "/", request.referrer or ""
    if request.method == "GET":
        path = request.full_path.rstrip("?")
    elif sent_from.startswith(request.root_url):
        path += sent_from.removeprefix(request.root_url)
    return path if len(path) <= MOST_PATH else "/"


def refuse_foreign_forms() -> BaseResponse | None:
    """A form may only be sent from our own pages (the cookie is SameSite=Strict; this is the second lock)."""
    if request.method != "POST" or request.path.startswith("/v1"):
        return None
    origin = request.headers.get("Origin")
    if origin not in (None, request.host_url.rstrip("/")):
        raise Forbidden("This form was sent from another site.")
    return None
