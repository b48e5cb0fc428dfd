"""Opens a page in a real browser, offline, and says what the browser saw.

Skips with the reason where Chromium or playwright is missing, but fails where
`CI` is set: a check that silently never runs is no check.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import pytest

OUT = Path(__file__).parent / "out"
PHONE, TABLET, DESK = 360, 768, 1280
_ARGUMENTS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Seen:
    """What one opening showed. `requests` leaves out the page itself; `overflow` in px."""

    width: int
    errors: tuple[str, ...]
    requests: tuple[str, ...]
    overflow: int
    widest: str
    text: str
    screenshot: Path


def chromium() -> str:
    """The path of the browser; skips or, under CI, fails without it."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        found = shutil.which(name)
        if found:
            return found
    _without("no Chromium on this machine")


@contextmanager
def opened_browser() -> Iterator[Any]:
    """A running browser; closed at the end."""
    path = chromium()
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _without("playwright is not installed")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(_ARGUMENTS))
        try:
            yield browser
        finally:
            browser.close()


def look(browser: Any, page: Path, width: int, *, dark: bool = False) -> Seen:
    """Opens a file at a width and looks at it; the screenshot goes to `tests/out`."""
    scheme = "dark" if dark else "light"
    tab = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    errors: list[str] = []
    requests: list[str] = []
    tab.on("console", lambda message: errors.append(f"{message.type}: {message.text}"))
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.on("request", lambda request: requests.append(request.url))
    try:
        address = page.resolve().as_uri()
        tab.goto(address)
        OUT.mkdir(exist_ok=True)
        picture = OUT / f"{page.parent.name}-{page.stem}-{width}-{scheme}.png"
        tab.screenshot(path=picture, full_page=True)
        overflow, widest = tab.evaluate(_WIDEST)
        return Seen(
            width=width,
            errors=tuple(errors),
            requests=tuple(url for url in requests if url != address),
            overflow=overflow,
            widest=widest,
            text=tab.inner_text("body"),
            screenshot=picture,
        )
    finally:
        tab.close()


def printed(browser: Any, page: Path, paper: str = "A4") -> Path:
    """Prints a file to a PDF in `tests/out`."""
    tab = browser.new_page()
    try:
        tab.goto(page.resolve().as_uri())
        OUT.mkdir(exist_ok=True)
        target = OUT / f"{page.parent.name}-{page.stem}-{paper.lower()}.pdf"
        tab.pdf(path=target, format=paper, prefer_css_page_size=False)
        return target
    finally:
        tab.close()


_WIDEST = """() => {
  const over = document.documentElement.scrollWidth - window.innerWidth;
  let widest = "", right = window.innerWidth;
  for (const element of document.querySelectorAll("body *")) {
    const edge = element.getBoundingClientRect().right;
    if (edge > right + 0.5) { right = edge; widest = element.tagName + "." + element.className; }
  }
  return [Math.max(0, over), widest];
}"""


def _without(reason: str) -> NoReturn:
    if os.environ.get("CI"):
        pytest.fail(f"{reason}, and CI must look at the pages")
    pytest.skip(reason)
