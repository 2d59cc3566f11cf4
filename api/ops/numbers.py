"""The program's numbers for the ops lead: a period at a glance, each number in full, and by any group."""

from collections.abc import Mapping
from datetime import UTC, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, Flask, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from api.http.auth import page_roles, service
from api.pages import charts
from api.pages.texts import gettext, tell
from api.pages.words import day_words, number_words, outcome_words
from triage.repairs.overview import WOULD_HAVE_SENT, Overview
from triage.repairs.period import NOT_KNOWN, Period
from triage.repairs.period_numbers import DEFINITIONS, cause_title
from triage.repairs.statistics import TOO_FEW
from triage.repairs.weeks import KeyNumber, neighbor, periods_to
from triage.service.numbers import GROUPED_BY, MEASURED_BY, days_of, overview_of, site_names
from triage.service.numbers import numbers as numbers_of
from triage.values.errors import InputError

blueprint = Blueprint("numbers_page", __name__)

STATIC = Path(__file__).parents[1] / "static"
MOST_GROUPS = 100
SHEETS = ("tokens.css", "base.css", "desk.css", "numbers.css")


@blueprint.get("/numbers")
@page_roles("ops")
def numbers() -> ResponseReturnValue:
    """The last week that is over, or the days asked for; what cannot be is said, over the last week."""
    asked = {name: request.args.get(name, "").strip() or None for name in ("since", "until", "by", "of")}
    problems: tuple[object, ...] = ()
    try:
        return page(asked["since"], asked["until"], asked["by"], asked["of"]), 200
    except InputError as error:
        problems = error.told
    return page(problems=problems, asked=asked), 422


def page(
    since: str | None = None,
    until: str | None = None,
    by: str | None = None,
    of: str | None = None,
    *,
    problems: tuple[object, ...] = (),
    asked: Mapping[str, str | None] | None = None,
    standalone: str | None = None,
) -> str:
    """The page; `standalone` holds the style sheets of one that is a file of its own. InputError."""
    glance = overview_of(service(), since, until)
    days = glance.period.first.isoformat(), glance.period.last.isoformat()
    grouped = None if by is None and of is None else numbers_of(service(), *days, by, of, MOST_GROUPS)
    keys = [one["key"] for one in grouped["groups"]] if grouped is not None and by == "site" else []
    sites = site_names(service(), [*keys, (of or "").removeprefix("site:")])
    return render_template(
        "numbers/page.html",
        glance=glance,
        found=numbers_of(service(), *days),
        grouped=grouped,
        by=by,
        of=of,
        asked=asked or {"since": days[0], "until": days[1], "by": by, "of": of},
        problems=problems,
        standalone=standalone,
        group_titles=_group_titles(),
        key_title=partial(_key_title, sites),
        measured_by=MEASURED_BY,
        said={name: tell(text) for name, text in DEFINITIONS.items()},
        names=number_words(),
        value=lambda one, number: _value(one, number, glance.currency),
        trends={one.name: _trend(one) for one in glance.numbers},
        pictures=_pictures(glance),
        waited_words=waited_words,
        rule_words={
            "helps": gettext("helps"),
            "misleads": gettext("misleads"),
            "neither": gettext("does neither, as far as seen"),
        },
        day=day_words,
        too_few=TOO_FEW,
        sent=WOULD_HAVE_SENT,
        percent=percent,
        most_groups=MOST_GROUPS,
        usual_periods=_usual_periods(),
        earlier=_neighbor(glance, -1),
        later=_neighbor(glance, 1),
        tickets=None if standalone else _tickets(days),
        span={"since": glance.span.first.isoformat(), "until": glance.span.last.isoformat()},
        firsts=periods_to(glance.period)[-1 - len(glance.numbers[0].before) :],
        under_of=partial(_under, glance.period, of, by),
    )


def as_file(app: Flask, since: str, until: str) -> str:
    """The page of a period as a file that needs nothing else."""
    sheets = [(STATIC / name).read_text(encoding="utf-8") for name in SHEETS]
    with app.test_request_context():
        return page(since, until, standalone=Markup("\n".join(sheets)))


def percent(share: float | None) -> str:
    """`48 %`; a dash where there is nothing to share."""
    return "–" if share is None else f"{share * 100:.0f} %"


def _tickets(days: tuple[str, str]) -> Any:
    """Where the tickets behind a number are listed."""

    path = url_for("desk_list.start")  # asked for once: a page has some thousand of these addresses

    def address(counted: str, **filters: Any) -> str:
        period = {"view": "all", "counted": counted, "since": days[0], "until": days[1], **filters}
        return f"{path}?{urlencode(period)}"

    return address


def _under(period: Period, of: str | None, by: str | None, key: str) -> dict[str, str]:
    """What a row of the groups is about: its days within the period, and what its tickets have in common."""
    found = {}
    if of is not None:
        name, _, common = of.partition(":")
        found[name] = common
    if by in MEASURED_BY and key:
        days = days_of(by, key)
        found |= {"since": f"{max(days.first, period.first)}", "until": f"{min(days.last, period.last)}"}
    elif by and key:
        found[by] = key
    return {"first_outcome" if name == "outcome" else name: one for name, one in found.items()}


def _usual_periods() -> Mapping[str, Mapping[str, str]]:
    """The last month, quarter and year of days that are over."""
    last = service().now().astimezone(UTC).date() - timedelta(days=1)
    titles = {30: gettext("Last 30 days"), 91: gettext("Last 13 weeks"), 365: gettext("Last 365 days")}
    return {
        title: {"since": (last - timedelta(days=days - 1)).isoformat(), "until": last.isoformat()}
        for days, title in titles.items()
    }


def _neighbor(glance: Overview, away: int) -> Mapping[str, str]:
    try:
        found = neighbor(glance.period, away)
    except ValueError:
        found = glance.period
    return {"since": found.first.isoformat(), "until": found.last.isoformat()}


def _group_titles() -> Mapping[str, str]:
    titles = {
        "site": gettext("Store"),
        "contractor": gettext("Contractor"),
        "model": gettext("Model"),
        "cause": gettext("Confirmed cause"),
        "symptom": gettext("Symptom"),
        "outcome": gettext("First outcome"),
        "day": gettext("Day"),
        "week": gettext("Week from"),
        "month": gettext("Month"),
    }
    return {by: titles[by] for by in GROUPED_BY}


def _key_title(sites: Mapping[str, str], by: str, key: str) -> str:
    rulebook = service().rulebook
    if key == NOT_KNOWN:
        return gettext("not known yet") if by == "cause" else gettext("not on record")
    match by:
        case "site":
            return sites.get(key, key)
        case "cause":
            return gettext("No fault found") if key == "no_fault_found" else cause_title(rulebook, key)
        case "symptom" if key in rulebook.symptoms:
            return tell(rulebook.symptoms[key].title)
        case "outcome":
            return outcome_words(key)
        case _:
            return key


def _value(one: KeyNumber, number: float | None, currency: str) -> str:
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
            return f"{number:,.0f}"


def _trend(one: KeyNumber) -> Any:
    return charts.trend(f"trend-{one.name}", number_words()[one.name], (*one.before, one.now), one.usual)


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
    if any(one.brier is not None for one in found.scores):
        drawn["scores"] = charts.scores(
            gettext("Log loss and Brier score of the chances given, by period."),
            gettext("Week from") if found.period.days == 7 else gettext("From the day (UTC)"),
            gettext("score; 0 is best"),
            (gettext("Log loss"), gettext("Brier score")),
            [day_words(one.period.first) for one in found.scores],
            found.scores,
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
    return gettext("Fix in store") if title == "store" else gettext("Somebody is sent")
