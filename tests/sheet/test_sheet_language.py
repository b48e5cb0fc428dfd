"""The sheet in another language: as many facts, warnings and rows, other words; what programs read stays."""

from __future__ import annotations

import csv
import io

import pytest

from specctl.cli.main import main
from specctl.report.tongue import speaking
from specctl.report.words import CAUTIONS, STATUSES, say, status_words
from specctl.resources import demo_book


@pytest.fixture(autouse=True)
def _frozen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SPECCTL_NOW", "2026-11-25T08:30:00Z")
    monkeypatch.setenv("COLUMNS", "80")


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["sheet", "saltmarket", "--book", str(demo_book()), *words]) == 0
    return capsys.readouterr().out


def test_a_german_sheet_warns_as_often_in_german(capsys: pytest.CaptureFixture[str]) -> None:
    english, german = told(capsys, "--as", "html"), told(capsys, "--as", "html", "--language", "de")
    assert '<html lang="de">' in german and '<html lang="en-GB">' in english
    for mark in ("<tr", "<td", "<li", "<h3", "<h4", "<p"):
        assert german.count(mark) == english.count(mark), mark
    for key in CAUTIONS:
        assert say(key) not in german
        with speaking("de"):
            assert say(key) in german
    for status in STATUSES[:3]:
        words = f">{status_words(status)}:<"
        with speaking("de"):
            assert german.count(f">{status_words(status)}:<") == english.count(words)
    # Author's words are left as they are: the market's own caution, the drinks' names.
    assert "Our drinks are made side by side" in german and "Black sesame steamer" in german


def test_what_can_get_in_by_shared_equipment_is_told_in_german(capsys: pytest.CaptureFixture[str]) -> None:
    german = " ".join(told(capsys, "--language", "de").split())
    assert "steam-wand; Harbour mocha und Roasted barley latte enthalten Mandeln" in german
    assert "Harbour mocha, Matcha cloud in four layers und Cocoa base" in german
    assert " contain " not in german and "through " not in german


def test_what_a_program_reads_is_the_same_in_every_language(capsys: pytest.CaptureFixture[str]) -> None:
    assert told(capsys, "--as", "json", "--language", "de") == told(capsys, "--as", "json")
    english, german = (list(csv.reader(io.StringIO(told(capsys, "--as", "csv", *more)))) for more in ((), ("--language", "de")))
    for place in (*range(6), -2, -1):
        assert german[0][place] == english[0][place]
    assert [row[:3] for row in german[1:]] == [row[:3] for row in english[1:]]
    assert german[1][6:] != english[1][6:]


def test_a_language_nobody_wrote_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "saltmarket", "--book", str(demo_book()), "--language", "xx"]) == 2
    assert "Languages: en, de" in capsys.readouterr().err
