"""Tickets: lanes by what is to be done now, and a table with filters that stand in its address."""

from collections.abc import Mapping
from typing import cast, get_args

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.desk.lanes import lanes, span
from api.http.auth import caller, page_roles, service
from api.pages.sign_in import DESK
from api.pages.words import OUTCOMES, number_words, outcome_words
from triage.repairs.acting import Commissioning
from triage.repairs.period import read_period
from triage.service.machines import contractors
from triage.service.numbers import COUNTED, waiting
from triage.service.tickets import VIEWS, View, listed
from triage.values.errors import InputError

blueprint = Blueprint("desk_list", __name__)
PAGE = 25
MOST_OFFSET = 100_000
MOST_IN_LANES, MOST_UNFOLDED = 500, 8
FILTERS = {"words": 80, "site": 64, "outcome": 16, "contractor": 64}
BEHIND = {
    "counted": 20,
    "since": 10,
    "until": 10,
    "first_outcome": 16,
    **dict.fromkeys(("machine", "symptom", "model", "cause", "question"), 64),
    "check": 80,
    "rule": 80,
    "chance": 1,
    "care": 16,
    "commissioning": 8,
}
"""Filters of the tickets behind a number, which the page of numbers links to."""


KNOWN = {
    "chance": "0123456789",
    "care": ("overdue", "nothing_overdue"),
    "commissioning": get_args(Commissioning),
}
HOMES = {
    "technician": "field_own.start",
    "reporter": "field_start.overview",
    "authority": "field_start.asked",
}
"""Where those start who do not work at the desk."""


@blueprint.get("/")
@page_roles(*DESK, *HOMES)
def start() -> ResponseReturnValue:
    if caller().role in HOMES:
        return redirect(url_for(HOMES[caller().role]))
    args = request.args
    if not {"view", "from", *FILTERS, *BEHIND} & args.keys():
        return _queue()
    view = cast(View, args.get("view") if args.get("view") in VIEWS else "open")
    filters = {name: args.get(name, "").strip()[:most] for name, most in (FILTERS | BEHIND).items()}
    if not _is_counted(filters):
        filters |= dict.fromkeys(("counted", "since", "until"), "")
    for name, known in KNOWN.items():
        if filters[name] not in known:
            filters[name] = ""
    text = args.get("from", "")
    offset = min(int(text), MOST_OFFSET) if text.isascii() and text.isdigit() and len(text) < 9 else 0
    tickets = listed(service(), view, filters, offset, PAGE + 1)
    return render_template(
        "start.html",
        view=view,
        filters={name: chosen for name, chosen in filters.items() if chosen},
        outcomes=[(outcome, outcome_words(outcome)) for outcome in OUTCOMES],
        contractors=[(each.id, each.name) for each in contractors(service()).values()],
        counts=waiting(service(), filters),
        number_words=number_words(),
        behind={name: filters[name] for name in BEHIND if filters[name]},
        tickets=tickets[:PAGE],
        more=offset + PAGE if len(tickets) > PAGE else None,
    )


def _is_counted(filters: Mapping[str, str]) -> bool:
    """Whether it is a number with tickets of its own, in a period that there is."""
    try:
        read_period(filters["since"], filters["until"], service().now())
    except InputError:
        return False
    return filters["counted"] in COUNTED and bool(filters["since"] and filters["until"])


def _queue() -> str:
    found = listed(service(), "unfinished", limit=MOST_IN_LANES + 1)
    return render_template(
        "queue.html",
        lanes=lanes(found[:MOST_IN_LANES], service().now()),
        open_now=waiting(service())["open"],
        most=MOST_UNFOLDED,
        cut=MOST_IN_LANES if len(found) > MOST_IN_LANES else None,
        span=span,
    )
