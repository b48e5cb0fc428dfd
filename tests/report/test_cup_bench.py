"""What if, at the bench: answered, nothing written; what cannot be read is refused."""

from __future__ import annotations

import hashlib
import json
from decimal import Decimal as D
from pathlib import Path
from shutil import copytree

import pytest
from typer.testing import CliRunner

from specctl.actions.benching import AS_SPECIFIED, bench, read_what_if
from specctl.cli.main import app
from specctl.codec.load import load
from specctl.domain.amount import Absent, Each, Grams
from specctl.domain.book import Book
from specctl.errors import Usage
from specctl.resources import demo_book


def demo() -> Book:
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}).book
    assert book is not None
    return book


def test_the_grammar_reads_what_a_bench_says() -> None:
    asked = read_what_if(["foam=28g", "tea/ice=40.5 g", "slice=2each", "leaf=none"], "0.6", "4C")
    assert asked.amounts == {"foam": Grams(D(28)), "tea/ice": Grams(D("40.5")), "slice": Each(D(2)), "leaf": Absent()}
    assert asked.ice == D("0.6") and asked.celsius == 4
    assert read_what_if([], None, "65 °C").celsius == 65 and read_what_if([], None, None).is_plain


@pytest.mark.parametrize(
    "text",
    ["foam", "foam=", "foam=28", "foam=28ml", "foam=1,5g", "foam=1 1/2g", "foam=-2g", "foam=0g", "foam=+3g", "foam=1e3g", "foam=nang",
     "foam=28g\n", "Foam=28g", "a/b/c=2g", "foam=28 kg", "=28g", "foam=١g", "foam=2g;ice=3g", "foam=999999g"],
)  # fmt: skip
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(Usage) as refused:
        read_what_if([text], None, None)
    assert refused.value.todo


@pytest.mark.parametrize("ice", ["", "-1", "4", "60 %", "nan", "0,6", "1e0", "10", "٣"])
def test_ice_is_a_share_from_nothing_to_three_times(ice: str) -> None:
    with pytest.raises(Usage):
        read_what_if([], ice, None)


@pytest.mark.parametrize("at", ["4", "40F", "-5C", "100C", "4 K", "warm", "4,5C", "", "nanC"])
def test_temperatures_are_celsius_between_freezing_and_boiling(at: str) -> None:
    with pytest.raises(Usage):
        read_what_if([], None, at)


def test_a_line_said_twice_or_not_there_is_refused_with_the_lines_there_are() -> None:
    book = demo()
    drink, site = book.drinks["blackcurrant-hojicha"], book.sites["harbour-row"]
    with pytest.raises(Usage):
        read_what_if(["foam=2g", "foam=3g"], None, None)
    with pytest.raises(Usage) as refused:
        bench(book, drink, site, read_what_if(["cream=2g"], None, None))
    assert "foam/foam" in str(refused.value.todo)


def test_less_ice_melts_less_and_leaves_more_room() -> None:
    book = demo()
    drink, site = book.drinks["blackcurrant-hojicha"], book.sites["harbour-row"]
    for cup in bench(book, drink, site, read_what_if([], "0.5", None)):
        assert cup.asked is not None and cup.asked.ice is not None and cup.spec.ice is not None
        assert cup.asked.ice.put == pytest.approx(cup.spec.ice.put / 2)
        assert (cup.asked.free_mm or 0) > (cup.spec.free_mm or 0)
    gone = bench(book, drink, site, read_what_if([], "0", None))[0].asked
    assert gone is not None and gone.ice is None
    assert bench(book, drink, site, AS_SPECIFIED)[0].asked is None


def test_a_warmer_pour_melts_more_and_a_filling_rule_is_solved_again() -> None:
    book = demo()
    site = book.sites["harbour-row"]
    warm = bench(book, book.drinks["blackcurrant-hojicha"], site, read_what_if([], None, "60C"))[0]
    assert warm.asked is not None and warm.asked.ice is not None and warm.spec.ice is not None
    assert warm.asked.ice.melted > 5 * warm.spec.ice.melted
    fizz = bench(book, book.drinks["pear-sage-fizz"], site, read_what_if(["syrup=60g"], None, None))[0]
    assert fizz.asked is not None and fizz.asked.room == "fits"
    assert fizz.asked.known_ml == pytest.approx(fizz.spec.known_ml, abs=2), "the water gives way"


def test_the_command_answers_and_writes_nothing(tmp_path: Path) -> None:
    root = tmp_path / "book"
    copytree(demo_book(), root)
    before = {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(root.rglob("*")) if p.is_file()}
    run = CliRunner()
    asked = ["show", "blackcurrant-hojicha", "--book", str(root), "--with", "foam=70g", "--ice", "0.6", "--at", "4C"]
    shown = run.invoke(app, asked)
    assert shown.exit_code == 0 and "Nothing was written." in shown.stdout and "Salted oat foam" in shown.stdout
    assert "OVER THE FILL LINE" in shown.stdout and "As the spec says: Fits" in shown.stdout
    told = json.loads(run.invoke(app, [*asked, "--json"]).stdout)
    assert [cup["size"] for cup in told["cups"]] == ["regular", "large"]
    assert told["cups"][0]["asked"]["room"] == "over-line" and told["cups"][0]["spec"]["room"] == "fits"
    assert told["entry"]["sizes"][0]["layers"][2]["lines"][0]["grams"] == "30", "the entry is the spec's own"
    assert {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(root.rglob("*")) if p.is_file()} == before
    assert run.invoke(app, ["show", "sugar-syrup", "--book", str(root), "--ice", "1"]).exit_code != 0


def test_plain_show_draws_each_size_in_eighty_columns(tmp_path: Path) -> None:
    shown = CliRunner().invoke(app, ["show", "matcha-cloud", "--book", str(demo_book())])
    assert shown.exit_code == 0
    drawing = shown.stdout[shown.stdout.index("Matcha cloud in four layers, Regular: ") :]
    assert "Matcha on Oat drink over ice: stays" in drawing and "mm free under the fill line" in drawing
    assert all(len(line) <= 80 for line in drawing.splitlines())
