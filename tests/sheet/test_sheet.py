"""The sheet of the shipped book: every form tells the same, differs between sites as it must, promises nothing."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest

from specctl.actions.sheeting import sheet_of_site
from specctl.actions.source import open_source
from specctl.analysis.nourishing import servings_of
from specctl.change.compiled import items_at
from specctl.change.entry import compile_entry
from specctl.change.memo import Memo, profile_of
from specctl.cli.main import main
from specctl.cli.sheet_commands import _view
from specctl.codec.load import load
from specctl.report.declared import NAMED
from specctl.report.sheet import Heading, sheet_of
from specctl.report.sheet_forms import sheet_csv, sheet_html, sheet_text
from specctl.resources import demo_book

SHAKE = "drink/coconut-ginger-shake"


@pytest.fixture(autouse=True)
def _frozen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SPECCTL_NOW", "2026-11-25T08:30:00Z")
    monkeypatch.setenv("COLUMNS", "80")


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["sheet", *words, "--book", str(demo_book())]) == 0
    return capsys.readouterr().out


def as_json(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    found = json.loads(told(capsys, *words, "--as", "json"))
    assert isinstance(found, dict)
    return found


def standard(sheet: dict[str, object], item: str) -> dict[str, str]:
    (drink,) = [d for d in sheet["drinks"] if d["item"] == item]  # type: ignore[attr-defined]
    return {fact["name"]: fact["status"] for fact in drink["rows"][0]["facts"]}


def test_the_same_drink_may_contain_at_one_site_and_not_at_another(capsys: pytest.CaptureFixture[str]) -> None:
    shared, washed = as_json(capsys, "saltmarket"), as_json(capsys, "kelp-lane")
    assert standard(shared, SHAKE)["milk"] == "may_contain"
    assert "milk" not in standard(washed, SHAKE)
    (drink,) = [d for d in shared["drinks"] if d["item"] == SHAKE]  # type: ignore[attr-defined]
    milk = next(f for f in drink["rows"][0]["facts"] if f["name"] == "milk")
    assert milk["paths"] == ["shared blender: Hazelnut frost contains milk"]


def test_old_stock_is_declared_where_the_clear_out_is_not_confirmed(capsys: pytest.CaptureFixture[str]) -> None:
    name = "sulphur dioxide and sulphites"
    assert standard(as_json(capsys, "harbour-row"), SHAKE)[name] == "contains"
    assert standard(as_json(capsys, "saltmarket"), SHAKE).get(name) != "contains"


def test_a_market_is_the_union_of_its_sites(capsys: pytest.CaptureFixture[str]) -> None:
    order = {"unknown": 1, "may_contain": 2, "contains": 3}
    whole = as_json(capsys, "--market", "ie")
    sites = sorted(p.stem for p in (demo_book() / "sites").glob("*.yaml") if _market(p.stem) == "ie")
    united = {d["item"]: standard(whole, d["item"]) for d in whole["drinks"]}  # type: ignore[attr-defined]
    seen: dict[str, dict[str, int]] = {}
    for site in sites:
        sheet = as_json(capsys, site)
        for drink in sheet["drinks"]:  # type: ignore[attr-defined]
            for name, status in standard(sheet, drink["item"]).items():
                assert order[united[drink["item"]][name]] >= order[status]
                held = seen.setdefault(drink["item"], {})
                held[name] = max(held.get(name, 0), order[status])
    covered = whole["covers"]
    assert isinstance(covered, str) and covered.startswith(f"The union of {len(sites)} sites")
    assert {i: {n: order[s] for n, s in facts.items()} for i, facts in united.items()} == seen


def _market(site: str) -> str:
    text = (demo_book() / "sites" / f"{site}.yaml").read_text(encoding="utf-8")
    found = re.search(r"^market: (.*)$", text, re.M)
    assert found
    return found[1]


def test_the_sentence_names_its_choices_and_promises_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    for drink in as_json(capsys, "saltmarket")["drinks"]:  # type: ignore[attr-defined]
        sentence = drink["sentence"]
        assert "Our equipment is shared" in sentence and "tell me about your allergy" in sentence
        for row in drink["rows"][1:]:
            assert row["name"] in sentence
        for status in ("contains", "may_contain"):
            for fact in drink["rows"][0]["facts"]:
                if fact["status"] == status and fact["listed"]:
                    assert fact["name"] in sentence


@pytest.mark.parametrize("form", ["text", "html", "csv", "json"])
def test_no_form_says_safe_or_free_from_and_each_says_its_day_and_standing(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = told(capsys, "saltmarket", "--as", form)
    flat = " ".join(text.split())
    assert not re.search(r"\bsafe (for|to)\b|\bfree from\b", flat, re.I)
    for words in ("25 November 2026", "not released", "Equipment and work surfaces are shared", "Ask a member of staff"):
        assert words in re.sub(r"\s*\|\s*", " ", flat)


def test_text_is_80_columns_and_tells_the_statuses_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    text = told(capsys, "saltmarket")
    assert max(len(line) for line in text.splitlines()) <= 80
    for words in ("CONTAINS", "may contain", "UNKNOWN"):
        assert words in text


def test_every_cell_of_the_csv_has_words_and_every_choice_a_row(capsys: pytest.CaptureFixture[str]) -> None:
    rows = list(csv.reader(io.StringIO(told(capsys, "saltmarket", "--as", "csv"))))
    sheet = as_json(capsys, "saltmarket")
    assert len(rows) - 1 == sum(len(d["rows"]) for d in sheet["drinks"])  # type: ignore[attr-defined]
    width = len(rows[0])
    for row in rows[1:]:
        assert len(row) == width
        assert all(row[6 : width - 2])


def test_the_page_has_no_script_and_tells_statuses_apart_without_colour(capsys: pytest.CaptureFixture[str]) -> None:
    page = told(capsys, "saltmarket", "--as", "html")

    class Reader(HTMLParser):
        tags: set[str] = set()

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            self.tags.add(tag)
            assert not any(name.startswith("on") or name in ("src", "style") for name, _ in attrs)

    reader = Reader()
    reader.feed(page)
    assert "table" in reader.tags and not reader.tags & {"script", "img", "iframe", "link"}
    for letters, words in (("C", "CONTAINS"), ("M", "may contain"), ("?", "UNKNOWN")):
        assert f'aria-hidden="true">{letters}</span> <span class="unseen words">' in page and words in page


def entry(name: str, rows: list[dict[str, object]], **more: object) -> dict[str, object]:
    return {
        "item": "drink/x", "name": name, "list": {"id": "l", "name": "L", "source": "S", "groups": {"milk": "Milk"}},
        "allergens": rows, "claims": [], **more,
    }  # fmt: skip


def row(choice: str = "", until: str | None = None, **facts: tuple[str, ...]) -> dict[str, object]:
    return {
        "choice": choice, "name": choice or "Standard", "absent_until": until,
        **{s: [{"substance": n, "group": n, "name": n, "listed": True, "paths": ["a"]} for n in facts.get(s, ())] for s in NAMED},
    }  # fmt: skip


HEAD = Heading("Pier", "gb", date(2026, 11, 25), "As on disk", "Ask us.")


def test_from_the_day_a_document_lapses_its_absences_are_unknown() -> None:
    before = sheet_of(HEAD, [entry("Cup", [row(until="2026-11-26")])]).drinks[0]
    after = sheet_of(HEAD, [entry("Cup", [row(until="2026-11-25")])]).drinks[0]
    assert before.rows[0].cells[0].letters == "–"
    assert after.rows[0].cells[0].letters == "?"
    assert "any other allergen" in after.sentence


def test_a_name_that_is_a_formula_or_markup_stays_text() -> None:
    sheet = sheet_of(HEAD, [entry("=HYPERLINK(1)<b>", [row(contains=("milk",))])])
    assert ",'=HYPERLINK(1)<b>," in sheet_csv(sheet)
    assert "<b>" not in sheet_html(sheet)
    assert "\x1b" not in sheet_text(sheet_of(HEAD, [entry("Cup\x1b[31m", [row()])]))


def test_a_book_with_a_record_that_cannot_be_read_gets_no_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # The drink left out is the one that leaves milk in the blender.
    shutil.copytree(demo_book(), tmp_path / "book")
    drink = tmp_path / "book" / "drinks" / "hazelnut-frost.yaml"
    drink.write_text(drink.read_text(encoding="utf-8").replace("served: cold", "served: tepid"), encoding="utf-8")
    for words in (["saltmarket"], ["--market", "gb"]):
        assert main(["sheet", *words, "--book", str(tmp_path / "book")]) == 1
        told_ = capsys.readouterr()
        assert told_.out == "" and "could miss an allergen" in told_.err


def test_bad_words_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    book = ["--book", str(demo_book())]
    assert main(["sheet", *book]) == 2
    assert main(["sheet", "saltmarket", "--market", "gb", *book]) == 2
    assert main(["sheet", "saltmarket", "--as", "paper", *book]) == 2
    assert main(["sheet", "saltmarket", "--at", "soon", *book]) == 2
    assert main(["sheet", "saltmarkt", *book]) == 1
    assert "Did you mean saltmarket?" in capsys.readouterr().err
    assert main(["sheet", "--market", "fr", *book]) == 1


def fact(status: str, name: str, *paths: str) -> dict[str, object]:
    return {status: [{"substance": name, "group": name, "name": name, "listed": True, "paths": list(paths)}]}


def test_a_choice_tells_the_ways_that_differ_and_drops_no_fact() -> None:
    empty: dict[str, object] = {s: [] for s in NAMED}
    both = {**fact("contains", "milk", "a > ingredient/milk")["contains"][0]}  # type: ignore[index]
    nuts = {"substance": "nuts", "group": "nuts", "name": "nuts", "listed": True, "paths": ["b > ingredient/paste"]}
    standard_ = {"choice": "", "name": "Standard", "absent_until": None, **empty, "contains": [both]}
    chosen = {"choice": "extra=nuts", "name": "Nuts", "absent_until": None, **empty, "contains": [both, nuts]}
    drink = sheet_of(HEAD, [entry("Cup", [standard_, chosen])]).drinks[0]
    assert [f.bare for f in drink.rows[0].reasons] == ["milk"]
    assert [f.bare for f in drink.rows[1].facts.facts] == ["milk", "nuts"]
    assert [f.bare for f in drink.rows[1].reasons] == ["nuts"]
    text = sheet_text(sheet_of(HEAD, [entry("Cup", [standard_, chosen])]))
    assert "CONTAINS: milk, nuts" in text and "as it does in the standard" in text and text.count("ingredient/milk") == 1


def test_melt_water_is_counted_in_what_100_ml_hold() -> None:
    """The same grams with ice, warm enough to melt some, fill more: fewer grams of sugar in 100 ml, the same in a serving."""
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*.yaml")}).book
    assert book is not None
    drink = book.drinks["orange-hojicha-cooler"]
    found = {s.variant.choice: s for s in servings_of(book, drink, book.sites["saltmarket"]) if s.size == next(iter(drink.sizes))}
    iced = found[""]
    assert iced.melt_g is not None and iced.melt_g > 0 and iced.nutrition.volume_ml is not None
    per = iced.nutrition.per_100_ml("sugars")
    assert per is not None and per.amount == iced.nutrition.figures["sugars"].amount * 100 / iced.nutrition.volume_ml


@pytest.mark.parametrize("site", ["saltmarket", "breakwater"])
def test_no_view_of_an_entry_drops_a_fact(site: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every substance of every row of the compiled entries is in the sheet's data and in its text, on the list or off it."""
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*.yaml")}).book
    assert book is not None
    memo, profile = Memo(book), profile_of(book, book.sites[site])
    sheet = {d["item"]: d for d in as_json(capsys, site)["drinks"]}  # type: ignore[attr-defined]
    text = " ".join(told(capsys, site).split())
    for item in items_at(book, book.sites[site]):
        if not item.startswith("drink/"):
            continue
        for made in compile_entry(memo, profile, item)["allergens"]:
            (shown,) = [r for r in sheet[item]["rows"] if r["choice"] == made["choice"]]
            facts = {(f["status"], f["name"], f["listed"]) for f in shown["facts"]}
            assert facts == {(s, f["name"], f["listed"]) for s in NAMED for f in made[s]}
            assert all(name in text for _, name, _ in facts)


@pytest.mark.parametrize("words", [("saltmarket",), ("breakwater",), ("--market", "ie")])
def test_every_permitted_choice_has_its_nutrition_or_is_named_as_the_same(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    for drink in as_json(capsys, *words)["drinks"]:  # type: ignore[attr-defined]
        lines = drink["nutrition"]
        assert lines and lines[0].startswith((drink["name"], "At "))
        same = [line for line in lines if line.startswith("Nutrition as in the standard build:")]
        for row in drink["rows"][1:]:
            own = [line for line in lines if line.startswith(f"{row['name']}, ")]
            assert own or any(row["name"] in line for line in same), (drink["name"], row["name"])


def test_less_ice_is_told_by_its_own_100_ml(capsys: pytest.CaptureFixture[str]) -> None:
    """The grams of a serving stay, its volume does not."""
    (drink,) = [d for d in as_json(capsys, "saltmarket")["drinks"] if d["item"] == "drink/orange-hojicha-cooler"]  # type: ignore[attr-defined]
    (syrup,) = [x for x in drink["nutrition"] if x.startswith("Sweetness: A little syrup, Regular, a serving: ")]
    (plain,) = [x for x in drink["nutrition"] if x.startswith("Orange and hojicha cooler, Regular, a serving: ")]
    energy = [float(re.search(r"([\d.]+) kJ", x)[1]) for x in (syrup, plain)]  # type: ignore[index]
    assert energy[0] > energy[1]
    assert any(x.startswith("Ice: Less ice, Regular, 100 ml of about ") for x in drink["nutrition"])


def test_a_market_tells_nutrition_apart_by_sites_that_pour_apart(capsys: pytest.CaptureFixture[str]) -> None:
    """Kelp Lane stocks another oat drink; the other Irish counters pour alike."""
    (mocha,) = [d for d in as_json(capsys, "--market", "ie")["drinks"] if d["item"] == "drink/harbour-mocha"]  # type: ignore[attr-defined]
    heads = [line for line in mocha["nutrition"] if line.startswith("At ")]
    assert len(heads) == 2 and "At Kelp Lane:" in heads
    (alone,) = [d for d in as_json(capsys, "kelp-lane")["drinks"] if d["item"] == "drink/harbour-mocha"]  # type: ignore[attr-defined]
    at = mocha["nutrition"].index("At Kelp Lane:")
    assert mocha["nutrition"][at + 1 : at + 1 + len(alone["nutrition"])] == alone["nutrition"]


def test_a_sheet_of_what_was_in_force_says_why_it_tells_no_nutrition() -> None:
    with open_source(demo_book()) as source:
        facts = sheet_of_site(source, "saltmarket", date(2026, 11, 25))
    sheet = _view(replace(facts, releases=(1,), servings={}))
    assert all(not d.nutrition for d in sheet.drinks)
    assert "worked out from the book on disk" in " ".join(sheet_text(sheet).split())
