"""Names somebody else wrote: nothing that steers a screen, a page or a spreadsheet reaches any stream or file."""

from __future__ import annotations

import html.parser
import json
import re
import shutil
import unicodedata
from pathlib import Path

import pytest
from counter_world import AUTHOR, EVERYONE, World, copied, run, tree_bytes

from specctl import resources

FIZZ = "drinks/pear-sage-fizz.yaml"
# What no text may hold: C0, C1 and DEL (ECMA-48), and Unicode's format, surrogate, private and unassigned characters.
STEERING = {"Cc", "Cf", "Cs", "Co", "Cn"}
HIDING = {
    "escape": "\x1b]0;owned\x07\x1b[2J", "bell": "\x07", "c1": "\x9b31m", "delete": "\x7f", "bidi": "\u202enut\u202c", "isolate": "\u2066x\u2069",
    "zero width": "nu\u200bt", "tag": "nut\U000e0041", "private": "\ue000", "line": "a\u2028b", "return": "safe\rCONTAINS",
    "backspace": "milk\b\b\b\b", "new line": "a\nb",
}  # fmt: skip
PRINTABLE = {
    "html": "<script>alert(1)</script><img src=x onerror=alert(2)>", "attribute": "\" onmouseover=\"alert(1)\" x='",
    "markdown": "[free](javascript:alert(1)) | **x** | `y` <!-- --> # z", "rich": "[bold red]x[/] [link=https://tidewick.example]y[/link] :skull:",
    "formula": "=HYPERLINK(\"https://tidewick.example\",\"x\")", "plus": "+1+cmd|' /C calc'!A0", "braces": "{{ 7*7 }} {% raw %} ${x} %s {0}",
    "entity": "&lt;b&gt; &amp;#x202e;",
}  # fmt: skip


def steering(text: str) -> list[str]:
    return [f"U+{ord(c):04X}" for c in text if c != "\n" and unicodedata.category(c) in STEERING or c in "\u2028\u2029"]


def quoted(text: str) -> str:
    """As a double-quoted scalar with the escapes of YAML 1.2, section 5.7."""
    return '"' + "".join(c if " " <= c <= "~" and c not in '\\"' else f"\\U{ord(c):08x}" for c in text) + '"'


def renamed(world: World, name: str) -> None:
    text = (world.book / FIZZ).read_text(encoding="utf-8")
    assert text.count("name: Pear and sage fizz") == 1
    (world.book / FIZZ).write_text(text.replace("name: Pear and sage fizz", f"name: {name}"), encoding="utf-8")


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> World:
    root = tmp_path_factory.mktemp("plain")
    shutil.copytree(resources.demo_book(), root / "book")
    return World(root)


@pytest.mark.parametrize("form", ["escaped", "raw"])
def test_what_hides_is_found_and_never_written_out(form: str, plain: World) -> None:
    """One drink a kind, so that each must be found by itself in one run."""
    drinks = sorted((plain.book / "drinks").glob("*.yaml"))
    kept = {file: file.read_bytes() for file in drinks}
    kinds = dict(zip(drinks, [k for k in HIDING if k != "new line"], strict=False))
    assert len(kinds) == len(HIDING) - 1, "a drink for every kind"
    try:
        for file, kind in kinds.items():
            hostile = quoted(HIDING[kind]) if form == "escaped" else f'"{HIDING[kind]}"'
            text, count = re.subn(r"(?m)^name: .*$", lambda _, to=hostile: f"name: {to}", kept[file].decode("utf-8"), count=1)
            assert count == 1
            file.write_bytes(text.encode("utf-8"))
        told, listed = plain.run("check", code=1), plain.run("check", "--json", code=1)
        for said in (told, listed, plain.run("show", drinks[0].stem, code=None)):
            assert not steering(said.both), steering(said.both)
        found = {p["file"] for p in listed.json["problems"] if p["severity"] == "error" and p["line"] in (2, 3)}
        missed = [kind for file, kind in kinds.items() if f"drinks/{file.name}" not in found]
        assert not missed
    finally:
        for file, data in kept.items():
            file.write_bytes(data)


def test_half_a_character_is_a_problem_too(plain: World) -> None:
    copy = (plain.book / FIZZ).read_bytes()
    try:
        renamed(plain, '"nut\\ud800"')
        told = plain.run("check", code=None)
        assert told.code == 1 and f"{FIZZ}:2:" in told.out
    finally:
        (plain.book / FIZZ).write_bytes(copy)


def test_a_refused_proposal_and_a_title_say_nothing_raw(world: World) -> None:
    everything = " ".join(HIDING.values())
    renamed(world, quoted(everything))
    for told in (world.propose("Renamed", code=1), world.propose(everything, "--draft", code=None), world.run("proposals", code=None)):
        assert not steering(told.both), steering(told.both)


@pytest.mark.parametrize("hostile", [HIDING["escape"], HIDING["bidi"], "".join(HIDING.values())], ids=["escape", "bidi", "all"])
def test_arguments_that_hide_are_not_said_back_raw(hostile: str, with_open: World, tmp_path: Path) -> None:
    b = ("--book", with_open.book)
    for words in (
        ("show", hostile, *b), ("trace", hostile, *b), ("report", hostile, *b), ("report", "4", "--for", hostile, *b), ("report", "4", "--as", hostile, *b),
        ("in-force", hostile, *b), ("in-force", "saltmarket", hostile, *b), ("in-force", "saltmarket", "--at", hostile, *b),
        ("propose", "T", "--why", "w", "--start", hostile, *b), ("propose", "T", "--why", "w", "--wave", hostile, *b),
        ("check", "--book", tmp_path / hostile), ("card", hostile, "--state", tmp_path), ("pull", hostile, "--site", hostile, "--state", tmp_path / "s"),
        ("normalise", "--look", "--bench", hostile, *b), ("show", "pear-sage-fizz", "--site", hostile, *b), (hostile,), ("check", f"--{hostile}"),
    ):  # fmt: skip
        told = run(*words, code=None)
        assert told.code in (1, 2), words
        assert not steering(told.both), (words, steering(told.both), told.err)


def test_what_a_person_says_is_shown_harmless(opened: World) -> None:
    key = opened.key("maren-oduya")
    told = opened.run("object", "4", "--key", key, "--note", "no " + " ".join(HIDING.values()), code=None)
    assert not steering(told.both)
    for form in ("terminal", "html", "markdown", "json"):
        assert not steering(opened.run("report", "4", "--as", form).both), form
    assert not steering(opened.run("release", "4", code=1).both)
    opened.run("object", "4", "--key", key, "--note", " ".join(PRINTABLE.values()))
    assert opened.run("object", "4", "--key", key, "--note", "x" * 50_000, code=1).out == ""
    page = opened.run("report", "4", "--as", "html").out
    assert "<script" not in page and "<img" not in page and "alert(1)</script>" not in page


class Tags(html.parser.HTMLParser):
    """The tags, attributes and text of a page as Python's own parser reads them."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: set[str] = set()
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.add(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


def harmless(page: str) -> Tags:
    assert not steering(page.replace("\t", " "))
    tags = Tags(page)
    assert not tags.found & {"script", "img", "iframe", "object", "embed", "form", "input", "base"}, tags.found
    for name, value in tags.attributes:
        assert not name.startswith("on") and name not in ("srcdoc",)
        assert not (value or "").strip().lower().startswith(("javascript:", "data:text")), (name, value)
        if name in ("href", "src"):
            assert not (value or "").startswith(("http:", "https:", "//")), value
    return tags


@pytest.fixture(scope="module")
def all_printable(played: tuple[World, object], tmp_path_factory: pytest.TempPathFactory) -> World:
    """The whole loop with every printable payload in a name, a step, a note, the title and the reason."""
    made = copied(played[0], tmp_path_factory.mktemp("printable"), "book", "origin.git", "keys", "packs", "publishing-keys")
    joined = " ~ ".join(PRINTABLE.values())
    names = list(PRINTABLE.values())
    with pytest.MonkeyPatch.context() as patch:
        from counter_world import own_machine

        own_machine(patch, tmp_path_factory.mktemp("home"))
        made.edit(FIZZ, "name: Pear and sage fizz", f"name: {quoted(names[0])}")
        made.edit(FIZZ, "name: Glass,", f"name: {quoted(names[1])},")
        made.edit(FIZZ, "do: Put the sage syrup in the glass.", f"do: {quoted(joined)}")
        made.edit(FIZZ, "name: A dried pear chip", f"name: {quoted(names[3])}")
        made.edit(FIZZ, "name: Sage syrup", f"name: {quoted(names[4])}")
        made.edit(FIZZ, "name: Sparkling water", f"name: {quoted(names[5])}")
        made.edit(FIZZ, "amount: 25 g", "amount: 27 g")
        made.edit("sites/saltmarket.yaml", "name: Saltmarket", f"name: {quoted(names[2])}")
        made.run("propose", names[0] + names[2], "--why", joined, "--start", "2026-11-26")
        for person in EVERYONE:
            told = made.run("sign", "4", "--key", made.key(person), "--note", names[6], code=None)
            assert told.code == 0 or "no signature" in told.err, told.err
        # Kept for the tests of the open report, before it is released.
        for form in ("html", "markdown", "json", "terminal"):
            made.run("report", "4", "--as", form, "--out", made.root / f"open.{form}")
        made.run("release", "4")
        made.run("publish", made.packs, "--keys", made.publishing_keys)
        run("pull", made.packs, "--site", "saltmarket", "--root", made.first_root, "--state", made.site("saltmarket"), now="2026-11-26T12:00:00Z")
    return made


def test_pages_of_a_report_mean_only_what_they_say(all_printable: World) -> None:
    tags = harmless((all_printable.root / "open.html").read_text(encoding="utf-8"))
    text = " ".join(tags.text.split())
    for name in (PRINTABLE["html"], PRINTABLE["markdown"]):
        assert " ".join(name.split()) in text, "shown as it is written, not swallowed"
    terminal = (all_printable.root / "open.terminal").read_text(encoding="utf-8")
    assert not steering(terminal) and "[bold red]" in " ".join(terminal.split())
    shown = json.loads((all_printable.root / "open.json").read_text(encoding="utf-8"))
    assert shown["title"].startswith(PRINTABLE["html"])
    markdown = (all_printable.root / "open.markdown").read_text(encoding="utf-8")
    # CommonMark 0.31, section 2.4: a backslash takes the meaning from any ASCII punctuation.
    assert not steering(markdown)
    bare = re.sub(r"\\[!-/:-@\[-`{-~]", "", markdown)
    for raw in ("<script", "<img", "](javascript", "[free]", "**x**"):
        assert raw not in bare, raw


def test_pages_at_a_site_mean_only_what_they_say(all_printable: World) -> None:
    pages = tree_bytes(all_printable.site("saltmarket") / "pages")
    assert len(pages) >= 10
    shown = ""
    for name, data in pages.items():
        text = data.decode("utf-8")
        assert not steering(text), name
        if name.endswith(".html"):
            shown += harmless(text).text
    assert " ".join(PRINTABLE["html"].split()) in " ".join(shown.split())


def test_screens_of_every_read_verb(all_printable: World) -> None:
    state = ("--state", all_printable.site("saltmarket"))
    for words in (
        ("check",), ("show", "pear-sage-fizz", "--site", "saltmarket"), ("trace", "pear-juice"), ("proposals",), ("in-force", "saltmarket", "pear-sage-fizz", "--at", "2026-11-27"),
        ("normalise", "--look"), ("report", "4"),
    ):  # fmt: skip
        for more in ((), ("--json",)):
            told = all_printable.run(*words, *more, code=None)  # type: ignore[arg-type]
            assert told.code == 0, (words, told.err)
            assert not steering(told.both), words
    told = run("card", "pear-sage-fizz", *state, now="2026-11-27T12:00:00Z")
    assert not steering(told.both) and "<script>" in told.out
    assert all_printable.key(AUTHOR).is_file()
