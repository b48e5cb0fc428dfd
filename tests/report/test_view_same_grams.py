"""A powder that lies otherwise: nothing moves in grams, everything at scoop sites, and the report leads with it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from make_impact import line, move, rich

from specctl import resources
from specctl.change.compare import Pair, amounts_of
from specctl.change.compiled import compile_book
from specctl.change.impact import Impact
from specctl.change.same_grams import same_grams_of
from specctl.codec.load import load
from specctl.domain.book import Book
from specctl.report.tables import Note
from specctl.report.terminal import render_terminal
from specctl.report.view import view_of

DENSER = ("ingredients/tea.yaml", "bulk_density/is", "0.507 g/ml", "0.287 g/ml")


def impact(*facts: tuple[str, str, str, str]) -> Impact:
    return replace(rich(), file_changes=(*rich().file_changes, *facts))


def bar(shown: Impact) -> str:
    return next(p.text for p in view_of(shown).points if p.label == "At the bar")


def test_the_report_leads_with_it() -> None:
    shown = impact(DENSER)
    lead = (
        "SAME GRAMS, OTHER SCOOPS at 1 site: roasted tea powder, bulk density 0.507 g/ml → 0.287 g/ml. "
        "1 amount of 1 card moves in tools, none in grams; nothing moves where it is weighed."
    )
    # what cannot be measured any more goes before; without that it comes first
    assert lead in bar(shown)
    alone = replace(shown, amounts=tuple(c for c in shown.amounts if c.path == "base/powder"))
    assert bar(alone).startswith(lead)
    first = view_of(shown).section("changes").blocks[0]
    assert isinstance(first, Note) and first.alarm and first.text == lead
    assert "SAME GRAMS, OTHER SCOOPS" in render_terminal(view_of(shown), 80).split("What changes, drink by drink")[0]


def test_tools_that_move_for_another_reason_do_not_lead() -> None:
    assert "SAME GRAMS" not in bar(rich())
    found = same_grams_of(rich())
    assert found is not None and found.causes == () and found.amounts == 1
    assert "SAME GRAMS" not in bar(impact(("ingredients/tea.yaml", "note", "old", "new")))
    assert "SAME GRAMS" not in bar(impact(("ingredients/oat-drink.yaml", "density/is", "1.03 g/ml", "1.02 g/ml")))


@pytest.mark.parametrize(
    ("fact", "words"),
    [("product_code", "product code A → B"), ("supplier", "supplier A → B"), ("density/is", "density A → B")],
)
def test_whatever_moves_a_scoop_is_named(fact: str, words: str) -> None:
    assert words in bar(impact(("ingredients/tea.yaml", fact, "A", "B")))


def test_what_is_no_longer_proven_or_measured_is_counted() -> None:
    def after(verdict: str) -> Impact:
        shown = impact(DENSER)
        change = next(c for c in shown.amounts if c.path == "base/powder")
        was = line("6.5", [move("scoop-plum", "plum scoop, 7.5 ml", "2")], "within", gives="6.6", off="0.1")
        now = line("6.5", [move("scoop-plum", "plum scoop, 7.5 ml", "1")], verdict, gives="6.2", off="-0.3")
        moved = replace(change.at[0], before=was["measure"], before_line=was, after=now["measure"], after_line=now)
        return replace(shown, amounts=(replace(change, at=(moved,)),))

    assert "1 amount no longer proven somewhere: weigh a scoop there again" in bar(after("unproven"))
    assert "1 amount CAN NO LONGER be measured within tolerance somewhere." in bar(after("outside"))
    assert "LONGER" not in bar(after("within")).upper()


def read(folder: Path, **swapped: str) -> Book:
    files = {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*.yaml"))}
    for name, text in swapped.items():
        files[f"ingredients/{name}.yaml"] = text.encode()
    found = load(files).book
    assert found is not None
    return found


def test_nothing_in_grams_and_everything_at_scoop_sites() -> None:
    # USDA SR28 portion weights: skim milk powder 0.507 g/ml, its instant form 0.287: one name, half the mass a scoop
    folder = Path(str(resources.demo_book()))
    text = (folder / "ingredients/matcha.yaml").read_text()
    assert "is: 0.3 g/ml" in text
    old, new = read(folder), read(folder, matcha=text.replace("is: 0.3 g/ml", "is: 0.17 g/ml"))
    before, after = compile_book(old), compile_book(new)
    moved = [key for key in before.rows if before.rows[key] != after.rows[key]]
    found = amounts_of(
        Pair(item, before.entries[before.rows[site, item]], after.entries[after.rows[site, item]], (site,)) for site, item in moved
    )
    assert found and all(c.same_grams and c.after_of == "ingredient/matcha" for c in found)
    measured = [(c, at) for c in found for at in c.at]
    assert all("scale" not in (at.before["by"], at.after["by"]) for _, at in measured if at.before and at.after)
    # and no scoop site that serves it is left out
    served = {site for site, item in before.rows if item == "drink/matcha-cloud"}
    weighs = {site for site in served if "by': 'scale'" in str(_matcha(before.entries[before.rows[site, "drink/matcha-cloud"]]))}
    assert {site for _, at in measured for site in at.sites} == served - weighs != set()


def _matcha(entry: dict[str, Any]) -> list[Any]:
    return [x for s in entry["sizes"] for y in s["layers"] for x in y["lines"] if x["of"] == "ingredient/matcha"]
