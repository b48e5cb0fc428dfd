"""`report --verify FILE`: is this page, byte for byte, what the book gives, and still what is to be signed?

A page is made again from the proposal, scope, commits, day and language it
names, and compared: equal bytes cannot be forged by whoever wrote the page, for everything
but the question comes out of the book at hand. JSON is compared by value, read
so that no two readers can differ about it. Without a book nothing but the digest
of a report's JSON can be worked out, and that is no yes.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from specctl.errors import Refused, Stop

if TYPE_CHECKING:
    from specctl.actions.page_cases import Claim
    from specctl.actions.source import Source
    from specctl.change.impact import Impact
    from specctl.report.stamp import Stamp

MOST_BYTES = 64 * 1024 * 1024
_MOST_PROPERTIES = 64 * 1024


@dataclass(frozen=True, slots=True)
class Checked:
    """What came out. `same`: the bytes are the book's. `current`: its digest is what is signed today, or nothing is."""

    form: str
    same: bool
    current: bool
    digest: str
    words: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return self.same and self.current

    def as_json(self) -> dict[str, Any]:
        return {
            "verify": 1, "holds": self.holds, "same": self.same, "current": self.current, "form": self.form,
            "effect_digest": self.digest or None, "words": list(self.words),
        }  # fmt: skip


def verify(file: Path, book: Path, today: date, ask: Callable[[Source], None]) -> Checked:
    """Check one page of a report against the book at `book`, once `ask` has brought in what origin has."""
    data = _read(file)
    form = _form(data)
    stamps = _stamps(data, form)
    if not stamps:
        words = f"{file.name} does not say what it was made from: it is no report of this tool, or not as it was saved."
        return Checked(form, False, False, "", (words, "CSV and terminal text cannot be checked; ask for HTML, JSON, Markdown, XLSX or PDF."))
    from specctl.actions.source import open_source

    try:
        with open_source(book) as source:
            source.in_git()
            ask(source)
            return _against(source, _Page(file, data, form), stamps, today)
    except Stop as stop:
        return _without(data, form, stop)


@dataclass(frozen=True, slots=True)
class _Page:
    """The file in hand, its bytes, and which form they are."""

    file: Path
    data: bytes
    form: str


def _against(source: Source, page: _Page, stamps: tuple[Stamp, ...], today: date) -> Checked:
    from specctl.actions.page_cases import Claim, cases_of, digest_today
    from specctl.actions.reporting import impact_of
    from specctl.report.tongue import speaking

    differing = ""
    for stamp in stamps:
        day = stamp.day or today
        claim = Claim(stamp.proposal, stamp.scope, stamp.main, stamp.tip, day)
        for case in cases_of(source, claim):
            impact = impact_of(case, stamp.scope)
            with speaking(stamp.language):
                differing, alone = _compared(page, impact, day)
            if not differing:
                return _same(page.form, impact.digest, digest_today(source, claim, today), claim, alone)
    words = ("NO: this page is not what this copy of the book gives.", f"First difference: {differing}.")
    more = "Somebody changed it, another version of specctl made it, or it was made from a book this copy does not hold. Do not sign by it."
    return Checked(page.form, False, False, "", (*words, more))


def _compared(page: _Page, impact: Impact, day: date) -> tuple[str, str]:
    """Where the page differs, empty where it does not; and what to add where it is one page of several."""
    from specctl.cli.report_forms import html_pages, page_bytes

    if page.form != "html":
        return _difference(page.data, page_bytes(impact, page.form, day), page.form), ""
    report = html_pages(impact, day)
    if not report.others:
        return _difference(page.data, report.first, page.form), ""
    index = report.others["index.html"]
    if page.data not in (report.first, index):
        alone = f"It is one of the {len(report.others)} pages of that report; check the first page to check them all."
        if page.data in report.others.values():
            return "", alone
        return _difference(page.data, report.others.get(page.file.name, report.first), page.form), ""
    folder = page.file.parent / report.folder if page.data == report.first else page.file.parent
    for name, made in report.others.items():
        try:
            differing = _difference(_read(folder / name), made, page.form)
        except Refused as missing:
            differing = missing.what
        if differing:
            return f"the page {name} that goes with it: {differing}", ""
    return "", f"So are all {len(report.others)} pages that go with it."


def _same(form: str, digest: str, now: str | None, claim: Claim, alone: str) -> Checked:
    first = f"This page is what the book gives for {claim.proposal}, {claim.scope}, at main {claim.main[:12]}: every {'value' if form == 'json' else 'byte'}."
    names = f"{alone} Its effect digest is {digest}.".strip()
    limits = "That does not say that anybody has signed, nor that the book's facts are true, nor that this copy of the book is the chain's (specctl audit)."
    if now is None:
        return Checked(form, True, True, digest, (f"YES. {first}", names, "The proposal is over: nothing is to be signed.", limits))
    if now != digest:
        old = f"But it is OLD: a signature today names {now}. Ask for the report again."
        return Checked(form, True, False, digest, (f"NO LONGER. {first}", names, old))
    return Checked(form, True, True, digest, (f"YES. {first}", names, "A signature of that scope names this digest today.", limits))


def _without(data: bytes, form: str, stop: Stop) -> Checked:
    """What can be said where the book does not answer: of a report's JSON its digest, of all else nothing."""
    from specctl.report.same_page import digest_holds, strict_json

    why = f"NOT PROVED: {stop.what}. {stop.todo}".strip()
    report = strict_json(data) if form == "json" else None
    if report is None:
        return Checked(form, False, False, "", (why, "Only the book can show whether the words of this page are its own: check it in a clone."))
    if not digest_holds(report):
        return Checked(form, False, False, "", ("NO: the effect in this file is not the one its digest names.", "Do not sign by it."))
    digest = str(report["effect_digest"])
    half = "The effect in this file is the one its digest names: that is what a signature would name. Its words, amounts and costs are not proved."
    return Checked(form, False, False, digest, (why, half))


def _difference(data: bytes, made: bytes, form: str) -> str:
    """Empty where they are the same."""
    from specctl.report.same_page import first_difference, json_difference, strict_json

    if form == "json":
        page = strict_json(data)
        return "it is no plain JSON object" if page is None else json_difference(page, strict_json(made))
    if data == made:
        return ""
    return "within the file" if form in ("xlsx", "pdf") else first_difference(data, made)


def _form(data: bytes) -> str:
    start = data[:64].lstrip()
    if start.startswith(b"PK\x03\x04"):
        return "xlsx"
    if start.startswith(b"%PDF-"):
        return "pdf"
    if start.startswith(b"{"):
        return "json"
    return "html" if start.lower().startswith(b"<!doctype html") else "markdown"


def _stamps(data: bytes, form: str) -> tuple[Stamp, ...]:
    from specctl.report.same_page import strict_json, text_of
    from specctl.report.stamp import Stamp, stamps_in

    if form == "json":
        report = strict_json(data) or {}
        named = [str(report.get(key) or "-") for key in ("proposal", "scope", "main", "tip")]
        return stamps_in(Stamp(named[0], named[1], named[2], named[3], None).text)
    if form == "xlsx":
        try:
            with zipfile.ZipFile(BytesIO(data)) as archive, archive.open("docProps/core.xml") as part:
                return stamps_in(part.read(_MOST_PROPERTIES).decode("utf-8", "replace"))
        except (zipfile.BadZipFile, KeyError, RuntimeError, NotImplementedError, EOFError, ValueError, OSError):
            return ()
    return stamps_in(text_of(data))


def _read(file: Path) -> bytes:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise Refused(f"{file.name} is too large to be a page of a report")
        return file.read_bytes()
    except OSError:
        raise Refused(f"{file.name} cannot be read", "Name a file the report was saved to.") from None
