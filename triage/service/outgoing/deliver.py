"""Delivers what waits in the outbox. Nothing is dropped: what fails is tried again, at last once a day."""

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta

from triage.service.outgoing import mail, webhooks
from triage.service.outgoing.webhooks import DeliveryError
from triage.service.service import Service
from triage.store.tables.outbox import Telling

log = logging.getLogger(__name__)

AGAIN = (5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400)
"""Seconds to the next attempt, after each; the last for all that follow. As Standard Webhooks suggests."""
AT_ONCE = 10
LOOK_SECONDS = 5.0


@dataclass(frozen=True, slots=True)
class Delivered:
    sent: int = 0
    failed: int = 0


def deliver(service: Service) -> Delivered:
    """Everything that is due now, no transaction open while anything is sent.

    One that fails keeps the others of its listener, or all e-mail, waiting until the next time.
    """
    sent = failed = 0
    down: set[str | None] = set()
    now = service.now()
    while True:
        with service.store.read() as work:
            if not work.outbox.due(now):
                return Delivered(sent, failed)
        with service.store.write() as work:
            taken = work.outbox.take(now, AT_ONCE)
        for telling in taken:
            to = None if telling.listener is None else telling.listener.name
            if to in down:
                with service.store.write() as work:
                    work.outbox.put_off(telling.id, service.now() + timedelta(seconds=AGAIN[0]))
                continue
            error = _sent(service, telling)
            with service.store.write() as work:
                if error is None:
                    work.outbox.delivered(telling.id, service.now())
                    sent += 1
                    continue
                down.add(to)
                failed += 1
                wait = AGAIN[min(telling.attempts, len(AGAIN) - 1)]
                work.outbox.failed(telling.id, error, service.now() + timedelta(seconds=wait))


def _sent(service: Service, telling: Telling) -> str | None:
    """None once it is delivered, else why not."""
    try:
        if telling.mail is not None:
            mail.send(telling, service.outgoing, service.now())
        else:
            webhooks.send(telling, service.now())
    except DeliveryError as error:
        return str(error)
    return None


@contextmanager
def delivering(service: Service) -> Iterator[None]:
    """Delivers in a thread of its own as long as the block lasts; requests never wait for it."""
    ended = threading.Event()

    def go_on() -> None:
        while not ended.wait(LOOK_SECONDS):
            try:
                deliver(service)
            except Exception:
                log.exception("what waits to be sent was not looked through; it is tried again")

    thread = threading.Thread(target=go_on, name="delivering", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join(LOOK_SECONDS)
