"""The program's numbers as a page for the ops lead, each with its definition beside it."""

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import page_roles, service
from api.pages.texts import clerk, page_language
from triage.repairs.period_numbers import DEFINITIONS
from triage.service.numbers import numbers as numbers_of
from triage.values.errors import InputError

blueprint = Blueprint("numbers_page", __name__)


@blueprint.get("/numbers")
@page_roles("ops")
def numbers() -> ResponseReturnValue:
    """A period that cannot be comes back as it was filled in, over the usual one."""
    asked = [request.args.get(name, "").strip() or None for name in ("since", "until")]
    problems: tuple[object, ...] = ()
    try:
        found = numbers_of(service(), asked[0], asked[1])
    except InputError as error:
        problems = error.told
        found = numbers_of(service(), None, None)
    return render_template(
        "numbers.html",
        found=found,
        said={name: clerk(text, page_language()) for name, text in DEFINITIONS.items()},
        asked=asked,
        problems=problems,
        percent=percent,
    ), 422 if problems else 200


def percent(share: float | None) -> str:
    """`48 %`; a dash where there is nothing to share."""
    return "–" if share is None else f"{share * 100:.0f} %"
