"""What is fuzzed: bytes in; an exact value or a refusal of our own, never a third outcome."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from specctl.canonical import canonical, digest
from specctl.change.deviation import read_passed
from specctl.change.notice import read_posted
from specctl.change.record import read_release
from specctl.change.statement import read_envelopes
from specctl.codec.amounts import parse_amount, parse_money, parse_written_form
from specctl.codec.load import load, read_file
from specctl.errors import Stop
from specctl.site.bundle import Bundle
from specctl.site.pull import drawn_pages
from specctl.store.parse import parse_commit, parse_tag, parse_tree

_OID = "0" * 40


def amounts(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    parse_amount(text)
    parse_money(text)
    parse_written_form(text)


def yaml(data: bytes) -> None:
    read_file("drink", "drinks/some.yaml", data, None)


def signatories(data: bytes) -> None:
    load({"signatories.yaml": data})


def statement(data: bytes) -> None:
    read_envelopes(data.decode("utf-8", "replace"))


def release(data: bytes) -> None:
    read_release(data, "releases/1.json")


def bundle(data: bytes) -> None:
    Bundle.parse(data)


def cards(data: bytes) -> None:
    """A bundle whose digests are made to fit, as whoever signs it would: what lies behind them must hold by itself."""
    try:
        told = json.loads(data)
        named = {name: digest(entry) for name, entry in told["entries"].items()}
        told = json.loads(renamed(json.dumps(told), named))
        whole = canonical(told)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return  # not JSON of that shape: `bundle` tries those
    drawn_pages(Bundle.parse(whole), datetime(2026, 11, 12, 9, tzinfo=UTC))


def renamed(text: str, named: dict[str, Any]) -> str:
    for old, new in named.items():
        if len(old) == 64:
            text = text.replace(old, new)
    return text


def sealed(data: bytes) -> None:
    for read in (read_posted, read_passed):
        try:
            read(data.decode("utf-8", "replace"))
        except Stop:
            pass


def objects(data: bytes) -> None:
    for parse in (parse_commit, parse_tag, parse_tree):
        _refusing(parse, data)


def _refusing(parse: Callable[[str, bytes], object], data: bytes) -> None:
    try:
        parse(_OID, data)
    except Stop:
        pass


TARGETS: dict[str, Callable[[bytes], None]] = {
    one.__name__: one for one in (amounts, yaml, signatories, statement, sealed, release, bundle, cards, objects)
}


def answered(target: str, data: bytes) -> None:
    """Runs one; anything but a value or a refusal of ours comes out as it is."""
    try:
        TARGETS[target](data)
    except Stop:
        pass
