"""Every kind of page carries a content security policy that forbids script and every request (CSP Level 3)."""

from __future__ import annotations

import base64
import hashlib
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from counter_world import World, own_machine

KINDS = ("report", "sheet", "index", "cards", "allergens", "changed", "preps")


class Head(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.policies: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {k: v or "" for k, v in attrs}
        self.tags.append(tag)
        self.attributes += [(tag, k, v) for k, v in found.items()]
        if tag == "meta" and found.get("http-equiv", "").lower() == "content-security-policy":
            self.policies.append(found["content"])


@pytest.fixture(scope="module")
def pages(with_open: World, played: tuple[World, object], tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """At least one page of each kind, as a site or a manager gets it."""
    folder = tmp_path_factory.mktemp("pages")
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        with_open.run("report", "4", "--as", "html", "--out", folder / "report.html")
        with_open.run("sheet", "saltmarket", "--as", "html", "--out", folder / "sheet.html")
    found = [folder / "report.html", folder / "sheet.html", *played[0].site("saltmarket").rglob("*.html")]
    kinds: dict[str, list[str]] = {}
    for file in found:
        kinds.setdefault(_kind(file), []).append(file.read_text(encoding="utf-8"))
    return kinds


def _kind(file: Path) -> str:
    return next((k for k in KINDS if file.stem.startswith(k)), file.stem)


@pytest.mark.parametrize("kind", KINDS)
def test_it_forbids_all_but_its_own_style(kind: str, pages: dict[str, list[str]]) -> None:
    assert pages.get(kind), sorted(pages)
    for page in pages[kind]:
        head = Head(page)
        [policy] = head.policies
        rules = {d.split()[0]: d.split()[1:] for d in policy.split(";")}
        assert rules["default-src"] == ["'none'"] and rules["base-uri"] == ["'none'"] and rules["form-action"] == ["'none'"]
        assert set(rules) == {"default-src", "style-src", "base-uri", "form-action"}, "nothing is allowed again"
        # CSP Level 3, 6.7.3.3: a style element runs when the digest of its text is listed.
        styles = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
        digests = {f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" for s in styles}
        assert styles and set(rules["style-src"]) == digests


@pytest.mark.parametrize("kind", KINDS)
def test_it_holds_nothing_the_policy_would_have_to_stop(kind: str, pages: dict[str, list[str]]) -> None:
    for page in pages[kind]:
        head = Head(page)
        assert not {"script", "iframe", "object", "embed", "form", "base", "img", "link", "video", "audio"} & set(head.tags)
        for tag, name, value in head.attributes:
            assert not name.startswith("on") and name not in ("src", "srcset", "style", "action", "ping"), (tag, name)
            if name == "href":
                assert not re.match(r"\s*([a-z][a-z0-9+.-]*:|//)", value, re.IGNORECASE), value
        assert page.index("Content-Security-Policy") < page.index("<style"), "the policy comes before what it rules"


def test_no_other_kind_of_page_went_unlooked_at(pages: dict[str, list[str]]) -> None:
    assert set(pages) == set(KINDS)
