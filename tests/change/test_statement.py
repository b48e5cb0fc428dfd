"""Statements travel by mail and are signed with OpenSSH; the outside check is plain `ssh-keygen -Y verify`."""

from __future__ import annotations

import base64
import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specctl.change.statement import PURPOSES, Envelope, Statement, read_envelope
from specctl.errors import Untrusted

SAID = Statement(
    purpose="signoff",
    book="tidewick",
    proposal="12-oat-foam",
    scope="franchise/marram",
    effect="a" * 64,
    role="franchise-manager",
    person="aoife-tarn",
    said="2026-11-25T09:00:00Z",
    price_book="b" * 64,
    note="Fine by us; the foam holds. “Gut” – 40 g.",
)


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("key") / "aoife"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(path)], check=True)
    return path


def by_ssh_keygen(key: Path, payload: bytes, namespace: str) -> str:
    """An armoured signature made by OpenSSH itself."""
    done = subprocess.run(
        ["ssh-keygen", "-q", "-Y", "sign", "-n", namespace, "-f", str(key)], input=payload, capture_output=True, check=True
    )
    return done.stdout.decode()


def verified(folder: Path, key: Path, envelope: Envelope, namespace: str) -> bool:
    (folder / "allowed").write_text(f"aoife-tarn {key.with_suffix('.pub').read_text()}")
    (folder / "signature").write_text(envelope.signature)
    command = ["ssh-keygen", "-Y", "verify", "-f", str(folder / "allowed"), "-I", "aoife-tarn"]
    done = subprocess.run(
        [*command, "-n", namespace, "-s", str(folder / "signature")], input=envelope.payload, capture_output=True
    )
    return done.returncode == 0


@pytest.fixture(scope="module")
def sealed(key: Path) -> Envelope:
    return Envelope(SAID, SAID.payload, by_ssh_keygen(key, SAID.payload, SAID.namespace))


MAILED: dict[str, Callable[[str], str]] = {
    "as it is": lambda t: t,
    "CRLF": lambda t: t.replace("\n", "\r\n"),
    "an added newline": lambda t: t + "\n",
    "empty lines around": lambda t: "\n\n" + t + "\n\n",
    "quoted": lambda t: "".join(f"> {line}\n" for line in t.splitlines()),
    "quoted twice": lambda t: "".join(f"> > {line}\n" for line in t.splitlines()),
    "quoted without a space": lambda t: "".join(f">{line}\n" for line in t.splitlines()),
    "indented": lambda t: "".join(f"    {line}\n" for line in t.splitlines()),
    "trailing blanks": lambda t: "".join(f"{line}  \n" for line in t.splitlines()),
    "folded narrower": lambda t: t[:22] + "\n".join(t[22:].replace("\n", "")[i : i + 40] for i in range(0, len(t), 40)),
    "a footer behind an empty line": lambda t: t + "\n-- \nAoife\n",
    "words before it": lambda t: "Hello,\nhere it is.\n\n" + t,
}


@pytest.mark.parametrize("how", MAILED)
def test_what_mail_does_to_it_breaks_nothing(how: str, sealed: Envelope, key: Path, tmp_path: Path) -> None:
    text = MAILED[how](sealed.text())
    assert how == "as it is" or text != sealed.text()
    read = read_envelope(text)
    assert read == sealed
    assert verified(tmp_path, key, read, "signoff@specctl")


BROKEN: dict[str, Callable[[str], str]] = {
    "nothing": lambda t: "",
    "the head alone": lambda t: "specctl statement 1\n",
    "without its head": lambda t: t.split("\n", 1)[1],
    "another format": lambda t: t.replace("statement 1", "statement 2"),
    "the last line cut": lambda t: t.rsplit("\n", 2)[0],
    "the middle cut": lambda t: "\n".join(t.splitlines()[:3] + t.splitlines()[5:]),
    "the last sign cut": lambda t: t.rstrip("\n")[:-1],
    "a footer behind it": lambda t: t + "Sent from a telephone\n",
    "twice": lambda t: t + t,
    "too long": lambda t: t + "A" * 70_000,
    "not ASCII": lambda t: t.rstrip("\n") + "é\n",
}


@pytest.mark.parametrize("how", BROKEN)
def test_a_broken_text_is_untrusted(how: str, sealed: Envelope) -> None:
    with pytest.raises(Untrusted):
        read_envelope(BROKEN[how](sealed.text()))


@given(st.data())
def test_one_changed_character_never_gives_another_statement(data: st.DataObject) -> None:
    """The text is refused, or reads as the very bytes that were signed, or the payload itself moved (and no signature holds)."""
    whole = Envelope(SAID, SAID.payload, "armour\n")
    text = whole.text()
    at = data.draw(st.integers(0, len(text) - 1))
    new = data.draw(st.sampled_from("AZaz09+/=>\n \r"))
    try:
        read = read_envelope(text[:at] + new + text[at + 1 :])
    except Untrusted:
        return
    assert read.statement.payload == read.payload
    assert read == whole or read.payload != whole.payload or read.signature != whole.signature


@given(st.one_of(st.text(), st.binary().map(lambda b: "specctl statement 1\n" + base64.b64encode(b).decode())))
def test_any_other_text_is_untrusted(text: str) -> None:
    with pytest.raises(Untrusted):
        read_envelope(text)


def packed(payload: bytes, **more: Any) -> str:
    inner = {"payload": base64.b64encode(payload).decode(), "signature": "armour\n", **more}
    return "specctl statement 1\n" + base64.b64encode(json.dumps(inner).encode()).decode() + "\n"


def changed(**fields: Any) -> bytes:
    raw = {**SAID.as_json(), **fields}
    return json.dumps({k: v for k, v in raw.items() if v is not ...}, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def test_the_packing_of_these_tests_is_right() -> None:
    assert read_envelope(packed(changed())).statement == SAID


@pytest.mark.parametrize(
    "payload",
    [
        pytest.param(json.dumps(SAID.as_json()).encode(), id="re-encoded with spaces"),
        pytest.param(changed().replace(b'"scope"', b'"sc\\u006fpe"'), id="an escaped key"),
        pytest.param(changed() + b"\n", id="a newline behind it"),
        pytest.param(changed()[:-1] + b',"statement":1}', id="a key twice"),
        pytest.param(changed()[:-1] + b',"zebra":1}', id="an extra key"),
        pytest.param(changed(hidden="x"), id="an extra key in order"),
        pytest.param(changed(statement=True), id="a switch for the format"),
        pytest.param(changed(statement=2), id="another format"),
        pytest.param(changed(purpose="approval"), id="no purpose of ours"),
        pytest.param(changed(scope="franchise/marram\n"), id="a newline in the scope"),
        pytest.param(changed(scope="site/quay"), id="a scope there is not"),
        pytest.param(changed(proposal="../12-oat"), id="a path for a proposal"),
        pytest.param(changed(proposal="012-oat"), id="a number with a zero in front"),
        pytest.param(changed(effect="A" * 64), id="capital hex"),
        pytest.param(changed(person="Aoife"), id="a name for a person"),
        pytest.param(changed(person=...), id="no person"),
        pytest.param(changed(said="2026-11-25"), id="a date for a time"),
        pytest.param(changed(price_book="x"), id="no digest of a price book"),
        pytest.param(changed(note=None), id="no note"),
        pytest.param(changed(note="x" * 2001), id="a long note"),
        pytest.param(json.dumps({**SAID.as_json(), "note": "\ud800"}).encode(), id="half a character"),
        pytest.param(b"[" * 50_000, id="deep"),
        pytest.param(b'{"statement":1e999}', id="infinity"),
        pytest.param(b"\xff", id="no UTF-8"),
    ],
)
def test_only_the_canonical_form_is_a_statement(payload: bytes) -> None:
    with pytest.raises(Untrusted):
        read_envelope(packed(payload))


def test_an_envelope_holds_two_things() -> None:
    with pytest.raises(Untrusted):
        read_envelope(packed(changed(), extra="x"))
    with pytest.raises(Untrusted):
        read_envelope(packed(changed(), signature=7))


def test_a_signature_holds_for_its_purpose_alone(sealed: Envelope, key: Path, tmp_path: Path) -> None:
    """SSHSIG binds a namespace: a sign-off can never be shown as a notice, or as a commit."""
    assert verified(tmp_path, key, sealed, "signoff@specctl")
    for other in ("objection@specctl", "confirmation@specctl", "notice@specctl", "git", "file"):
        assert not verified(tmp_path, key, sealed, other)
    assert len({Statement(**{**_fields(SAID), "purpose": p}).namespace for p in PURPOSES}) == len(PURPOSES)


def test_a_changed_payload_holds_no_more(sealed: Envelope, key: Path, tmp_path: Path) -> None:
    other = Statement(**{**_fields(SAID), "effect": "c" * 64})
    assert not verified(tmp_path, key, Envelope(other, other.payload, sealed.signature), "signoff@specctl")


def _fields(statement: Statement) -> dict[str, Any]:
    return {name: getattr(statement, name) for name in statement.__slots__}


def test_its_path_is_its_name(sealed: Envelope) -> None:
    import hashlib

    assert sealed.path == f"statements/12-oat-foam/{hashlib.sha256(sealed.payload).hexdigest()}.statement"
