"""The week at a glance, for the ops lead: six numbers, three pictures, whom to look after, what was saved."""

from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from flask import Blueprint, Flask, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from api.http.auth import page_roles, service
from api.ops.numbers import percent
from api.pages import charts
from api.pages.texts import gettext
from api.pages.words import day_words
from triage.repairs.overview import FUNNEL, MOST_SHOWN, WOULD_HAVE_SENT, Overview
from triage.repairs.statistics import TOO_FEW, funnel_limit
from triage.repairs.weeks import WeekNumber
from triage.service import numbers

blueprint = Blueprint("overview_page", __name__)

STATIC = Path(__file__).parents[1] / "static"
SHEETS = ("tokens.css", "base.css", "desk.css", "numbers.css")


@blueprint.get("/week")
@page_roles("ops")
def week() -> ResponseReturnValue:
    """The week of `day`, or the last one that is over; a day that is none is said, over the last week."""
    asked, problem, day = request.args.get("day", "").strip(), None, None
    try:
        day = date.fromisoformat(asked) if asked else None
        found = numbers.week(service(), day)
    except (ValueError, OverflowError):
        problem = gettext(
            "Write a day as YYYY-MM-DD, such as %(day)s; the last week is shown.", day="2026-11-16"
        )
        found = numbers.week(service())
    return page(found, problem=problem), 422 if problem else 200


def page(found: Overview, *, problem: str | None = None, standalone: str | None = None) -> str:
    """The page; `standalone` holds the style sheets of one that is a file of its own."""
    return render_template(
        "overview.html",
        found=found,
        problem=problem,
        standalone=standalone,
        names=_names(),
        value=lambda one, number: _value(one, number, found.currency),
        trends={one.name: _trend(one) for one in found.numbers},
        pictures=_pictures(found),
        sites=numbers.site_names(service()),
        waited_words=waited_words,
        day=day_words,
        shown=MOST_SHOWN,
        too_few=TOO_FEW,
        sent=WOULD_HAVE_SENT,
        percent=percent,
        earlier=found.week.first - timedelta(days=7),
        later=found.week.last + timedelta(days=1),
    )


def as_file(app: Flask, found: Overview) -> str:
    """The page as a file that needs nothing else."""
    sheets = [(STATIC / name).read_text(encoding="utf-8") for name in SHEETS]
    with app.test_request_context():
        return page(found, standalone=Markup("\n".join(sheets)))


def _names() -> Mapping[str, str]:
    return {
        "opened": gettext("Reports"),
        "cured_in_store": gettext("Fixed in the store"),
        "first_visit_fix": gettext("Fixed at the first visit"),
        "hours_to_close": gettext("Hours until it pours, median"),
        "spend_closed": gettext("Spent"),
        "repeats": gettext("Repeat trouble"),
    }


def _value(one: WeekNumber, number: float | None, currency: str) -> str:
    if number is None:
        return "–"
    match one.kind:
        case "share":
            return percent(number)
        case "hours":
            return f"{number:.1f} h"
        case "money":
            return f"{number:,.0f} {currency}"
        case "count":
            return f"{number:.0f}"


def _trend(one: WeekNumber) -> Any:
    return charts.trend(f"trend-{one.name}", _names()[one.name], (*one.before, one.now), one.usual)


def _pictures(found: Overview) -> Mapping[str, Any]:
    """Those that there is something to show in."""
    drawn = {}
    if found.reliability:
        drawn["reliability"] = charts.reliability(
            gettext("Of the causes ranked first: the chance given, and the share confirmed."),
            gettext("chance that was given, %"),
            gettext("confirmed, %"),
            found.reliability,
        )
    if found.places and found.repeat_share:
        most = max(place.reports for place in found.places)
        share = found.repeat_share
        counts = range(1, most + 1) if share < 1 else ()
        drawn["places"] = charts.funnel(
            gettext("Stores by reports and the share that came back within 30 days."),
            gettext("reports"),
            gettext("came back, %"),
            found.places,
            share,
            {count: funnel_limit(share, count, FUNNEL) for count in counts},
        )
    if found.waited:
        drawn["waited"] = charts.waiting(
            gettext("Share of machines that do not pour yet, by hours since the report."),
            gettext("hours since the report"),
            gettext("not pouring, %"),
            [(waited_words(one.title), one) for one in found.waited],
        )
    return drawn


def waited_words(title: str) -> str:
    return gettext("Fix in store") if title == "fix_in_store" else gettext("Somebody is sent")
