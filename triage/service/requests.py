"""What every request asks: who calls, whether it was sent before, whether the program can answer at all."""

from collections.abc import Callable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from triage.decide.spending.authorities import outranked
from triage.records.caller import Caller
from triage.service.service import Service, one_version
from triage.store import Work
from triage.store.tables.idempotency import StoredResponse
from triage.values.errors import ConflictError, InputError

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Response:
    """What a request is answered; `repeated` where it was sent before under its idempotency key."""

    status: int
    body: Data
    headers: Mapping[str, str]
    repeated: bool = False


class _SentBefore(Exception):
    def __init__(self, response: Response) -> None:
        super().__init__("sent before")
        self.response = response


def caller_for(service: Service, token: str) -> Caller | None:
    """Who holds this token; None when it is unknown, revoked or has expired."""
    now = service.now()
    with service.store.read() as work:
        found = work.tokens.find(token, now)
    if found is None:
        return None
    name = found.caller.name
    if found.to_note:
        service.aside.write(f"token {name}", lambda work: work.tokens.note_use(name, now))
    return _ranked(service, found.caller)


def _ranked(service: Service, caller: Caller) -> Caller:
    """An authority with those of the live rulebook that it stands above."""
    if caller.authority is None:
        return caller
    return replace(caller, outranks=outranked(service.rulebook, caller.authority))


def sign_in(service: Service, token: str, address: str) -> str | timedelta | None:
    """Begins a session for the pages; gives what the browser holds. None when the token is not valid.

    After too many of these from one address: how long none of it are looked at.
    """
    with service.store.read() as work:
        wait = work.wrong_tokens.wait(address, service.now())
    if wait:
        return wait
    caller = caller_for(service, token)
    if caller is None:
        with service.store.write() as work:
            work.wrong_tokens.add(address, service.now())
        return None
    with service.store.write() as work:
        return work.sessions.begin(caller.name, service.now())


def sign_in_as(service: Service, email: str) -> str | None:
    """The same for whom a sign-in provider knows by this address; None unless it is one valid token's."""
    with service.store.write() as work:
        names = work.tokens.at_address(email, service.now())
        if len(names) != 1:
            return None
        work.tokens.note_use(names[0], service.now())
        return work.sessions.begin(names[0], service.now())


def caller_signed_in(service: Service, held: str) -> Caller | None:
    """Whose session the browser holds; None when it has ended, by time, sign-out or a revoked token."""
    now = service.now()
    with service.store.read() as work:
        found = work.sessions.find(held, now)
    if found is None:
        return None
    if found.to_note:
        service.aside.write(f"session {held}", lambda work: work.sessions.note_use(held, now))
    return _ranked(service, found.caller)


def sign_out(service: Service, held: str) -> None:
    """Ends the session that the browser holds; nothing is written where there is none."""
    with service.store.read() as work:
        found = work.sessions.find(held, service.now())
    if found is not None:
        with service.store.write() as work:
            work.sessions.end(held)


@one_version
def health(service: Service) -> Data:
    """Says which rulebook and engine serve, whether the database answers or not."""
    return {"status": "ok", "rulebook": service.rulebook.version, "engine": service.engine.name}


def check_ready(service: Service) -> None:
    """Raises UnavailableError where the database cannot be read now, or not written."""
    service.store.check()


def sent_before(service: Service, key: str, caller: Caller) -> Response | None:
    """What a request with this key was answered; None where there was none."""
    with service.store.read() as work:
        known = work.responses.find(caller.name, key)
    return None if known is None else Response(known.status, known.body, known.headers, repeated=True)


def once(
    service: Service,
    key: str,
    caller: Caller,
    request_hash: str,
    action: Callable[[], Response],
    *,
    is_work: bool = False,
) -> Response:
    """Carries out `action` once per caller and key; its effect and its response are stored together.

    Sent again with the same request it gives the stored response; with another it is a ConflictError. What
    raises stores nothing, so that it can be tried again. The key is looked up again in the write that keeps
    the effect: of two that are sent at once one is stored, and both are answered with its response.

    With `is_work`, the effect is stored by the action itself, as it goes on: long work that does no harm done
    twice.
    """

    def sent_before(work: Work) -> None:
        known = work.responses.find(caller.name, key)
        if known is None:
            return
        if known.request_hash != request_hash:
            raise ConflictError("this Idempotency-Key was used for another request; make a new one")
        raise _SentBefore(Response(known.status, known.body, known.headers, repeated=True))

    def look_up() -> None:
        with service.store.read() as work:
            sent_before(work)

    try:
        look_up()
        with nullcontext() if is_work else service.store.one_write(sent_before):
            response = action()
            with service.store.write() as work:
                sent_before(work)
                kept = StoredResponse(request_hash, response.status, response.headers, response.body)
                work.responses.keep(caller.name, key, kept, service.now())
        return response
    except _SentBefore as sent:
        return sent.response
    except InputError:
        try:
            look_up()  # what the same request changed meanwhile may be why this one was refused
        except _SentBefore as sent:
            return sent.response
        raise
