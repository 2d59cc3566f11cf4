"""The fleet by machine and by site, with filters that stand in the address, and as a spreadsheet."""

from collections.abc import Iterable, Mapping
from typing import NoReturn

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles, service
from api.http.json_bodies import as_text
from api.pages.sign_in import DESK
from api.pages.texts import gettext
from triage.repairs.exports import as_csv
from triage.service.fleet import overview
from triage.service.machines import contractors
from triage.values.errors import InputError, Problem

blueprint = Blueprint("fleet", __name__)
PAGE = 50
MOST_OFFSET = 1_000_000
FILTERS = {"show": 20, "site": 64, "contractor": 64, "model": 64, "words": 80}


@blueprint.get("/fleet")
@page_roles(*DESK, "reporter")
def fleet() -> ResponseReturnValue:
    """A board of sites with `by=site`, else a list of machines."""
    filters, by_site, offset = _filters(), request.args.get("by") == "site", offset_asked()
    found = overview.page(service(), filters, by_site, offset, PAGE + 1)
    shown = found.sites or found.units or found.machines
    return render_template(
        "fleet/overview.html",
        found=found,
        titles=titles(),
        shown=shown[:PAGE],
        filters={name: said for name, said in filters.items() if said},
        by="site" if by_site else None,
        contractors=list(contractors(service()).values()),
        more=offset + PAGE if len(shown) > PAGE else None,
        warranty_days=overview.WARRANTY_DAYS,
        marks=overview.MARKS,
    )


@blueprint.get("/fleet.csv")
@page_roles(*DESK, "reporter")
def as_sheet() -> ResponseReturnValue:
    """Every machine that the filters pick."""
    answer = as_text(as_csv(overview.COLUMNS, overview.rows(service(), _filters())), "text/csv")
    answer.headers["Content-Disposition"] = 'attachment; filename="fleet.csv"'
    return answer


def filters_asked(names: Mapping[str, int] = FILTERS) -> dict[str, str]:
    """The filters of the address, each cut to the length of what it is held against."""
    return {name: request.args.get(name, "").strip()[:most] for name, most in names.items()}


def refuse_unknown(name: str, wrong: str, known: Iterable[str]) -> NoReturn:
    """To leave out what there is not would show what nobody asked for."""
    raise InputError([Problem(f"{wrong}; write one of {', '.join(known)}", f"/{name}")])


def _filters() -> dict[str, str]:
    asked = filters_asked()
    if asked["show"] and asked["show"] not in titles():
        refuse_unknown("show", f'there is no "{asked["show"]}" to show', titles())
    return asked


def offset_asked() -> int:
    """The place in the list from which on it is shown; 0 for what is no number."""
    text = request.args.get("from", "")
    return min(int(text), MOST_OFFSET) if text.isascii() and text.isdigit() and len(text) < 9 else 0


def titles() -> Mapping[str, str]:
    """State or mark -> how it is called."""
    return {
        "danger": gettext("Danger open"),
        "down": gettext("Down"),
        "installing": gettext("In installation"),
        "live": gettext("Live"),
        "care_overdue": gettext("Care overdue"),
        "care_unknown": gettext("No care on record"),
        "warranty_ending": gettext("Warranty ending"),
        "repeat": gettext("Repeat trouble"),
        "depot": gettext("Depot units"),
    }
