"""Estimates, words and authorizations of one ticket: the part of its state that money hangs on.

An authorization belongs to one revision of the estimate, and a new revision withdraws it. Its number is never
given again. It is used by the closing that names it, once and before it expires. `repair` is the JSON object
that a ticket's events fold into:

    {"revisions": how many estimates, "authorized": how many authorizations,
     "estimate": the last estimate's payload or null, "word": the answer to it or null,
     "authorization": {"number", "amount", "estimate", "authority", "why", "expires_at",
                       "state": open | used | withdrawn} or null}
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, TypeAlias

from triage.values.errors import ConflictError, InputError, Problem
from triage.values.money import Money, money_text, parse_money

Repair: TypeAlias = Mapping[str, Any]

NOTHING_YET: Repair = {
    "revisions": 0,
    "authorized": 0,
    "estimate": None,
    "word": None,
    "authorization": None,
}

STANDING_DAYS = 30
"""How long an authorization within the standing limit may be used. Common practice, no source."""


def next_number(ticket: str, repair: Repair) -> str:
    """The number of a ticket's next authorization."""
    return f"{ticket}-A{repair['authorized'] + 1}"


def standing_until(now: datetime) -> datetime:
    return now + timedelta(days=STANDING_DAYS)


def after_estimate(repair: Repair, payload: Mapping[str, Any]) -> Repair:
    """A new revision: it is not answered yet, and what was authorized before is withdrawn."""
    return {
        **repair,
        "revisions": repair["revisions"] + 1,
        "estimate": payload,
        "word": None,
        "authorization": _withdrawn(repair["authorization"]),
    }


def after_word(repair: Repair, payload: Mapping[str, Any], who: str) -> Repair:
    """Somebody with the right to it, or the standing limit, answered the estimate."""
    word = {key: payload.get(key) for key in ("authority", "yes", "amount", "why")} | {"who": who}
    authorized, authorization = repair["authorized"], repair["authorization"]
    if payload["yes"] and payload.get("number"):
        keys = ("number", "amount", "estimate", "authority", "why", "expires_at")
        authorization = {key: payload.get(key) for key in keys} | {"state": "open"}
        authorized += 1
    return {**repair, "authorized": authorized, "word": word, "authorization": authorization}


def after_close(repair: Repair, payload: Mapping[str, Any]) -> Repair:
    """The authorization named is used, any other withdrawn; what is estimated later is asked anew."""
    authorization = repair["authorization"]
    if authorization is not None and payload.get("authorization") == authorization["number"]:
        authorization = {**authorization, "state": "used"}
    return {**repair, "estimate": None, "word": None, "authorization": _withdrawn(authorization)}


def _withdrawn(authorization: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    if authorization is None or authorization["state"] != "open":
        return authorization
    return {**authorization, "state": "withdrawn"}


def open_authorization(repair: Repair, now: datetime) -> Mapping[str, Any] | None:
    """The authorization that may be used now."""
    authorization: Mapping[str, Any] | None = repair["authorization"]
    if authorization is None or authorization["state"] != "open":
        return None
    return authorization if now < datetime.fromisoformat(authorization["expires_at"]) else None


def refuse_second_word(repair: Repair, revision: int, ticket: str) -> None:
    """Raises ConflictError unless `revision` is the last one and nobody has answered it."""
    last = repair["revisions"] if repair["estimate"] is not None else 0
    if revision != last:
        what = f"the last one is {last}" if last else "there is none to answer (give 0)"
        message = f"estimate {revision} of ticket {ticket} is not the last: {what}; answer that"
        raise ConflictError([Problem(message, "/estimate")])
    word = repair["word"]
    if word is not None:
        said = "approved" if word["yes"] else "turned down"
        by = word["authority"] or "the standing limit"
        message = (
            f"estimate {revision} of ticket {ticket} was {said} already, by {by}; send a revision to ask anew"
        )
        raise ConflictError([Problem(message, "/estimate")])


def refuse_closing_above(
    repair: Repair, named: str | None, payable: Money, headroom: Money, now: datetime
) -> None:
    """Raises InputError unless what the program pays is authorized: by the number named, or the headroom.

    Once a revision is approved its authorization is what counts, though the headroom be higher.
    """
    authorization = repair["authorization"]
    if named is not None and (authorization is None or authorization["number"] != named):
        _refuse(f'this ticket has no authorization "{named[:60]}"; leave it out, or give the number told')
    if authorization is not None and (named is not None or authorization["state"] == "open"):
        number = authorization["number"]
        if named is None:
            if payable.amount:
                _refuse(f"{money_text(payable)} is closed on the authorization {number}; name it")
            return
        if authorization["state"] == "used":
            _refuse(f"the authorization {number} was used already; an estimate gets a new one")
        if authorization["state"] == "withdrawn":
            _refuse(f"the authorization {number} was withdrawn when a newer estimate or closing came")
        if now >= datetime.fromisoformat(authorization["expires_at"]):
            _refuse(f"the authorization {number} expired at {authorization['expires_at']}; ask again")
        amount = parse_money(authorization["amount"], payable.currency.code)
        if payable > amount:
            _refuse(
                f"{money_text(payable)} is {money_text(payable - amount)} above the {money_text(amount)} "
                f"authorized by {number}; send an estimate and have it approved first"
            )
    elif payable > headroom:
        _refuse(
            f"{money_text(payable)} is above the {money_text(headroom)} that may be spent without a word; "
            "send an estimate and have it approved first"
        )


def _refuse(message: str) -> None:
    raise InputError([Problem(message, "/authorization")])
