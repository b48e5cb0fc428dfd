"""What is fuzzed: bytes in; an exact value or a refusal of our own, never a third outcome."""

from __future__ import annotations

from collections.abc import Callable

from specctl.change.record import read_release
from specctl.change.statement import read_envelopes
from specctl.codec.amounts import parse_amount, parse_money, parse_written_form
from specctl.codec.load import load, read_file
from specctl.errors import Stop
from specctl.site.bundle import Bundle
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


def objects(data: bytes) -> None:
    for parse in (parse_commit, parse_tag, parse_tree):
        _refusing(parse, data)


def _refusing(parse: Callable[[str, bytes], object], data: bytes) -> None:
    try:
        parse(_OID, data)
    except Stop:
        pass


TARGETS: dict[str, Callable[[bytes], None]] = {
    one.__name__: one for one in (amounts, yaml, signatories, statement, release, bundle, objects)
}


def answered(target: str, data: bytes) -> None:
    """Runs one; anything but a value or a refusal of ours comes out as it is."""
    try:
        TARGETS[target](data)
    except Stop:
        pass
