"""A generated chain: many drinks, many sites of few profiles, many franchises; and a proposal that touches every drink.

Everything is made from the demo book, so every record reads and checks as it
does. Drinks are copies with names and amounts of their own; sites are copies of
six counters, two a market, whose tools, kitchens and stocks stay as they are;
each franchise trades in one market at prices of its own. Release 1 is on main,
written as `release` writes it but unsigned for by anybody: nobody has to sign
for a measurement.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timezone
from pathlib import Path

import pytest

from specctl import resources
from specctl.actions.case import Case, compile_kept, open_case
from specctl.actions.ledger import entry_path
from specctl.actions.source import book_files, open_source
from specctl.actions.starting import begin_with, book_header
from specctl.canonical import canonical
from specctl.change.effect import Row
from specctl.change.record import Release
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.store import files, objects, process
from specctl.store.commits import CommitWish, make_commit
from specctl.store.folder import read_folder
from specctl.store.objects import write_tree
from specctl.store.process import git
from specctl.store.references import move_ref
from specctl.store.signature import make_key, public_of

NOW = datetime(2026, 11, 25, 12, tzinfo=timezone.utc)
AUTHOR = "isla-varn"
PROPOSAL = "2-a-little-more"
TEMPLATES = {
    "gb": ("northsands-quay", "saltmarket"),
    "ie": ("kelp-lane", "dune-cross"),
    "us": ("beacon-street", "breakwater"),
}
_PRICES = {"gb": "northsands", "ie": "marram", "us": "gull-rock"}
_AMOUNT = re.compile(r"(use: [a-z-]+, amount: )(\{[^}]*\}|[0-9.]+ g)(?!.*written)")


@dataclass(frozen=True)
class Size:
    """How many of what."""

    drinks: int
    sites: int
    franchises: int
    menus: int = 1
    """Menus the drinks are dealt into; a franchise sells one. A release of a million rows is more than a book may hold."""


@dataclass(frozen=True)
class Wide:
    """A book in git and what was proposed to it."""

    book: Path
    size: Size

    @contextmanager
    def case(self, today: date = NOW.date()) -> Iterator[Case]:
        """The proposal's case, from a repository opened afresh."""
        with open_source(self.book) as source:
            yield open_case(source, PROPOSAL, today)


def make_files(size: Size) -> dict[str, bytes]:
    """path to bytes of the whole book."""
    demo = {p: book_header(d, p).decode() for p, d in read_folder(resources.demo_book(), is_readable).items()}
    made = {p: t for p, t in demo.items() if not p.startswith(("drinks/", "sites/", "prices/", "scoop-checks/", "franchises/"))}
    kinds = sorted(p.removeprefix("drinks/").removesuffix(".yaml") for p in demo if p.startswith("drinks/"))
    copies = [(kinds[n % len(kinds)], n // len(kinds)) for n in range(size.drinks)]
    for kind, copy in copies:
        text = re.sub(r"^name: (.*)$", rf"name: \1 {copy}", demo[f"drinks/{kind}.yaml"], count=1, flags=re.M)
        menu = len([p for p in made if p.startswith("drinks/")]) % size.menus
        sold = f"markets: [{', '.join(_market(m, menu, size) for m in sorted(TEMPLATES))}]\n" if size.menus > 1 else ""
        if sold:
            text = re.sub(r"^markets: .*\n", "", text, flags=re.M)
            ireland = ", ".join(_market("ie", m, size) for m in range(size.menus))
            text = text.replace("markets: [ie]}", f"markets: [{ireland}]}}")
        made[f"drinks/{_drink(kind, copy)}.yaml"] = _more(text, copy % 5) + sold
    markets = sorted(TEMPLATES)
    for market in markets:
        for menu in range(size.menus):
            made[f"markets/{_market(market, menu, size)}.yaml"] = demo[f"markets/{market}.yaml"]
    for number in range(size.franchises):
        franchise, market = f"franchise-{number}", markets[number % 3]
        made[f"franchises/{franchise}.yaml"] = _header(demo["franchises/marram.yaml"]) + f"name: Harbour group {number}\n"
        text = demo[f"prices/{_PRICES[market]}/price-book.yaml"]
        made[f"prices/{franchise}/price-book.yaml"] = _price_book(text, franchise, copies, number)
    for number in range(size.sites):
        owner = number % size.franchises
        template = TEMPLATES[markets[owner % 3]][number // size.franchises % 2]
        text = demo[f"sites/{template}.yaml"]
        text = re.sub(r"^name: .*$", f"name: Counter {number}", text, count=1, flags=re.M)
        text = re.sub(r"^franchise: .*$", f"franchise: franchise-{owner}", text, count=1, flags=re.M)
        sold = _market(markets[owner % 3], owner // 3 % size.menus, size)
        made[f"sites/counter-{number}.yaml"] = re.sub(r"^market: .*$", f"market: {sold}", text, count=1, flags=re.M)
    return {path: text.encode() for path, text in made.items()}


def build(root: Path, size: Size) -> Wide:
    """The book in git with release 1 on main and one open proposal, its tip signed by its author."""
    book = root / "book"
    key = root / AUTHOR
    root.mkdir(parents=True, exist_ok=True)
    make_key(key, "made for a measurement")
    made = make_files(size)
    made["signatories.yaml"] = _people(size, public_of(key)).encode()
    begin_with(book, made, key, NOW)
    with open_source(book) as source:
        repository = source.in_git()
        start = repository.main_tip()
        assert start is not None
        held = book_files(repository, start)
        loaded = load(held, source.shelf)
        assert loaded.book is not None and not [p for p in loaded.problems if p.is_error]
        compiled = compile_kept(repository, held, loaded.book)
        rows = tuple(Row(site, item, None, digest) for (site, item), digest in sorted(compiled.rows.items()))
        record = Release(
            1, loaded.book.settings.id, "1-opening", "Opening", "To have something to measure.", (start, start),
            {}, "2026-11-01", (), {}, rows, (), AUTHOR, "2026-11-01T08:00:00Z",
        )  # fmt: skip
        changes: dict[str, bytes | None] = {entry_path(d): canonical(e) for d, e in compiled.entries.items()}
        changes[record.path] = record.bytes()
        main = _commit(book, start, changes, "Release 1: Opening", key)
        move_ref(book, "refs/heads/main", main, start)
        more: dict[str, bytes | None] = {
            path: _more(data.decode(), 3).encode() for path, data in made.items() if path.startswith("drinks/")
        }
        more[f"proposals/{PROPOSAL}.yaml"] = (
            f"title: A little more\nwhy: Every drink came out short.\nstart: 2026-12-01\nedited_from: {main}\nauthor: {AUTHOR}\n"
        ).encode()
        tip = _commit(book, main, more, "A little more", key)
        move_ref(book, f"refs/heads/proposals/{PROPOSAL}", tip, None)
    git(book, ["repack", "-q", "-a", "-d"], deadline=300)
    return Wide(book, size)


@contextmanager
def unsynced(home: Path) -> Iterator[None]:
    """Without waiting for the disk, and without anybody's git settings: durability has tests of its own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HOME", str(home))
        patch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
        patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
        for name in ("SSH_AUTH_SOCK", "GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "SPECCTL_BOOK"):
            patch.delenv(name, raising=False)
        settings = tuple(s for s in process.SETTINGS if not s.startswith("core.fsync"))
        patch.setattr(process, "SETTINGS", (*settings, "core.fsync=none"))
        patch.setattr(files.os, "fsync", lambda handle: None)
        patch.setattr(objects, "SYNCED", False)
        yield


def _market(market: str, menu: int, size: Size) -> str:
    return f"{market}-{menu}" if size.menus > 1 else market


def _drink(kind: str, copy: int) -> str:
    return kind if copy == 0 else f"{kind}-{copy}"


def _header(text: str) -> str:
    first, _, _ = text.partition("\n")
    return f"{first}\n" if first.startswith("#") else ""


def _more(text: str, grams: int) -> str:
    """The first amount stated in grams alone, `grams` larger."""

    def larger(found: re.Match[str]) -> str:
        amounts = re.sub(r"([0-9]+)((?:\.[0-9]+)?) g", lambda m: f"{int(m[1]) + grams}{m[2]} g", found[2])
        return found[1] + amounts

    return _AMOUNT.sub(larger, text, count=1)


def _price_book(text: str, franchise: str, copies: list[tuple[str, int]], number: int) -> str:
    """Another franchise's price book with the drinks of this one, and a price of its own."""
    text = re.sub(r"^franchise: .*$", f"franchise: {franchise}", text, count=1, flags=re.M)
    text = re.sub(r"(  water: \{pack: mains, price: [0-9]+\.)[0-9]+", rf"\g<1>{number % 90 + 10}", text)
    head, menu = text.split("\nmenu:\n", 1)
    menu, cups = menu.split("\ncups_a_week:\n", 1)
    return f"{head}\nmenu:\n{_copied(menu, copies)}\ncups_a_week:\n{_copied(cups, copies)}"


def _copied(block: str, copies: list[tuple[str, int]]) -> str:
    found = {m[1]: m[2] for m in re.finditer(r"^  ([a-z0-9-]+):\n((?:    .*\n?)+)", block, flags=re.M)}
    parts = (f"  {_drink(kind, copy)}:\n{found[kind].rstrip()}\n" for kind, copy in copies if kind in found)
    return "".join(parts)


def _people(size: Size, public: str) -> str:
    lines = ["people:"]
    lines += [
        f"  {AUTHOR}:", "    name: Isla Varn", "    email: isla.varn@tidewick.example",
        "    roles: [author, drinks, releaser]", f"    keys: {{first: {{public: {public}}}}}",
        "  maren-oduya:", "    name: Maren Oduya", "    email: maren.oduya@tidewick.example", "    roles: [food-safety, drinks]",
    ]  # fmt: skip
    for number in range(size.franchises):
        lines += [
            f"  manager-{number}:", f"    name: Manager {number}", f"    email: manager{number}@tidewick.example",
            "    roles: [franchise-manager]", f"    franchises: [franchise-{number}]",
        ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _commit(book: Path, parent: str, changes: dict[str, bytes | None], message: str, key: Path) -> str:
    with open_source(book) as source:
        tree = write_tree(book, source.in_git().reader.commit(parent).tree, changes)
    who = ("Isla Varn", "isla.varn@tidewick.example", int(NOW.timestamp()))
    return make_commit(book, CommitWish(tree, (parent,), message, *who, key))
