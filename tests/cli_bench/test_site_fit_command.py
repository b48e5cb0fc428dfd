"""`site-fit`: a menu in a site's own tools, worst first, in the words of the cards."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from specctl.cli.main import main
from specctl.report.capability_picture import MOST_BARS
from specctl.report.clean import columns

TAKEN = ("spoon-quarter-metric", "scoop-slate", "scoop-teal", "scoop-plum", "spoon-tsp-metric", "jug-100", "jigger-metric")
ORDER = ("no-tool", "outside", "unproven", "within")


@pytest.fixture
def poor(book: Path) -> Path:
    """Dune Cross without its small tools."""
    file = book / "sites/dune-cross.yaml"
    text = file.read_text()
    for tool in TAKEN:
        text = re.sub(rf"  {tool}: .*\n", "", text)
    file.write_text(text)
    return book


def run(book: Path, *words: str) -> int:
    return main(["site-fit", *words, "--book", str(book)])


def told(capsys: pytest.CaptureFixture[str]) -> dict:  # type: ignore[type-arg]
    return json.loads(capsys.readouterr().out)


def test_every_amount_worst_first(poor: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(poor, "dune-cross", "--json") == 1
    fit = told(capsys)
    verdicts = [row["line"]["measure"]["verdict"] for row in fit["amounts"]]
    assert verdicts == sorted(verdicts, key=ORDER.index) and verdicts[0] in ("outside", "no-tool")
    assert sum(fit["counts"].values()) == len(verdicts) > 200
    assert fit["remedies"] and fit["buy"] and fit["scale"]["brings"] == fit["scale"]["of"]
    assert {(r["own"] is not None) for r in fit["remedies"]} == {True, False}


def test_a_site_that_fits_exits_clean(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(book, "northsands-quay", "--json") == 0
    fit = told(capsys)
    assert fit["counts"]["outside"] == 0 and fit["remedies"] == [] and fit["scale"] is None


@pytest.mark.parametrize("width", [80, 120])
def test_one_table_that_nobody_can_misread(
    poor: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setenv("NO_COLOR", "1")
    run(poor, "dune-cross")
    said = capsys.readouterr()
    lines = said.out.split("\n")
    assert max(columns(line) for line in lines) <= width
    assert lines[1].split()[0] == "verdict"
    failing = int(re.search(r"(\d+) OUTSIDE", said.err)[1])  # type: ignore[index]
    assert sum(line.startswith(" OUTSIDE tolerance") for line in lines) == failing > 0
    assert "\x1b" not in said.out


def test_the_card_says_the_same(poor: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    run(poor, "dune-cross", "--json")
    row = told(capsys)["amounts"][0]
    main(["show", row["item"], "--site", "dune-cross", "--json", "--book", str(poor)])
    entry = json.dumps(told(capsys)["entry"], sort_keys=True)
    assert json.dumps(row["line"], sort_keys=True) in entry
    assert "chance" not in entry


def test_all_sites_and_the_chain(poor: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(poor, "--all", "--json") == 1
    sites = told(capsys)["sites"]
    assert len(sites) == 12 and sites[0]["id"] == "dune-cross" and sites[0]["counts"]["outside"] > 0
    assert run(poor, "--chain", "--json") == 1
    items = told(capsys)["items"]
    assert items[0]["outside"] == ["dune-cross"]
    assert any(row["over_cost"].get("GBP") for row in items)


def test_the_chain_as_one_page(poor: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    run(poor, "--chain", "--json")
    items = told(capsys)["items"]
    page = tmp_path / "chain.html"
    assert run(poor, "--chain", "--html", str(page)) == 1
    text = page.read_text(encoding="utf-8")
    assert text.count("<table") == text.count("<svg") == 1 and "<script" not in text and "default-src &#39;none&#39;" in text
    table = text[text.index("<table") : text.index("</table>")]
    assert table.count('<th scope="row"') == len(items)
    assert table.count("outside at dune-cross") == sum(row["outside"] == ["dune-cross"] for row in items) > 0
    # the picture: full for outside and nothing else, as wide as its share of the sites
    svg = text[text.index("<svg") : text.index("</svg>")]
    full = [float(wide) for wide in re.findall(r'width="([0-9.]+)" height="14.0" fill="currentColor"', svg)]
    most = max(row["sites"] for row in items)
    assert full == [pytest.approx(328 * len(row["outside"]) / most, abs=0.06) for row in items[:MOST_BARS] if row["outside"]]
    worst = items[0]
    said = f"{worst['name']}: {len(worst['outside'])} OUTSIDE, {len(worst['unproven'])} not proven, of {worst['sites']} sites."
    assert said in svg[svg.index("<desc") : svg.index("</desc>")]
    assert run(poor, "--chain", "--html", str(tmp_path / "no" / "folder.html")) == 1


def test_the_chain_for_one_franchise_holds_no_other_currency(poor: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(poor, "--chain", "--for", "marram", "--json")
    text = capsys.readouterr().out
    assert "EUR" in text and "GBP" not in text and "USD" not in text


def test_whole_batches(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(book, "dune-cross", "--prep", "hojicha-brew", "--json") == 0
    batch = told(capsys)
    assert batch["batches"] == batch["vessel"]["most_batches"] == 2 and batch["yields_g"] == "1830"
    assert run(book, "dune-cross", "--prep", "hojicha-brew", "--batches", "3") == 1
    assert "at most 2" in capsys.readouterr().err


def test_a_powder_that_flows_badly_is_told(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = book / "ingredients/cocoa.yaml"
    text = file.read_text()
    bulk = re.search(r"bulk_density:\n(  .*\n)+", text)
    assert bulk
    file.write_text(text.replace(bulk[0], bulk[0] + "tapped_density: {is: 0.58 g/ml, from: a test}\n"))
    run(book, "lantern-pier", "--json")
    (flow,) = told(capsys)["flow"]
    assert flow["ingredient"] == "cocoa" and not flow["trusted"]
    file.write_text(text.replace(bulk[0], bulk[0] + "tapped_density: {is: 0.1 g/ml, from: a test}\n"))
    main(["check", "--book", str(book)])
    assert "tapped it is lighter" in capsys.readouterr().out


@pytest.mark.parametrize("words", [(), ("dune-cross", "--all"), ("--all", "--prep", "x"), ("dune-cross", "--batches", "2"), ("dune-cross", "--for", "marram"), ("dune-cross", "--html", "x"), ("--chain", "--json", "--html", "x")])
def test_words_that_do_not_fit(book: Path, words: tuple[str, ...]) -> None:
    assert run(book, *words) == 2


def test_what_stays_in_a_jigger_is_told_where_it_is_poured_from_one(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(book, "saltmarket", "--json")
    rows = [r for r in told(capsys)["amounts"] if r["line"]["of"] == "ingredient/condensed-milk" and not r["choice"]]
    density = float(re.search(r"density:\n  is: ([0-9.]+) g/ml", (book / "ingredients/condensed-milk.yaml").read_text())[1])  # type: ignore[index]
    assert rows
    for row in rows:
        (move,) = row["line"]["measure"]["moves"]
        assert move["tool"] == "jigger-metric" and "4 % of a pour" in row["line"]["measure"]["note"]
        assert float(row["line"]["measure"]["gives"]) == pytest.approx(0.96 * density * float(move["mark"].split()[0]), abs=0.005)


def test_equivalents_for_the_sites_market_and_franchise_only(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(book, "kelp-lane", "--json")
    swaps = told(capsys)["equivalents"]
    assert swaps and {cost["currency"] for swap in swaps for cost in swap["costs"]} == {"EUR"}
    run(book, "northsands-quay", "--json")
    assert told(capsys)["equivalents"] == []
