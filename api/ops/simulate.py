"""What would it save, before there is data: a few years of a made-up fleet, played while the lead waits."""

from collections.abc import Mapping

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles, service
from api.pages.texts import gettext
from triage.service.numbers import played_years
from triage.simulation.quick import MOST_MACHINE_YEARS
from triage.simulation.year import MEASURES
from triage.values.errors import InputError, Problem

blueprint = Blueprint("simulate_page", __name__)
NUMBERS: Mapping[str, int] = {"machines": 20, "years": 4, "seed": 1}


@blueprint.get("/numbers/simulation")
@page_roles("ops")
def form() -> ResponseReturnValue:
    return _page({name: str(usual) for name, usual in NUMBERS.items()})


@blueprint.get("/numbers/simulation/years")
@page_roles("ops")
def years() -> ResponseReturnValue:
    """The same address gives the same years."""
    asked = {name: request.args.get(name, "").strip()[:80] for name in (*NUMBERS, "world", "candidate")}
    try:
        wanted = {name: _whole(name, asked[name]) for name in NUMBERS}
        found = played_years(service(), **wanted, world=asked["world"], candidate=asked["candidate"] or None)
    except InputError as error:
        return _page(asked, problems=error.told), 422
    return _page(asked, found=found)


def _whole(name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputError([Problem("write a whole number", name)])
    return int(text)


def _page(asked: Mapping[str, str], **more: object) -> str:
    return render_template(
        "numbers/simulation.html",
        asked=asked,
        most=MOST_MACHINE_YEARS,
        currency=service().rulebook.currency,
        measures=[(name, _measure_words()[name]) for name in MEASURES],
        worlds={
            "as_written": gettext("The rulebook's numbers hold"),
            "numbers_off": gettext("Its numbers are wrong by up to a factor of 2"),
            "two_faults": gettext("One call in ten has two faults"),
            "mishearing": gettext("One answer or check in ten goes wrong"),
        },
        programs={
            "rulebook": gettext("Live rulebook"),
            "candidate": gettext("Candidate"),
            "always_send": gettext("Always send somebody"),
        },
        **more,
    )


def _measure_words() -> Mapping[str, str]:
    return {
        "calls": gettext("Calls"),
        "fixed_in_store": gettext("Fixed in the store"),
        "visits": gettext("Visits"),
        "swaps": gettext("Swaps"),
        "spend": gettext("Spent"),
        "hours": gettext("Hours not pouring"),
        "dangers": gettext("Calls with a danger"),
        "dangers_unnoticed": gettext("of these, not noticed"),
        "dangers_met": gettext("of these, clerk sent near it"),
    }
