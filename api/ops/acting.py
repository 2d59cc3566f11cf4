"""Sites and machines to act on, as a page: every row leads to what can be done."""

from collections.abc import Mapping, Sequence
from typing import Any

from flask import Blueprint, render_template, request, url_for
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles, service
from api.ops.numbers import percent
from api.pages import charts
from api.pages.texts import gettext
from api.pages.words import day_words
from triage.repairs.acting import FUNNEL, Commissioning, Rate
from triage.repairs.period_numbers import part
from triage.repairs.statistics import funnel_limits
from triage.service.fleet.acting import ToAct, to_act
from triage.service.numbers import site_names
from triage.values.errors import InputError

blueprint = Blueprint("acting", __name__)

CURVE = 60
MOST_ROWS = 10


@blueprint.get("/numbers/act")
@page_roles("ops")
def page() -> ResponseReturnValue:
    """The last year, or the days asked for; what cannot be is said, over the last year."""
    asked = {name: request.args.get(name, "").strip() or None for name in ("since", "until")}
    try:
        return _page(to_act(service(), **asked)), 200
    except InputError as error:
        return _page(to_act(service(), None, None), problems=error.told, asked=asked), 422


def _page(found: ToAct, **more: Any) -> str:
    days = {"since": found.period.first.isoformat(), "until": found.period.last.isoformat()}
    places = found.places[:MOST_ROWS]
    named = {*(place.site for place in places), *(one.name for one in found.often_down_sites[:MOST_ROWS])}
    return render_template(
        "numbers/acting.html",
        **{
            "found": found,
            "days": days,
            "asked": days,
            "places": places,
            "sites": site_names(service(), named),
            "funnel": _funnel(found),
            "most": MOST_ROWS,
            "part": part,
            "percent": percent,
            "day": day_words,
            "rate": _rate,
            "compared": _compared,
            "commissionings": _commissionings(found, days),
        }
        | more,
    )


def _commissionings(found: ToAct, days: Mapping[str, str]) -> Sequence[tuple[str, Rate, str]]:
    """Each state with the calls of its machines, and where these are listed."""
    titles: Mapping[Commissioning, str] = {
        "complete": gettext("Every point written down and passed"),
        "missing": gettext("Nothing failed, but not all is written down"),
        "failed": gettext("A point failed"),
    }
    behind: dict[str, Any] = {"view": "all", "counted": "opened", **days}
    return [
        (title, found.commissioning[state], url_for("desk_list.start", commissioning=state, **behind))
        for state, title in titles.items()
    ]


def _rate(one: Any) -> str:
    return "–" if one.a_year is None else f"{one.a_year:.2f}"


def _compared(one: Any) -> str:
    said = {
        "more": gettext("more, beyond chance"),
        "fewer": gettext("fewer, beyond chance"),
        "neither": gettext("no difference shown"),
    }
    return said[one.says]


def _funnel(found: ToAct) -> Any:
    if not found.places or not found.repeat_share:
        return None
    most = max(place.reports for place in found.places)
    counts = sorted({max(1, round(most ** (step / CURVE))) for step in range(CURVE + 1)})
    limits = funnel_limits(found.repeat_share, counts, FUNNEL).tolist()
    return charts.funnel(
        gettext("Stores by reports and the share that came back within 30 days."),
        gettext("reports"),
        gettext("came back, %"),
        found.places,
        found.repeat_share,
        dict(zip(counts, limits, strict=True)),
    )
