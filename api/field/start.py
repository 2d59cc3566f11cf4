"""Where reporters and authorities start; and a phone's language."""

from flask import Blueprint, redirect, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import caller, page_roles, service
from api.pages.sign_in import own_path, set_language
from api.pages.texts import PAGES_COOKIE
from triage.service import machines
from triage.service.numbers import waiting

blueprint = Blueprint("field_start", __name__)
MOST = 100


@blueprint.post("/phone/language")
def language() -> ResponseReturnValue:
    """The language of the pages on this browser, for people who do not sign in as well."""
    response = redirect(own_path(request.form.get("next", "")), 303)
    set_language(response, PAGES_COOKIE, request.form.get("pages", ""))
    return response


@blueprint.get("/overview")
@page_roles("reporter", "agent", "ops")
def overview() -> ResponseReturnValue:
    """What waits, to read only, dangers first."""
    found = machines.waiting_tickets(service(), MOST + 1)
    return render_template(
        "field/overview.html",
        tickets=found[:MOST],
        cut=MOST if len(found) > MOST else None,
        counts=waiting(service()),
    )


@blueprint.get("/asked")
@page_roles("authority")
def asked() -> ResponseReturnValue:
    """An authority answers by the link in its e-mail, or by its own token over the API."""
    speaks_as = service().rulebook.authorities.get(caller().authority or "")
    return render_template("field/asked.html", speaks_as=speaks_as)
