"""Plain `git merge` and `git diff` do the right thing with records, by drivers `init` sets up.

The judge is git itself: its exit code, its list of unmerged paths, the text it
leaves; and, for what a merge by lines gets wrong, `git merge-file` beside ours.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from chain_world import World, git_says, plain_git
from forge import FIZZ, FROST, PASTE

from specctl.actions.drivers import fact_text, install, join
from specctl.codec import yamltext

SYRUP = "syrup: {use: sugar-syrup, amount: {regular: 20 g, large: 27 g}}"


def branch(world: World, name: str, edits: list[tuple[str, str]], path: str = FROST) -> None:
    plain_git(world.book, "checkout", "-q", "-b", name, "main")
    for before, after in edits:
        world.edit(path, before, after)
    plain_git(world.book, "commit", "-q", "-a", "--no-gpg-sign", "-m", name)


def merged(world: World) -> tuple[int, str, str]:
    """Merge two into one with plain git: its code, what it said, the file."""
    plain_git(world.book, "checkout", "-q", "one")
    code, said = git_says(world.book, "-c", "user.name=x", "-c", "user.email=x@invalid", "merge", "--no-gpg-sign", "-m", "x", "two")
    return code, said, (world.book / FROST).read_text(encoding="utf-8")


def test_neighbouring_lines_are_no_conflict(world: World) -> None:
    """Two lines that stand beside each other: a merge by lines conflicts, a merge by meaning does not."""
    branch(world, "one", [(PASTE, "{regular: 22 g, large: 28 g}")])
    branch(world, "two", [("amount: {regular: 12 g, large: 16 g}", "amount: {regular: 13 g, large: 16 g}")])
    code, said, text = merged(world)
    assert code == 0, said
    assert "{regular: 22 g, large: 28 g}" in text and "{regular: 13 g, large: 16 g}" in text
    assert "# the oat drink of a choice may be Skerry's" in text


def test_the_same_line_by_lines_would_conflict(world: World, tmp_path: Path) -> None:
    """The counter-check: git's own merge of these texts has a conflict."""
    text = world.on_main(FROST)
    sides = {"base": text, "one": text.replace(PASTE, "{regular: 22 g, large: 28 g}"), "two": text.replace("{regular: 12 g, large: 16 g}", "{regular: 13 g, large: 16 g}")}
    for name, content in sides.items():
        (tmp_path / name).write_text(content)
    done = subprocess.run(["git", "merge-file", "-p", "one", "base", "two"], cwd=tmp_path, capture_output=True)
    assert done.returncode == 1


def test_two_sizes_of_one_line_join(world: World) -> None:
    branch(world, "one", [(PASTE, "{regular: 22 g, large: 28 g}")])
    branch(world, "two", [(PASTE, "{regular: 20 g, large: 30 g}")])
    code, said, text = merged(world)
    assert code == 0 and "{regular: 22 g, large: 30 g}" in text, said


def test_one_fact_moved_apart_stays_unmerged_and_unreadable(world: World) -> None:
    branch(world, "one", [(PASTE, "{regular: 22 g, large: 28 g}")])
    branch(world, "two", [(PASTE, "{regular: 26 g, large: 28 g}")])
    code, said, text = merged(world)
    assert code == 1 and "ours has 22 g, theirs has 26 g" in said
    assert plain_git(world.book, "diff", "--name-only", "--diff-filter=U") == FROST
    assert yamltext.read(text.encode(), FROST)[1], "what is left must not read as a record"


def test_what_merges_by_lines_and_is_wrong_is_stopped(world: World) -> None:
    """One takes a line away, the other moves its amount elsewhere in the text: edit against delete."""
    base = world.on_main(FROST).encode()
    ours = base.replace(f"      {SYRUP}\n".encode(), b"")
    theirs = base.replace(SYRUP.encode(), SYRUP.replace("27 g", "25 g").encode())
    joined = join(base, ours, theirs, FROST)
    assert joined.open and b"<<<<<<<" in joined.text


def test_both_brought_it_in(world: World) -> None:
    text = world.on_main(FIZZ).encode()
    assert join(b"", text, text.replace(b"sparkling", b"still"), "drinks/new.yaml").open
    assert join(b"", text, text, "drinks/new.yaml").open == ()


@pytest.mark.parametrize("data", [b"", b"\xff\xfe", b"a: [1, 2", b"a: &x 1\nb: *x\n", b"{" * 4000])
def test_rubbish_is_never_joined(world: World, data: bytes) -> None:
    text = world.on_main(FROST).encode()
    joined = join(text, text.replace(b"regular: 20 g, large: 28 g", b"regular: 21 g, large: 28 g"), data, FROST)
    assert joined.open or joined.text == text
    assert fact_text(data) is not None


def test_a_diff_shows_facts_not_layout(world: World) -> None:
    text = (world.book / FROST).read_text()
    (world.book / FROST).write_text(text.replace(PASTE, "{regular: 0.02 kg, large: 28 g}").replace("for: 30 s", "for: 0.5 min"))
    assert plain_git(world.book, "diff", "--", FROST) == ""
    (world.book / FROST).write_text(text.replace(PASTE, "{regular: 22 g, large: 28 g}"))
    told = [line for line in plain_git(world.book, "diff", "--", FROST).splitlines() if line[:1] in "+-" and line[:3] not in ("+++", "---")]
    assert told == ["-layers/frost/lines/paste/amount/regular: 20 g", "+layers/frost/lines/paste/amount/regular: 22 g"]


def test_setting_up_twice_is_setting_up_once(world: World) -> None:
    def state() -> tuple[str, str]:
        local = world.book / ".git/info/attributes"
        return (world.book / ".git/config").read_text(), local.read_text() if local.exists() else ""

    before = state()
    with world.open() as source:
        install(source.in_git())
        assert state() == before
    (world.book / ".gitattributes").unlink()
    with world.open() as source:
        install(source.in_git())
        install(source.in_git())
    assert state()[1].count("merge=specctl") == 1
