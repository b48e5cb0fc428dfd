"""A report asked again is answered from what was made; anything it depends on makes it anew."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from counter_world import SECOND, World

from specctl.cli import report_forms, report_kept


@pytest.fixture(autouse=True)
def nothing_kept(opened: World) -> None:
    """What other tests asked of the world these are copies of was kept in it."""
    for space in ("report-1", "report-page-1"):
        shutil.rmtree(opened.book / ".git/specctl/cache" / space, ignore_errors=True)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Each making of a page, by its scope."""
    calls: list[str] = []
    real = report_forms.html_pages
    monkeypatch.setattr(report_forms, "html_pages", lambda impact, day: calls.append(impact.effect.scope) or real(impact, day))
    return calls


def page(world: World, *more: str, now: str | None = None) -> bytes:
    out = world.root / "page.html"
    told = world.run("report", "4", "--as", "html", "--out", out, *more, now=now)
    assert "Effect of " in told.err
    return out.read_bytes()


def files(world: World, space: str) -> list[Path]:
    return [p for p in (world.book / ".git/specctl/cache" / space).rglob("*") if p.is_file()]


def test_the_same_question_is_made_once_and_answered_alike(opened: World, made: list[str]) -> None:
    first = page(opened)
    assert page(opened) == first and made == ["chain"]
    told = [opened.run("report", "4", "--as", "html", "--out", opened.root / "p.html").err for _ in range(2)]
    assert told[0] == told[1] and "Effect of chain: " in told[0]


def test_another_franchise_day_or_main_is_another_page(opened: World, made: list[str]) -> None:
    page(opened)
    page(opened, "--for", "marram")
    page(opened, now="2026-11-26T12:00:00Z")
    opened.run("sign", "4", "--key", opened.key(SECOND))
    assert b"Tobin Hale" in page(opened)
    assert made == ["chain", "franchise/marram", "chain", "chain"]


def test_another_specctl_makes_its_own(opened: World, made: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    page(opened)
    monkeypatch.setattr(report_kept, "_tool", lambda: "another")
    page(opened)
    assert len(made) == 2


def test_what_is_damaged_is_made_again(opened: World, made: list[str]) -> None:
    first = page(opened)
    kept = files(opened, "report-page-1")
    for file in kept:
        file.write_bytes(file.read_bytes()[:-7] + b"no\nfact")
    assert kept and page(opened) == first and len(made) == 2


def test_a_franchises_page_is_kept_without_anothers_prices(opened: World) -> None:
    page(opened, "--for", "northsands")
    kept = b"".join(p.read_bytes() for space in ("report-1", "report-page-1") for p in files(opened, space))
    assert b"Northsands" in kept and b"Marram" not in kept and b"gull-rock" not in kept


def test_only_so_many_are_kept(opened: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report_kept, "_MOST", 2)
    for day in ("26", "27", "28"):
        page(opened, now=f"2026-11-{day}T12:00:00Z")
    assert len(files(opened, "report-1")) == len(files(opened, "report-page-1")) == 2
