"""`report --language`: every form in another language, checked again in it, kept apart, signed alike.

And no word of the demo's own reports goes past the catalogue: there only the
files of the book and what people wrote count as data.
"""

from __future__ import annotations

import re
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from counter_world import World
from ruamel.yaml import YAML

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "report"))
from pseudo_words import CYRILLIC, Pseudo, Texts, strings, unsaid_on

from specctl.actions.case import open_case
from specctl.actions.reporting import impact_of
from specctl.actions.source import open_source
from specctl.change.impact import Impact
from specctl.report.html import render_html
from specctl.report.tongue import speaking
from specctl.report.view import view_of

FORMS = {"html": "html", "json": "json", "markdown": "md", "xlsx": "xlsx", "pdf": "pdf"}
DAY = date(2026, 11, 25)


def page(world: World, form: str, name: str, *more: str) -> Path:
    out = world.root / f"{name}.{FORMS.get(form, 'txt')}"
    world.run("report", "4", "--as", form, "--out", out, *more)
    return out


def test_a_page_in_german_says_so_and_names_the_same_effect(opened: World) -> None:
    german, english = (page(opened, "html", name, *more).read_text("utf-8") for name, more in (("de", ("--language", "de")), ("en", ())))
    assert '<html lang="de">' in german and '<html lang="en-GB">' in english
    assert ">Allergene</bdi>" in german and ">Allergens</bdi>" in english
    digest = re.search("effect ([0-9a-f]{64})", english)
    assert digest is not None and digest[1] in german
    told = opened.run("report", "4", "--language", "de").out
    assert "Unterschreiben Sie oder erheben Sie Einspruch" in told and digest[1] in told
    for words in ("Local law and your food-safety lead", "Sign or object as"):
        assert words in english and words not in german


def test_what_is_signed_and_read_by_machines_has_no_language(opened: World) -> None:
    german = opened.run("report", "4", "--json", "--language", "de").out
    assert german == opened.run("report", "4", "--json").out
    assert page(opened, "json", "de", "--language", "de").read_bytes() == page(opened, "json", "en").read_bytes()


@pytest.mark.parametrize("form", FORMS)
def test_a_page_is_checked_in_the_language_it_was_made_in(form: str, opened: World) -> None:
    german = page(opened, form, "de", "--for", "northsands", "--language", "de")
    assert opened.run("report", "--verify", german).out.startswith("YES. ")


def test_a_page_that_names_another_language_than_its_own_is_a_no(opened: World) -> None:
    german = page(opened, "html", "de", "--language", "de")
    text = german.read_text("utf-8")
    assert " lang=de\"" in text
    for other in ("", " lang=en", " lang=de-AT", " lang=xx", " lang=../x"):
        german.write_text(text.replace(" lang=de\"", f"{other}\""), "utf-8")
        said = opened.run("report", "--verify", german, code=1).out
        assert not said.startswith(("YES", "NOT PROVED")), other
    english = page(opened, "html", "en")
    english.write_text(re.sub(r'(data-stamp="[^"]+)"', r'\1 lang=de"', english.read_text("utf-8")), "utf-8")
    assert opened.run("report", "--verify", english, code=1).out.startswith("NO: ")


def test_kept_reports_of_two_languages_are_never_mixed_up(opened: World) -> None:
    first = [page(opened, "html", "a", *more).read_bytes() for more in ((), ("--language", "de"), ("--language", "en-GB"))]
    again = [page(opened, "html", "b", *more).read_bytes() for more in ((), ("--language", "de"), ("--language", "en-GB"))]
    assert first == again and first[0] != first[1] and first[0] == first[2]


def test_a_language_there_are_no_words_for_is_refused_before_anything_is_made(opened: World) -> None:
    for tag, said in (("fr", "Languages: en, de."), ("../de", "en-GB"), ("de\n", "en-GB")):
        told = opened.run("report", "4", "--language", tag, code=2)
        assert said in told.err and told.out == ""


def test_without_being_asked_it_speaks_the_language_of_the_market(opened: World) -> None:
    """A scope of one language has it; one of several has English."""
    opened.edit("markets/us.yaml", "language: en-US", "language: de-AT")
    opened.run("propose", "--update", "4")
    assert '<html lang="de-AT">' in page(opened, "html", "us", "--for", "gull-rock").read_text("utf-8")
    assert '<html lang="en-GB">' in page(opened, "html", "all").read_text("utf-8")
    english = page(opened, "html", "en", "--for", "gull-rock", "--language", "en")
    assert '<html lang="en-GB">' in english.read_text("utf-8")
    for made in (english, opened.root / "us.html"):
        assert opened.run("report", "--verify", made).out.startswith("YES. ")


def test_dates_are_written_as_the_market_writes_them(opened: World) -> None:
    """Unicode CLDR, long date of en-US: `MMMM d, y`."""
    text = page(opened, "html", "us", "--for", "gull-rock").read_text("utf-8")
    assert '<html lang="en-US">' in text and "Wednesday, December 2, 2026" in " ".join(Texts(text).runs)
    assert opened.run("report", "--verify", opened.root / "us.html").out.startswith("YES. ")


def book_texts(root: Path) -> set[str]:
    """Every text the book's files hold, and their names."""
    found: set[str] = set()
    for file in root.rglob("*.yaml"):
        if ".git" not in file.relative_to(root).parts:
            found |= {file.stem, file.relative_to(root).as_posix(), *strings(plain_yaml(file))}
    return found


def plain_yaml(file: Path) -> Any:
    return YAML(typ="safe").load(file)


def people_and_places(impact: Impact) -> set[str]:
    """What is about the proposal and not of the book's files: commits, ids, what people said."""
    own = (impact.title, impact.why, impact.author, impact.proposal, impact.book, impact.book_name)
    waves = tuple(wave.key for wave in impact.effect.waves)
    said = tuple(text for objection in impact.objections for text in (objection.person, objection.note))
    return {*own, *waves, *said, impact.main, impact.tip, impact.edited_from}


@pytest.mark.parametrize(("proposal", "scope"), [("3", "chain"), ("4", "chain"), ("4", "franchise/gull-rock")])
def test_no_word_of_the_demos_reports_goes_past_the_catalogue(proposal: str, scope: str, with_open: World) -> None:
    with open_source(with_open.book) as source:
        impact = impact_of(open_case(source, proposal, DAY), scope)
    with speaking("eo", Pseudo(CYRILLIC)):
        made = render_html(view_of(impact, now=datetime(2026, 11, 25, tzinfo=UTC))).decode()
    assert unsaid_on(made, book_texts(with_open.book) | people_and_places(impact)) == {}
