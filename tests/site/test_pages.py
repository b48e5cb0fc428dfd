"""The pages of a site: nothing lost, nothing hidden, nothing promised."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import made_bundle as made
import pytest

from specctl import canonical
from specctl.errors import Refused, Untrusted
from specctl.report.clean import columns, visible
from specctl.report.words import measure_words, verdict_words
from specctl.site.compare import compare
from specctl.site.compare_words import difference_words
from specctl.site.pages import Times, make_pages, write_pages
from specctl.site.pages_text import card_text

FRESH = Times(made.NOW, made.CONFIRMED)
STALE = Times(made.NOW, made.CONFIRMED - timedelta(hours=48))
PAGES = ("allergens", "cards", "changed", "index", "preps")


class _Page(HTMLParser):
    """The words of a page, its headings and its tags."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str, str]] = []
        self.headings: list[int] = []
        self.parts: list[str] = []
        self._silent = False
        self.feed(text)

    @property
    def words(self) -> str:
        return re.sub(r"\s+", " ", "".join(self.parts))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        self._silent = tag in ("style", "title")
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in ("bdi", "span", "strong", "a"):
            self.parts.append(" ")

    def handle_endtag(self, tag: str) -> None:
        self._silent = False

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self.parts.append(data)


def _pages(times: Times = FRESH, **how: bool) -> dict[str, str]:
    return {name: data.decode() for name, data in make_pages(made.bundle_bytes(**how), times).items()}


@pytest.fixture(scope="module")
def scoops() -> dict[str, str]:
    return _pages()


def _both(pages: dict[str, str], name: str) -> tuple[str, str]:
    text = re.sub(r"(?m)^ *\| | +\|$", " ", pages[f"{name}.txt"])  # the sides of a box
    return _Page(pages[f"{name}.html"]).words, re.sub(r"\s+", " ", text)


def test_each_page_has_a_plain_twin_and_the_same_input_gives_the_same_bytes() -> None:
    pages = make_pages(made.bundle_bytes(), FRESH)
    assert sorted(pages) == sorted(f"{name}.{kind}" for name in PAGES for kind in ("html", "txt"))
    assert pages == make_pages(made.bundle_bytes(), FRESH)


def test_a_page_runs_nothing_and_asks_for_nothing(scoops: dict[str, str]) -> None:
    for name in PAGES:
        page = _Page(scoops[f"{name}.html"])
        assert not page.tags & {"script", "img", "iframe", "object", "link", "form", "base", "svg"}
        for tag, attribute, value in page.attributes:
            assert not attribute.startswith("on") and attribute not in ("src", "style"), (tag, attribute)
            assert attribute != "href" or re.fullmatch(r"[a-z]+\.(html|txt)(#[a-z-]+)?|#[a-z-]+", value)
        [policy] = [value for _, _, value in page.attributes if "default-src" in value]
        assert policy.startswith("default-src 'none'; style-src 'sha256-") and "unsafe" not in policy


def test_headings_come_in_order_without_a_gap(scoops: dict[str, str]) -> None:
    for name in PAGES:
        levels = _Page(scoops[f"{name}.html"]).headings
        assert levels[0] == 1 and levels.count(1) == 1
        assert all(after <= before + 1 for before, after in zip(levels, levels[1:])), (name, levels)


def test_plain_pages_keep_to_eighty_columns_and_hold_no_control(scoops: dict[str, str]) -> None:
    for name in PAGES:
        text = scoops[f"{name}.txt"]
        assert max(columns(line) for line in text.split("\n")) <= 80
        assert visible(text.replace("\n", "")) == text.replace("\n", "")


def test_hostile_names_are_shown_not_obeyed(scoops: dict[str, str]) -> None:
    for words in _both(scoops, "cards"):
        assert "Oat foam⟨U+202E⟩ ⟨U+200B⟩⟨U+001B⟩[31m<script>alert(1)</script>|`x`" in words
    for text in scoops.values():
        assert "\u202e" not in text and "\x1b" not in text and "\u200b" not in text


def _lines(entry: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for size in entry["sizes"]:
        for layer in size["layers"]:
            yield from layer["lines"]
    for option in entry["options"]:
        for choice in option["choices"]:
            for part in choice["sizes"]:
                yield from (change["line"] for change in part["lines"] if change["line"])


@pytest.mark.parametrize("on_scale", [True, False])
def test_a_card_holds_every_line_measure_step_and_caution(on_scale: bool) -> None:
    entry = made.amber_tide(on_scale)
    for words in _both(_pages(on_scale=on_scale), "cards"):
        for line in _lines(entry):
            assert visible(line["name"]) in words and measure_words(line) in words
            assert line["measure"]["note"] is None or line["measure"]["note"] in words
        for step in entry["steps"]:
            assert visible(step["do"]) in words and (step["caution"] or "") in words
        assert "Layer 1 (bottom): Blackcurrant base" in words and "Layer 4: Salted oat foam" in words
        assert "Tall glass, 480 ml to the rim, fill line 125 mm below the rim" in words
        assert "release 2, in force since 25 November 2026, 04:00" in words


def test_an_amount_out_of_tolerance_is_called_out_at_the_line_and_on_top_and_on_the_index(
    scoops: dict[str, str],
) -> None:
    html, text = _both(scoops, "cards")
    for verdict, sizes in (("outside", 2), ("unproven", 2), ("no-tool", 2)):
        for words in (html, text):
            assert words.count(verdict_words(verdict)) == sizes + 1  # the lines, and the list on top
        assert all(verdict_words(verdict) in words for words in _both(scoops, "index"))
    # In a box that needs no colour, in both forms.
    boxes = re.findall(r'<div class="alarm"><p><strong>(.*?)</strong>', scoops["cards.html"])
    assert boxes.count(verdict_words("no-tool")) == 2
    assert f"| {verdict_words('no-tool')} " in scoops["cards.txt"]
    quiet = _pages(on_scale=True)
    assert not any(verdict_words(verdict) in quiet["cards.txt"] for verdict in ("outside", "unproven", "no-tool"))


def test_no_fact_of_any_row_is_missing_from_the_sheet(scoops: dict[str, str]) -> None:
    rows = made.amber_tide(False)["allergens"]
    for words in _both(scoops, "allergens"):
        for row in rows:
            assert row["name"] in words
            for status in ("contains", "may_contain", "unknown"):
                for fact in row[status]:
                    assert all(path in words for path in fact["paths"]) and fact["name"] in words
        facts = [(row["contains"], row["may_contain"], row["unknown"]) for row in rows]
        own = [lists for at, lists in enumerate(facts) if at == 0 or lists != facts[0]]
        for path in {path for lists in own for part in lists for fact in part for path in fact["paths"]}:
            times = sum(path in fact["paths"] for lists in own for part in lists for fact in part)
            assert words.count(f"through {path}") == times, path
        assert "buckwheat" in words and "not on this market's list" in words
        assert "Regulation (EU) No 1169/2011, Annex II" in words


def test_the_matrix_has_a_row_for_every_choice_and_words_in_every_cell(scoops: dict[str, str]) -> None:
    table = scoops["allergens.html"].split("<tbody>")[1].split("</tbody>")[0]
    assert table.count('<th scope="row">') == 6
    cells = re.findall(r'<td class="cell[^"]*" title="([^"]*)">', table)
    heads = re.findall(r'<th scope="col" class="group">', scoops["allergens.html"])
    assert len(cells) == 6 * len(heads) == 6 * 5
    assert cells[:5] == [
        "Gluten: CONTAINS (oats)", "Milk: CONTAINS (milk)", "Sesame: UNKNOWN — ask before answering (sesame)",
        "Soya: may contain (soya)", "Tree nuts: may contain (hazelnut)",
    ]  # fmt: skip
    assert cells[-5:] == [f"{name}: not in its documents" for name in ("Gluten", "Milk", "Sesame", "Soya", "Tree nuts")]


def test_a_row_the_entry_lacks_reads_as_unknown() -> None:
    entry = made.amber_tide(False)
    entry["allergens"] = [row for row in entry["allergens"] if row["choice"] != "extras=shot"]
    assert "says nothing about allergens" in re.sub(r"\s+", " ", card_text(entry, today=made.TODAY))


    value = made.bundle_value()
    digests = [digest for digest, each in value["entries"].items() if each["item"] == entry["item"]]
    for digest in digests:
        value["entries"].pop(digest)
    value["entries"][canonical.digest(entry)] = entry
    value["timeline"] = [
        [*row[:3], canonical.digest(entry) if row[3] in digests else row[3]] for row in value["timeline"]
    ]
    html = make_pages(canonical.canonical(value), FRESH)["allergens.html"].decode()
    row = html.split("Extras</bdi>")[0] if "Extras</bdi>" in html else html.split("extras=shot")[1]
    cells = re.findall(r'title="([^"]*)"', row)[:5]
    assert len(cells) == 5 and all(cell.endswith(": UNKNOWN — ask before answering") for cell in cells)


def test_hostile_names_of_site_chain_and_choices_make_no_element_and_no_attribute() -> None:
    evil = '"><img src=x onerror=alert(1)>\u202e'
    value = made.bundle_value()
    value["site"] |= {"name": evil, "market_name": evil}
    value["book_name"] = evil
    entry = next(each for each in value["entries"].values() if each["options"])
    old = canonical.digest(entry)
    entry["options"][0]["choices"][0]["name"] = entry["allergens"][1]["name"] = evil
    entry["allergens"][0]["contains"][0]["name"] = entry["sizes"][0]["name"] = evil
    entry["list"] = {"id": "x", "name": evil, "source": evil}
    new = canonical.digest(entry)
    value["entries"][new] = value["entries"].pop(old)
    value["timeline"] = [[*row[:3], new if row[3] == old else row[3]] for row in value["timeline"]]
    for name, data in make_pages(canonical.canonical(value), FRESH).items():
        if name.endswith(".html"):
            page = _Page(data.decode())
            assert "img" not in page.tags and "onerror" not in {each[1] for each in page.attributes}
        assert "\u202e" not in data.decode()


def test_absence_turns_unknown_on_the_very_day_its_documents_lapse() -> None:
    entry = made.pear_fizz(True)  # absent until 2026-12-24
    eve = card_text(entry, today=made.TODAY.replace(month=12, day=23))
    day = card_text(entry, today=made.TODAY.replace(month=12, day=24))
    assert "UNKNOWN — ask before answering" not in eve and "Nothing on the list is named" in eve
    assert "UNKNOWN — ask before answering" in day and "Nothing on the list is named" not in day
    cells = re.findall(r'title="([^"]*)"', _pages(lapsed=True)["allergens.html"])[-5:]
    assert all(cell.endswith("UNKNOWN — ask before answering") for cell in cells)


def test_no_page_says_free_from_or_safe(scoops: dict[str, str]) -> None:
    for pages in (scoops, _pages(STALE, lapsed=True)):
        for name in PAGES:
            for words in _both(pages, name):
                assert not re.search(r"free from|-free\b|\bsafe\b|no allergens", words, re.IGNORECASE)


def test_every_page_says_release_date_and_how_long_ago_it_was_confirmed(scoops: dict[str, str]) -> None:
    for name in PAGES:
        for words in _both(scoops, name):
            assert "Release 3" in words and "Made 25 November 2026, 06:00" in words
            assert "Confirmed 20 minutes ago (25 November 2026, 05:40)" in words
            assert "NOT CONFIRMED" not in words


def test_past_the_age_limit_every_page_says_so_first_and_the_sheet_is_covered() -> None:
    for age, stale in ((timedelta(hours=48), False), (timedelta(hours=48, minutes=1), True)):
        pages = _pages(Times(made.NOW, made.NOW - age))
        for name in PAGES:
            for words in _both(pages, name):
                assert ("NOT CONFIRMED since" in words) is stale
        for words in _both(pages, "allergens"):
            first = words.lstrip("+=| ").strip()
            assert first.startswith("ASK BEFORE ANSWERING") is stale
            assert "hazelnut" in words  # covered, not taken away
        assert ("ASK BEFORE ANSWERING" in pages["cards.txt"]) is stale


@pytest.mark.parametrize("confirmed", [None, made.NOW + timedelta(hours=1)])
def test_never_confirmed_or_confirmed_in_the_future_is_not_confirmed(confirmed: Any) -> None:
    pages = _pages(Times(made.NOW, confirmed))
    assert all("NOT CONFIRMED" in text for text in pages.values())
    assert "ASK BEFORE ANSWERING" in pages["allergens.txt"].split("\n")[1]


def test_a_page_names_the_first_moment_at_which_it_may_be_wrong() -> None:
    # Pulled at 05:40 on the 25th: 48 h later; a start on the 30th; a document's last day on 24 December.
    for limit, until in ((48, "27 November 2026, 05:40"), (24 * 20, "30 November 2026, 04:00")):
        times = Times(made.NOW, made.CONFIRMED, limit=timedelta(hours=limit))
        assert f"Good until {until}" in _pages(times)["index.txt"]
    late = made.NOW + timedelta(days=6)
    times = Times(late, late, limit=timedelta(days=90))
    assert "Good until 24 December 2026, 00:00" in _pages(times)["index.txt"]


def test_what_changed_says_before_and_after_and_allergens_first(scoops: dict[str, str]) -> None:
    for words in _both(scoops, "changed"):
        assert "ALLERGEN, standard build, hazelnut: not in its documents → may contain" in words
        assert "Regular, Blackcurrant base, Blackcurrant purée, amount: 24 g → 26 g" in words
        assert "for 8 seconds. → Shake" in words and "55 g → 60 g" in words
        assert "Harbour Fog" in words and "No longer served here" in words
        assert "its factory handles hazelnut" in words and "Items unchanged: 1." in words
        assert words.index("ALLERGEN") < words.index("24 g → 26 g")
        assert "from 30 November 2026, 04:00" in words and "No foam: removed" in words


def test_nothing_changed_is_said_with_what_was_compared() -> None:
    pages = _pages(Times(made.NOW, made.CONFIRMED, since=made.NOW))
    for words in _both(pages, "changed"):
        assert "Nothing changed here since 25 November 2026, 06:00." in words and "Items unchanged: 3." in words


def test_an_upcoming_start_comes_into_the_cards_on_its_day() -> None:
    day = made.NOW + timedelta(days=5)
    before, after = _pages()["cards.txt"], _pages(Times(day, day))["cards.txt"]
    assert "Extras: No foam" in before and "Extras: No foam" not in after


def _leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(inner, (*path, key))
    elif isinstance(value, list) and value:
        for at, inner in enumerate(value):
            yield from _leaves(inner, (*path, at))
    else:
        yield path


_GIVEN = {
    "vessel": made.vessel("Jug", "1000", "10"),
    "line": made.line("salt", "Sea salt", "1", made.scale("1")),
    "hold": {"keep": "chilled", "own": "4 h", "note": ""},
    "absent_until": "2028-01-01",
}


def _changed_at(entry: dict[str, Any], path: tuple[Any, ...]) -> dict[str, Any]:
    other = copy.deepcopy(entry)
    place: Any = other
    for step in path[:-1]:
        place = place[step]
    old = place[path[-1]]
    if isinstance(old, bool):
        place[path[-1]] = not old
    elif isinstance(old, list):
        place[path[-1]] = ["changed"] if path[-1] not in ("contains", "may_contain", "unknown", "options") else old
    elif isinstance(old, int):
        place[path[-1]] = old + 1
    elif path[-1] == "verdict":
        place[path[-1]] = "no-tool" if old != "no-tool" else "within"
    elif path[-1] == "by":
        place[path[-1]] = "none" if old != "none" else "scale"
    else:
        place[path[-1]] = _GIVEN.get(path[-1], "9") if old is None else f"{old}9"
    return other


@pytest.mark.parametrize("make", [made.amber_tide, made.oat_foam])
def test_any_single_change_of_an_entry_is_a_difference_with_words(make: Any) -> None:
    entry = make(False)
    assert compare(entry, entry) == []
    for path in _leaves(entry):
        other = _changed_at(entry, path)
        if other == entry:
            continue
        if path[-1] in ("moves", "substitutes"):
            continue  # an empty list has no member of the right shape to add
        differences = compare(entry, other)
        told = [difference for difference in differences if difference.kind != "other"]
        assert told or path[0] in ("entry", "item") and differences, path
        assert all(difference_words(difference).strip() for difference in differences), path
        if path[0] == "allergens" and path[2:] != ("name",):
            assert any(difference.about_allergens for difference in differences), path


def test_two_changes_are_two_statements() -> None:
    entry = made.amber_tide(False)
    other = copy.deepcopy(entry)
    first = other["sizes"][0]["layers"][0]["lines"][0]
    first["grams"], first["tolerance"] = "30", {"minus": "2", "plus": "2"}
    other["steps"].reverse()
    assert [difference.kind for difference in compare(entry, other)] == ["amount", "tolerance", "step-order"]


def test_files_are_written_whole_and_only_under_plain_names(tmp_path: Path) -> None:
    write_pages(tmp_path / "pages", {"index.html": b"old"})
    with pytest.raises(Refused):
        write_pages(tmp_path / "pages", {"index.html": b"new", "../away.html": b"x"})
    assert (tmp_path / "pages" / "index.html").read_bytes() == b"old"
    write_pages(tmp_path / "pages", {"index.html": b"new"})
    assert [path.name for path in (tmp_path / "pages").iterdir()] == ["index.html"]
    assert (tmp_path / "pages" / "index.html").read_bytes() == b"new"


def test_bytes_that_are_not_a_bundle_make_no_page() -> None:
    with pytest.raises(Untrusted):
        make_pages(b"{}", FRESH)


def test_a_group_of_the_list_without_a_fact_still_has_its_column_where_the_list_is_told() -> None:
    value = made.bundle_value()
    entries = {}
    renamed = {}
    for digest, entry in value["entries"].items():
        entry = copy.deepcopy(entry)
        entry["list"] = entry["list"] | {"groups": made.GROUPS}
        renamed[digest] = canonical.digest(entry)
        entries[renamed[digest]] = entry
    value["entries"] = entries
    value["timeline"] = [[*row[:3], renamed.get(row[3])] for row in value["timeline"]]
    pages = make_pages(canonical.canonical(value), FRESH)
    assert pages["allergens.html"].count(b'class="group"') == len(made.GROUPS)
    assert b"barley (cereals containing gluten)" in pages["allergens.html"]
