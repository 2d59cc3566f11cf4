"""The list of open tickets: to call back, due, parked, held, by site."""

from __future__ import annotations

from typing import cast

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles, service
from api.pages.sign_in import DESK
from api.pages.words import ago, local_time, outcome_words
from triage.service.numbers import waiting
from triage.service.tickets import VIEWS, View, open_tickets

blueprint = Blueprint("desk_list", __name__)
PAGE = 25
MOST_OFFSET = 100_000


@blueprint.get("/")
@page_roles(*DESK)
def start() -> ResponseReturnValue:
    args = request.args
    view = cast(View, args.get("view") if args.get("view") in VIEWS else "open")
    site = args.get("site", "").strip()[:64] or None
    text = args.get("from", "")
    offset = min(int(text), MOST_OFFSET) if text.isascii() and text.isdigit() and len(text) < 9 else 0
    tickets = open_tickets(service(), view, site, offset, PAGE + 1)
    calls = open_tickets(service(), "call_back", limit=PAGE) if view == "open" and not offset else ()
    return render_template(
        "start.html",
        view=view,
        site=site,
        counts=waiting(service(), site),
        tickets=tickets[:PAGE],
        calls=calls,
        more=offset + PAGE if len(tickets) > PAGE else None,
        rulebook=service().rulebook,
        now=service().now(),
        ago=ago,
        local_time=local_time,
        outcome_words=outcome_words,
    )
