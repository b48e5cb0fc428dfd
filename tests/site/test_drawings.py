"""Drawings in a bundle: made beside the entries, hostile until read, names only on the card."""

from __future__ import annotations

import copy
import json
import re
import xml.etree.ElementTree as tree
from typing import Any

import pytest
from made_bundle import CONFIRMED, NOW, bundle_value

from specctl.errors import Untrusted
from specctl.site.bundle import Bundle
from specctl.site.pages import Times, make_pages

SVG = "{http://www.w3.org/2000/svg}"
TIMES = Times(NOW, CONFIRMED)
CUP: dict[str, Any] = {
    "walls": [[0, 520], [1200, 800]], "fill": 1100, "lid": 250,
    "layers": [[["base"], "liquid", "#3a1f12", 0, 400], [["ice", "top"], "liquid", "#f3ead7", 400, 950], [["foam"], "foam", "#ffffff", 950, 1080]],
    "ice": [500, 950, 7], "hot": True,
}  # fmt: skip


def drawn(drawing: Any = CUP, size: str = "regular") -> dict[str, Any]:
    made = bundle_value()
    digest = next(d for s, r, item, d in made["timeline"] if item == "drink/amber-tide" and r == 2)
    made["drawings"] = {digest: {size: copy.deepcopy(drawing)}}
    return made


def parsed(made: dict[str, Any]) -> Bundle:
    return Bundle.parse(json.dumps(made).encode())


def pictures(page: bytes) -> list[Any]:
    return [tree.fromstring(found) for found in re.findall(r"<svg .*?</svg>", page.decode(), re.S)]


def test_a_bundle_without_drawings_opens_as_it_did() -> None:
    held = parsed(bundle_value())
    assert dict(held.drawings) == {}
    assert b"<svg" not in make_pages(held, TIMES)["cards.html"]


def test_the_card_shows_the_cup_with_the_entrys_own_names_and_no_figure() -> None:
    pages = make_pages(parsed(drawn()), TIMES)
    (picture,) = pictures(pages["cards.html"])
    words = " ".join(picture.itertext())
    assert "Blackcurrant base" in words and "Ice + Milk" in words and "Salted oat foam" in words
    assert not re.search(r"\d", "".join(picture.itertext()).replace("1080", "")), "names, no figure"
    assert "scald" in words and "lid" in words, "a hot cup says so"
    assert "scald" in (picture.findtext(f"{SVG}desc") or "")
    assert b"no part of what was signed" in pages["cards.html"]
    assert b"<svg" not in pages["preps.html"] and b"<svg" not in pages["allergens.html"]


def test_a_cold_cup_says_nothing_of_scalding() -> None:
    page = make_pages(parsed(drawn({**CUP, "hot": False})), TIMES)["cards.html"]
    assert b"scald" not in page and len(pictures(page)) == 1


def test_the_drawing_is_that_of_the_entry_in_force() -> None:
    made = drawn()
    later = next(d for s, r, item, d in made["timeline"] if item == "drink/amber-tide" and r == 4)
    made["drawings"] = {later: {"regular": CUP}}
    assert b"<svg" not in make_pages(parsed(made), TIMES)["cards.html"], "that one has not started"


BAD: dict[str, dict[str, Any]] = {
    "a figure of speech": {"layers": [[["base"], "liquid", "#3a1f12\"/><script>", 0, 400]]},
    "a colour by name": {"layers": [[["base"], "liquid", "red", 0, 400]]},
    "an upper-case colour": {"layers": [[["base"], "liquid", "#3A1F12", 0, 400]]},
    "a colour and a line feed": {"layers": [[["base"], "liquid", "#3a1f12\n", 0, 400]]},
    "another drink's layer": {"layers": [[["free-from-milk"], "liquid", "#3a1f12", 0, 400]]},
    "a layer twice": {"layers": [[["base"], "liquid", "#3a1f12", 0, 400], [["base"], "liquid", "#3a1f12", 400, 500]]},
    "a layer without keys": {"layers": [[[], "liquid", "#3a1f12", 0, 400]]},
    "no layer": {"layers": []},
    "layers over one another": {"layers": [[["base"], "liquid", "#3a1f12", 0, 400], [["ice"], "liquid", "#3a1f12", 300, 500]]},
    "above the rim": {"layers": [[["base"], "liquid", "#3a1f12", 0, 1201]]},
    "below the base": {"layers": [[["base"], "liquid", "#3a1f12", -1, 400]]},
    "upside down": {"layers": [[["base"], "liquid", "#3a1f12", 400, 100]]},
    "a kind of its own": {"layers": [[["base"], "gas", "#3a1f12", 0, 400]]},
    "a sixth part": {"layers": [[["base"], "liquid", "#3a1f12", 0, 400, "contains nothing"]]},
    "a half": {"fill": 1.5},
    "yes for a number": {"fill": True},
    "a fill line in the air": {"fill": 1300},
    "one wall": {"walls": [[0, 520]]},
    "walls that turn back": {"walls": [[0, 520], [1200, 800], [600, 900]]},
    "walls from nowhere": {"walls": [[10, 520], [1200, 800]]},
    "no width": {"walls": [[0, 0], [1200, 800]]},
    "a tower": {"walls": [[0, 520], [20001, 800]]},
    "very many walls": {"walls": [[n, 520] for n in range(1300)]},
    "very much ice": {"ice": [500, 950, 100000]},
    "ice above the rim": {"ice": [500, 1300, 3]},
    "a lid of text": {"lid": "high"},
    "hot as a text": {"hot": "no"},
    "words": {"words": "free from milk"},
}


@pytest.mark.parametrize("what", BAD)
def test_what_would_not_draw_as_a_cup_refuses_the_bundle(what: str) -> None:
    with pytest.raises(Untrusted) as refused:
        parsed(drawn({**CUP, **BAD[what]}))
    assert "$.drawings" in str(refused.value) or "strict JSON" in str(refused.value)


def test_a_drawing_of_what_is_not_there_refuses_the_bundle() -> None:
    stray = drawn()
    stray["drawings"] = {"0" * 64: {"regular": CUP}}
    for made in (stray, drawn(size="bucket"), {**drawn(), "drawings": [CUP]}):
        with pytest.raises(Untrusted):
            parsed(made)
    prep = drawn()
    foam = next(d for s, r, item, d in prep["timeline"] if item == "prep/oat-foam")
    prep["drawings"] = {foam: {"batch": {**CUP, "layers": [[["mix"], "liquid", "#3a1f12", 0, 400]]}}}
    with pytest.raises(Untrusted):
        parsed(prep)


@pytest.mark.parametrize("left_out", CUP)
def test_every_part_of_a_drawing_is_asked_for(left_out: str) -> None:
    with pytest.raises(Untrusted):
        parsed(drawn({key: value for key, value in CUP.items() if key != left_out}))
