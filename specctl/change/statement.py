"""Signed statements: what a person says about one effect, as bytes and as one mailable text.

The payload is canonical JSON; the signature is an OpenSSH signature over those
bytes in the namespace `<purpose>@specctl`. Both travel in one base64 text, so
that no mail client can break either. This module checks form only; who signed
is the store's answer, and whether it counts is policy's.
"""

from __future__ import annotations

import base64
import binascii
import json
import re
from dataclasses import dataclass
from typing import Any

from specctl.canonical import canonical, digest_of
from specctl.errors import Untrusted

SIGNOFF = "signoff"
OBJECTION = "objection"
CONFIRMATION = "confirmation"
NOTICE = "notice"
PURPOSES = (SIGNOFF, OBJECTION, CONFIRMATION, NOTICE)

_FIRST_LINE = "specctl statement 1"
_LARGEST = 64 * 1024
LONGEST_NOTE = 2000
_FIELDS = {
    "purpose": re.compile(r"signoff|objection|confirmation|notice"),
    "book": re.compile(r"[a-z0-9]+(-[a-z0-9]+)*"),
    "proposal": re.compile(r"[1-9][0-9]{0,8}-[a-z0-9]+(-[a-z0-9]+)*"),
    "scope": re.compile(r"chain|franchise/[a-z0-9]+(-[a-z0-9]+)*"),
    "effect": re.compile(r"[0-9a-f]{64}"),
    "role": re.compile(r"[a-z0-9]+(-[a-z0-9]+)*"),
    "person": re.compile(r"[a-z0-9]+(-[a-z0-9]+)*"),
    "said": re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z"),
}
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Statement:
    """What is said. `price_book` is the digest of the price book it was read with, if any."""

    purpose: str
    book: str
    proposal: str
    scope: str
    effect: str
    role: str
    person: str
    said: str
    price_book: str | None = None
    note: str = ""

    def as_json(self) -> dict[str, Any]:
        return {
            "statement": 1,
            "purpose": self.purpose,
            "book": self.book,
            "proposal": self.proposal,
            "scope": self.scope,
            "effect": self.effect,
            "role": self.role,
            "person": self.person,
            "price_book": self.price_book,
            "said": self.said,
            "note": self.note,
        }

    @property
    def payload(self) -> bytes:
        return canonical(self.as_json())

    @property
    def namespace(self) -> str:
        return f"{self.purpose}@specctl"


@dataclass(frozen=True, slots=True)
class Envelope:
    """A statement with its signature, as it travels and as it is kept."""

    statement: Statement
    payload: bytes
    signature: str

    @property
    def digest(self) -> str:
        """SHA-256 of the payload: the statement's name."""
        return digest_of(self.payload)

    @property
    def path(self) -> str:
        """Where main keeps it."""
        return f"statements/{self.statement.proposal}/{self.digest}.statement"

    def text(self) -> str:
        """The one text that travels."""
        return wrap(self.payload, self.signature)


def wrap(payload: bytes, signature: str) -> str:
    """Signed bytes and their signature as the one text that travels."""
    inner = canonical({"payload": base64.b64encode(payload).decode("ascii"), "signature": signature})
    body = base64.b64encode(inner).decode("ascii")
    lines = [body[i : i + 76] for i in range(0, len(body), 76)]
    return "\n".join([_FIRST_LINE, *lines]) + "\n"


def read_envelopes(text: str) -> tuple[Envelope, ...]:
    """Every envelope of a text, each beginning with its first line. Raises Untrusted for none or a bad one."""
    lines = [line.strip().lstrip("> \t") for line in text.splitlines()]
    starts = [i for i, line in enumerate(lines) if line == _FIRST_LINE]
    if not starts:
        raise _broken(f"the line '{_FIRST_LINE}' is missing")
    bounds = [*starts, len(lines)]
    return tuple(read_envelope("\n".join(lines[a:b])) for a, b in zip(bounds, bounds[1:]))


def read_envelope(text: str) -> Envelope:
    """Read one envelope. Raises Untrusted for anything that is not exactly one whole statement."""
    payload, signature = unwrap(text)
    return Envelope(_read_payload(payload), payload, signature)


def unwrap(text: str) -> tuple[bytes, str]:
    """The signed bytes and the signature of one text, whatever a mail client did to its white space.

    What follows the base64 body behind an empty line (a mail's footer) is passed
    over. Raises Untrusted for a text that was cut or holds anything else.
    """
    if len(text) > _LARGEST:
        raise _broken("it is too long")
    lines = [line.strip().lstrip("> \t") for line in text.strip().splitlines()]
    if lines.count(_FIRST_LINE) != 1:
        raise _broken(f"the line '{_FIRST_LINE}' must stand in it once")
    after = lines[lines.index(_FIRST_LINE) + 1 :]
    while after and not after[0]:
        after = after[1:]
    body = "".join(after[: after.index("")] if "" in after else after)
    try:
        inner = json.loads(base64.b64decode(body, validate=True))
        payload = base64.b64decode(inner["payload"], validate=True)
        signature = inner["signature"]
    except (binascii.Error, ValueError, KeyError, TypeError, RecursionError):
        raise _broken("its text was cut or changed on the way") from None
    if not isinstance(signature, str) or set(inner) != {"payload", "signature"}:
        raise _broken("it holds something else than a payload and a signature")
    return payload, signature


def _read_payload(payload: bytes) -> Statement:
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        raise _broken("its payload is not JSON") from None
    if not isinstance(said, dict) or said.get("statement") != 1:
        raise _broken("it is not a statement of format 1")
    for field, form in _FIELDS.items():
        value = said.get(field)
        if not isinstance(value, str) or not form.fullmatch(value):
            raise _broken(f"its field '{field}' is not as it should be")
    price_book = said.get("price_book")
    if price_book is not None and not (isinstance(price_book, str) and _DIGEST.fullmatch(price_book)):
        raise _broken("its price book is not a digest")
    note = said.get("note")
    if not isinstance(note, str) or len(note) > LONGEST_NOTE:
        raise _broken("its note is missing or too long")
    statement = Statement(
        **{field: said[field] for field in _FIELDS}, price_book=price_book, note=note
    )
    # Re-encoding must give the signed bytes: no duplicate, hidden or extra key survives this.
    try:
        whole = statement.payload == payload
    except TypeError:  # half a surrogate pair, which JSON can name and UTF-8 cannot hold
        whole = False
    if not whole:
        raise _broken("its payload is not in canonical form")
    return statement


def _broken(why: str) -> Untrusted:
    return Untrusted(
        f"this is not a whole statement: {why}",
        "Ask for the statement file again, as an attachment, unchanged.",
    )
