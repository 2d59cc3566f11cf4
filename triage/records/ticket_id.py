"""Ticket ids that survive a phone call: "T-" and six signs of Crockford's base 32 (no I, L, O, U).

D. Crockford, "Base 32", crockford.com/base32.html: I and L are read as 1, O as 0, case does not count
(from memory).
"""

import secrets

SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 6


def new_ticket_id() -> str:
    """A random id, one of 32⁶ (about a thousand million); the store sees to it that none is given twice."""
    return "T-" + "".join(secrets.choice(SIGNS) for _ in range(LENGTH))


def heard(text: str) -> str:
    """The id that was meant by what somebody typed or heard: "t-7ok4m2" is "T-70K4M2"."""
    body = text.upper().replace(" ", "").replace("-", "")
    if len(body) > LENGTH:
        body = body.removeprefix("T")
    return "T-" + body.replace("O", "0").replace("I", "1").replace("L", "1")
