"""`--for FRANCHISE` through the real command: no canary of another franchise's price book in any byte, errors included.

The canaries are prices and a menu price found nowhere else, one set a franchise (a unique price a franchise, searched in all bytes made for the others).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from counter_world import FOAM, HOJICHA, World, copied, own_machine

CURRENCY = {"northsands": "GBP", "marram": "EUR", "gull-rock": "USD"}
OAT = {"northsands": 13.37, "marram": 17.93, "gull-rock": 19.71}
MENU = {"northsands": 7.77, "marram": 8.83, "gull-rock": 9.91}
FORMS = ("terminal", "html", "markdown", "json")


def prices(franchise: str) -> str:
    return f"prices/{franchise}/price-book.yaml"


def canaries(franchise: str) -> tuple[bytes, ...]:
    """The prices as anybody might write them, and the sub-units."""
    found: list[str] = []
    for value in (OAT[franchise], MENU[franchise]):
        found += [f"{value:.2f}", f"{value:.2f}".replace(".", ","), str(round(value * 100))]
    return tuple(f.encode() for f in found[:2] + found[3:5])


def mark(world: World, franchise: str) -> None:
    file = world.book / prices(franchise)
    text = file.read_text(encoding="utf-8")
    text, count = re.subn(r"(  oat-drink: \{pack: case-6l, price: )[0-9.]+", rf"\g<1>{OAT[franchise]:.2f}", text)
    assert count == 1
    head, menu = text.split("menu:\n", 1)
    menu, count = re.subn(r"(  blackcurrant-hojicha:\n    regular: )[0-9.]+", rf"\g<1>{MENU[franchise]:.2f}", menu, count=1)
    assert count == 1
    file.write_text(head + "menu:\n" + menu, encoding="utf-8")


@pytest.fixture(scope="module")
def marked(played: tuple[World, object], tmp_path_factory: pytest.TempPathFactory) -> World:
    """Proposal 4: canary prices in every franchise's book, and more foam so that every cost moves."""
    made = copied(played[0], tmp_path_factory.mktemp("marked"))
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        for franchise in CURRENCY:
            mark(made, franchise)
        made.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
        made.propose("Dearer oats, firmer foam")
    return made


# Every form for one franchise; the page and the data for the others.
PAGES = [(f, form) for f in CURRENCY for form in FORMS if f == "northsands" or form in ("html", "json")]


@pytest.mark.parametrize(("franchise", "form"), PAGES)
def test_no_other_price_in_any_form(franchise: str, form: str, marked: World, tmp_path: Path) -> None:
    out = tmp_path / "page"
    told = marked.run("report", "4", "--for", franchise, "--as", form, "--out", out)
    data = out.read_bytes() + told.both.encode()
    for other in CURRENCY.keys() - {franchise}:
        for canary in canaries(other):
            assert canary not in data, (other, canary)
        assert CURRENCY[other].encode() not in data, "not even the currency"
        assert prices(other).encode() not in data
    if form == "html":
        assert canaries(franchise)[2] in data or canaries(franchise)[0] in data, "their own prices are there: the canary sings"


def test_the_chain_report_does_hold_them(marked: World) -> None:
    """That the canaries can be found at all."""
    told = marked.run("report", "4", "--json").out.encode()
    assert sum(any(c in told for c in canaries(f)) for f in CURRENCY) == 3


@pytest.mark.parametrize("franchise", CURRENCY)
def test_show_for_one_franchise(franchise: str, marked: World) -> None:
    for more in ((), ("--json",)):
        data = marked.run("show", "blackcurrant-hojicha", "--for", franchise, *more).both.encode()  # type: ignore[arg-type]
        assert f"{MENU[franchise]:.2f}".encode() in data
        for other in CURRENCY.keys() - {franchise}:
            assert not any(c in data for c in canaries(other))


BROKEN = {
    "form": lambda text: text.replace(f"price: {OAT['marram']:.2f} EUR", f"price: {OAT['marram']:.2f} EURO", 1),
    "yaml": lambda text: text.replace(f"price: {OAT['marram']:.2f} EUR,", f"price: [{OAT['marram']:.2f} EUR,", 1),
    "currency": lambda text: text.replace(f"price: {OAT['marram']:.2f} EUR", f"price: {OAT['marram']:.2f} GBP", 1),
    "twice": lambda text: text.replace("menu:\n", "menu:\n  blackcurrant-hojicha:\n    regular: 8.83 EUR\n", 1),
    "negative": lambda text: text.replace(f"price: {OAT['marram']:.2f} EUR", f"price: -{OAT['marram']:.2f} EUR", 1),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_a_broken_price_book_of_another_is_not_quoted(fault: str, marked: World, tmp_path: Path) -> None:
    """Marram's book is broken on a draft; Northsands asks for its page and must not read Marram's prices in the complaint."""
    world = copied(marked, tmp_path)
    file = world.book / prices("marram")
    broken = BROKEN[fault](file.read_text(encoding="utf-8"))
    assert broken != file.read_text(encoding="utf-8")
    file.write_text(broken, encoding="utf-8")
    world.run("propose", "--update", "4", "--draft")
    for words in (("report", "4", "--for", "northsands"), ("sign", "4", "--key", world.key("wren-castell")), ("proposals",)):
        told = world.run(*words, code=None)  # type: ignore[arg-type]
        assert told.code in (0, 1)
        for canary in canaries("marram"):
            assert canary not in told.both.encode(), (words, canary, told.err)
