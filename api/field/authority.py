"""The authority's page: a link that is valid once, one question, and the answer. Nobody signs in."""

from typing import Any

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from api.http.auth import service
from api.pages.texts import gettext
from api.pages.words import local_time, title_words
from triage.service.outgoing import ask
from triage.values.errors import ConflictError, InputError, NotFoundError, Problem
from triage.values.money import money_text, sum_money, typed_amount

blueprint = Blueprint("field_authority", __name__)


@blueprint.get("/approve/<held>")
def question(held: str) -> ResponseReturnValue:
    """Looking at it uses nothing up: programs that check e-mail open links too."""
    return _page(held)


@blueprint.post("/approve/<held>")
def answered(held: str) -> ResponseReturnValue:
    form = request.form
    word, why = form.get("answer", ""), form.get("why", "").strip()
    data: dict[str, Any] = {
        "answer": word,
        "why": why or "Answered by the link in the e-mail; no reason given.",
    }
    if word == "yes_up_to":
        data["amount"] = typed_amount(form.get("amount", ""), service().rulebook.currency)
    try:
        ticket = ask.answer(service(), held, data)
    except NotFoundError:
        return _over(gettext("This link is not valid, or no longer. Ask to be sent a new one.")), 404
    except InputError as error:
        return _page(held, error.told)
    said = ticket.repair.approval
    assert said is not None
    amount = "" if said.amount is None else money_text(said.amount)
    text = (
        gettext("Recorded: yes, up to %(amount)s.", amount=amount) if said.yes else gettext("Recorded: no.")
    )
    return _over(text, done=True)


def _page(held: str, problems: tuple[Problem, ...] = ()) -> ResponseReturnValue:
    rulebook = service().rulebook
    try:
        asked = ask.question(service(), held)
    except NotFoundError:
        return _over(gettext("This link is not valid, or no longer. Ask to be sent a new one.")), 404
    except ConflictError:
        text = gettext("This question was answered, or there is another estimate since. A link answers once.")
        return _over(text), 410
    ticket, estimate = asked.ticket, asked.ticket.repair.estimate
    spent = sum_money(ticket.spent, rulebook.currency)
    authority = rulebook.authorities.get(asked.link.caller.authority or "")
    page = render_template(
        "field/authority.html",
        asked=asked,
        ticket=ticket,
        estimate=estimate,
        cause="" if estimate is None else title_words(rulebook.causes, estimate.cause),
        comes_to=spent if estimate is None else spent + estimate.bill.beyond_warranty,
        spent=spent,
        authority=authority,
        limit=ticket.decided.limit,
        until=local_time(asked.link.expires_at, asked.timezone),
        problems=problems,
        form=request.form,
    )
    return (page, 422) if problems else page


def _over(text: str, done: bool = False) -> str:
    return render_template("field/over.html", text=text, done=done)
