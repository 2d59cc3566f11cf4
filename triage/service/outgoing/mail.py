"""Sends e-mail: to an SMTP server, or as a file into a folder that another program takes it from.

Nothing of this machine's name stands in it: names are those of the address that people know the server by.
"""

import smtplib
import ssl
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from pathlib import Path
from urllib.parse import unquote, urlsplit

from triage.config import Outgoing
from triage.service.outgoing.webhooks import DeliveryError
from triage.store.tables.outbox import Telling

SECONDS = 20


def message_of(telling: Telling, outgoing: Outgoing) -> EmailMessage:
    """The message; sent again it has the same id, so that a mail program shows it once."""
    assert telling.mail is not None
    message = EmailMessage(policy=SMTP)
    message["From"], message["To"] = outgoing.sender, telling.mail["to"]
    message["Subject"], message["Date"] = telling.mail["subject"], telling.made_at
    message["Message-ID"] = f"<{telling.id}.{int(telling.made_at.timestamp())}@{_host(outgoing)}>"
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(telling.mail["text"])
    return message


def send(telling: Telling, outgoing: Outgoing, _now: datetime) -> None:
    """Raises DeliveryError where the server, or the folder, does not take it."""
    message = message_of(telling, outgoing)
    to = urlsplit(outgoing.mail)
    try:
        if to.scheme == "file":
            _drop(Path(unquote(to.path)), telling, message)
        elif to.scheme in ("smtp", "smtps"):
            _hand_over(outgoing, message)
        else:
            raise DeliveryError("this server sends no e-mail; its operator sets BARRELWISE_MAIL")
    except (OSError, smtplib.SMTPException) as error:
        raise DeliveryError(f"the e-mail was not taken: {error}") from None


def _drop(folder: Path, telling: Telling, message: EmailMessage) -> None:
    """Whole or not at all: it is written under another name first. Only this user may read it."""
    folder.mkdir(parents=True, exist_ok=True)
    name = folder / f"{telling.made_at:%Y%m%dT%H%M%S}-{telling.id}.eml"
    part = name.with_suffix(".part")
    part.touch(mode=0o600)
    part.write_bytes(message.as_bytes())
    part.rename(name)


def _hand_over(outgoing: Outgoing, message: EmailMessage) -> None:
    """Encrypted where the server offers it; a password is not sent otherwise."""
    to, host = urlsplit(outgoing.mail), _host(outgoing)
    context = ssl.create_default_context()
    server: smtplib.SMTP
    if to.scheme == "smtps":
        server = smtplib.SMTP_SSL(
            str(to.hostname), to.port or 465, local_hostname=host, timeout=SECONDS, context=context
        )
    else:
        server = smtplib.SMTP(str(to.hostname), to.port or 25, local_hostname=host, timeout=SECONDS)
    with server:
        server.ehlo()
        encrypted = to.scheme == "smtps"
        if not encrypted and server.has_extn("starttls"):
            server.starttls(context=context)
            encrypted = True
        if to.username:
            if not encrypted:
                raise DeliveryError("the server takes no encryption, and a password is not sent without")
            server.login(unquote(to.username), unquote(to.password or ""))
        server.send_message(message)


def _host(outgoing: Outgoing) -> str:
    return urlsplit(outgoing.url).hostname or "localhost"
