"""One page of every kind that specctl makes, as files: what the browser tests open."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import made_bundle as made
from make_impact import NOW, chain, hostile, rich
from test_report_pages import many

from specctl import resources
from specctl.change.compare import Pair, allergens_of, amounts_of, texts_of
from specctl.change.compiled import items_at
from specctl.change.entry import compile_entry
from specctl.change.impact import Impact
from specctl.change.memo import Memo, profile_of
from specctl.cli.main import main
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.report.html import render_html
from specctl.report.pages_folder import render_report
from specctl.report.tongue import speaking
from specctl.report.view import view_of
from specctl.site.pages import Times, make_pages, write_pages
from specctl.store.folder import read_folder

REPORTS = ("report", "report-chain", "report-hostile", "report-released", "report-opening")
PARTS = ("part-first", "part-allergens", "part-amounts")
SITE = ("site-index", "site-card", "site-preps", "site-allergens", "site-changed", "site-stale")
SHEETS = ("sheet-site", "sheet-market")
BENCH = ("capability",)
GERMAN = ("german-report", "german-sheet", "german-stale")
KINDS = (*REPORTS, *PARTS, *SITE, *SHEETS, *BENCH, *GERMAN)


def write_all(folder: Path) -> dict[str, Path]:
    """Name to file, for every one of `KINDS`."""
    found = dict(_reports(folder))
    report = render_report(view_of(many(rich(), 12), now=NOW), most=60_000)
    (folder / report.folder).mkdir()
    for name, data in report.others.items():
        (folder / report.folder / name).write_bytes(data)
    (folder / "part-first.html").write_bytes(report.first)
    found["part-first"] = folder / "part-first.html"
    for name in ("allergens", "amounts"):
        found[f"part-{name}"] = folder / report.folder / f"{name}-1.html"
    write_pages(folder / "site", make_pages(made.bundle_bytes(), Times(made.NOW, made.CONFIRMED)))
    write_pages(folder / "stale", make_pages(made.bundle_bytes(lapsed=True), Times(made.NOW, made.CONFIRMED - timedelta(days=4))))
    for name, file in {"index": "index", "card": "cards", "preps": "preps", "allergens": "allergens", "changed": "changed"}.items():
        found[f"site-{name}"] = folder / "site" / f"{file}.html"
    found["site-stale"] = folder / "stale" / "allergens.html"
    for name, where in {"sheet-site": "saltmarket", "sheet-market": "gb"}.items():
        found[name] = folder / f"{name}.html"
        asked = [where] if name == "sheet-site" else ["--market", where]
        assert main(["sheet", *asked, "--as", "html", "--out", str(found[name]), "--book", str(resources.demo_book())]) == 0
    found["capability"] = folder / "capability.html"
    assert main(["site-fit", "--chain", "--html", str(found["capability"]), "--book", str(resources.demo_book())]) in (0, 1)
    found |= _german(folder)
    assert set(found) == set(KINDS)
    return found


def _german(folder: Path) -> dict[str, Path]:
    """Words that are longer than the English ones."""
    found = {name: folder / f"{name}.html" for name in GERMAN}
    with speaking("de"):
        found["german-report"].write_bytes(render_html(view_of(chain(), now=NOW)))
    asked = ["saltmarket", "--language", "de", "--as", "html", "--out", str(found["german-sheet"])]
    assert main(["sheet", *asked, "--book", str(resources.demo_book())]) == 0
    bundle = json.dumps({**made.bundle_value(lapsed=True), "language": "de"}).encode()
    stale = make_pages(bundle, Times(made.NOW, made.CONFIRMED - timedelta(days=4)))
    found["german-stale"].write_bytes(stale["allergens.html"])
    return found


def _reports(folder: Path) -> Iterator[tuple[str, Path]]:
    impacts = {
        "report": rich(),
        "report-chain": chain(),
        "report-hostile": hostile(),
        "report-released": rich(state="released", release=7),
        "report-opening": opening(),
    }
    for name, impact in impacts.items():
        path = folder / f"{name}.html"
        path.write_bytes(render_html(view_of(impact, now=NOW)))
        yield name, path


def opening() -> Impact:
    """The first report of a book: three drinks of the demo book, at one counter with scoops only."""
    book = load(read_folder(resources.demo_book(), is_readable)).book
    assert book is not None
    site = book.sites["saltmarket"]
    profile, memo = profile_of(book, site), Memo(book)
    items = [item for item in items_at(book, site) if item.startswith("drink/")][:3]
    pairs = [Pair(item, None, compile_entry(memo, profile, item), ("saltmarket",)) for item in items]
    return rich(
        amounts=amounts_of(pairs), allergens=allergens_of(pairs), texts=texts_of(pairs), hindrances=(), costs=(), through=(), menu=()
    )
