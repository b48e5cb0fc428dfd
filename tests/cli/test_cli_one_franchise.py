"""`--for FRANCHISE`, searched byte by byte in every form: nothing of another franchise, not its names, ids, prices or people.

Canaries: words found nowhere else, planted in the other franchises' records, beside
the ids those records have anyway. The same search finds them in the chain's report.
"""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import pypdf
import pytest
from counter_world import FOAM, HOJICHA, MANAGERS, World, copied, own_machine

FORMS = ("terminal", "html", "markdown", "json", "csv", "xlsx", "pdf")
FRANCHISES = ("northsands", "marram", "gull-rock")
CURRENCY = {"northsands": "GBP", "marram": "EUR", "gull-rock": "USD"}
PRICE = {"northsands": "13.37", "marram": "17.93", "gull-rock": "19.71"}
MENU = {"northsands": "7.77", "marram": "8.83", "gull-rock": "9.91"}


def word(franchise: str, what: str) -> str:
    return f"Zq{franchise.replace('-', '')}{what}"


def sites_of(world: World, franchise: str) -> list[str]:
    files = sorted((world.book / "sites").glob("*.yaml"))
    return [f.stem for f in files if re.search(rf"(?m)^franchise: {franchise}$", f.read_text(encoding="utf-8"))]


def replaced(file: Path, pattern: str, to: str) -> None:
    text, count = re.subn(pattern, to, file.read_text(encoding="utf-8"), count=1)
    assert count == 1, (file.name, pattern)
    file.write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def planted(played: tuple[World, object], tmp_path_factory: pytest.TempPathFactory) -> World:
    """Proposal 4: every franchise has its canaries, every cost and card moves, and each manager has objected."""
    made = copied(played[0], tmp_path_factory.mktemp("planted"))
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        for franchise in FRANCHISES:
            replaced(made.book / f"franchises/{franchise}.yaml", r"(?m)^name: .*$", f"name: {word(franchise, 'group')}")
            for site in sites_of(made, franchise):
                replaced(made.book / f"sites/{site}.yaml", r"(?m)^name: .*$", f"name: {word(franchise, 'site')} {site.title()}")
            prices = made.book / f"prices/{franchise}/price-book.yaml"
            replaced(prices, r"(  oat-drink: \{pack: case-6l, price: )[0-9.]+", rf"\g<1>{PRICE[franchise]}")
            replaced(prices, r"(menu:\n(?:.*\n)*?  blackcurrant-hojicha:\n    regular: )[0-9.]+", rf"\g<1>{MENU[franchise]}")
        made.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
        made.propose("Dearer oats, firmer foam")
        for franchise, manager in MANAGERS.items():
            made.run("object", "4", "--key", made.key(manager), "--scope", f"franchise/{franchise}", "--note", word(franchise, "note"))
    return made


def foreign(world: World, franchise: str) -> dict[str, tuple[str, ...]]:
    """By other franchise: what must not be in any byte made for this one."""
    return {
        other: (
            other, word(other, ""), CURRENCY[other], PRICE[other], PRICE[other].replace(".", ","), PRICE[other].replace(".", ""),
            MENU[other], MENU[other].replace(".", ","), *sites_of(world, other), MANAGERS[other],
        )
        for other in FRANCHISES if other != franchise
    }  # fmt: skip


def all_text(path: Path, form: str) -> str:
    """Every byte of a form as text; packed forms unpacked, and a PDF read as well."""
    if form == "csv":
        return "\n".join(f"{f.name}\n{f.read_bytes().decode('utf-8')}" for f in sorted(path.iterdir()))
    data = path.read_bytes()
    text = data.decode("latin-1")
    if form == "markdown":
        return re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", text)  # as a reader sees it: 8\.83 is 8.83
    if form == "xlsx":
        with zipfile.ZipFile(io.BytesIO(data)) as parts:
            return "\n".join(f"{n}\n{parts.read(n).decode('utf-8')}" for n in parts.namelist())
    if form == "pdf":
        pages = pypdf.PdfReader(io.BytesIO(data)).pages
        return re.sub(r"[0-9a-f]{64}", "", "\n".join(page.extract_text().replace("\u200b", "") for page in pages)) + str(pypdf.PdfReader(io.BytesIO(data)).metadata)
    return text


# Every form for one franchise; page and data for the others: nothing but the scope differs.
ASKED = [(f, form) for f in FRANCHISES for form in FORMS if f == "northsands" or form in ("html", "json", "xlsx")]


def leaks(text: str, canaries: tuple[str, ...]) -> list[str]:
    """Canaries in a text; digits alone only where no digest or longer number holds them."""
    plain = re.sub(r"[0-9a-f]{40,64}", "", text)
    return [c for c in canaries if re.search(rf"(?<![0-9A-Za-z]){re.escape(c)}", plain, re.IGNORECASE)]


@pytest.mark.parametrize(("franchise", "form"), ASKED)
def test_nothing_of_another_in_any_byte(franchise: str, form: str, planted: World, tmp_path: Path) -> None:
    out = tmp_path / "page"
    told = planted.run("report", "4", "--for", franchise, "--as", form, "--out", out)
    text = all_text(out, form) + told.both
    for other, canaries in foreign(planted, franchise).items():
        assert not leaks(text, canaries), (other, leaks(text, canaries))
    assert word(franchise, "site") in text and word(franchise, "note") in text, "its own are there: the search can find"


@pytest.mark.parametrize("form", FORMS)
def test_the_search_finds_them_in_the_chain_s(form: str, planted: World, tmp_path: Path) -> None:
    out = tmp_path / "page"
    planted.run("report", "4", "--as", form, "--out", out)
    found = leaks(all_text(out, form), foreign(planted, "northsands")["marram"])
    assert {word("marram", ""), "marram" if form in ("json", "csv", "xlsx") else word("marram", ""), "EUR", MENU["marram"]} <= set(found)


def test_what_is_refused_quotes_no_other(planted: World, tmp_path: Path) -> None:
    """A broken price book of another, a page that does not verify, a franchise there is not: said without its figures."""
    page = tmp_path / "page.html"
    planted.run("report", "4", "--for", "northsands", "--as", "html", "--out", page)
    page.write_bytes(page.read_bytes().replace(b"firmer", b"softer"))
    world = copied(planted, tmp_path)
    file = world.book / "prices/marram/price-book.yaml"
    broken = file.read_text(encoding="utf-8").replace(f"price: {PRICE['marram']} EUR", f"price: {PRICE['marram']} EURO", 1)
    file.write_text(broken, encoding="utf-8")
    world.run("propose", "--update", "4", "--draft")
    private = (PRICE["marram"], MENU["marram"], word("marram", ""), word("gull-rock", ""), PRICE["gull-rock"])
    for words in (
        ("report", "4", "--for", "northsands", "--as", "csv", "--out", tmp_path / "tables"), ("report", "4", "--for", "northsands", "--as", "pdf", "--out", tmp_path / "p.pdf"),
        ("report", "4", "--for", "northsands", "--as", "xlsx", "--out", tmp_path / "p.xlsx"), ("report", "--verify", page),
    ):  # fmt: skip
        told = world.run(*words, code=None)  # type: ignore[arg-type]
        assert told.code in (0, 1)
        assert not leaks(told.both, private), (words[:5], told.err)
