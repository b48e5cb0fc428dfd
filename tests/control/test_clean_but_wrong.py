"""What merges cleanly and is wrong does not pass: many drawn cases of each kind, each edit sound alone.

Each pair is stopped by a conflict or by the check of the merged whole, or it is
named as moving one thing twice; and when one of the two is on main, what was
signed for the other no longer counts. `git merge-file` on the same texts says
that a merge by lines would have let them through.
"""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import pytest
from chain_world import AUTHOR, World, day, git_says, plain_git
from forge import commit_of
from small_book import small_files
from wrong_together import FIZZ, FROST, KINDS, MILK, SYRUP, Wrong, wrongs

from specctl.actions.case import Case
from specctl.actions.checking import check_files
from specctl.actions.colliding import collisions
from specctl.actions.drivers import join
from specctl.actions.merging import merge_trees
from specctl.actions.proposing import ProposeWish, propose
from specctl.actions.settling import SettleWish, settle
from specctl.change.collision import doubled, only_together, totals
from specctl.codec.load import Loaded, load
from specctl.errors import Found
from specctl.problem import Problem, errors_of

TODAY = date(2026, 11, 7)
BASE = small_files()
CASES = wrongs(BASE, 5, 20261125)
# How each kind is stopped: by conflict or check at once; else it is named, and its signatures are void.
STOPPED_AT_ONCE = {"overflow", "no room to top", "dangling step", "dangling choice", "gone under use", "id twice"}


class Kept:
    """What is read once is kept, as a clone keeps it."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], bytes] = {}
        self.memory: dict[tuple[str, str], object] = {}

    def get(self, namespace: str, key: str) -> bytes | None:
        return self.kept.get((namespace, key))

    def put(self, namespace: str, key: str, value: bytes) -> None:
        self.kept[namespace, key] = value


SHELF = Kept()


def read(files: Mapping[str, bytes]) -> tuple[Loaded, list[Problem]]:
    loaded = load(files, SHELF)
    return loaded, check_files(files, loaded, TODAY)


@pytest.mark.parametrize("kind", KINDS)
def test_what_passes_alone_does_not_pass_together(kind: str) -> None:
    main, known = read(BASE)
    for case in (c for c in CASES if c.kind == kind):
        (one, first), (two, second) = read(case.one), read(case.two)
        assert errors_of(first) == errors_of(second) == [], "each edit must be sound alone, or the case shows nothing"
        merged = merge_trees(BASE, case.one, case.two, SHELF)
        if merged.conflicts:
            continue
        both, problems = read(merged.files)
        together = errors_of(list(only_together(known, first, second, problems)))
        assert together or kind not in STOPPED_AT_ONCE, case
        assert main.book and one.book and two.book and (both.book or together)
        if not together:
            assert both.book is not None
            assert list(doubled(totals(main.book), totals(one.book), totals(two.book), totals(both.book))), case


def test_a_merge_by_lines_lets_most_of_them_through(tmp_path: Path) -> None:
    """Without this the cases above might be such as no merge lets through."""
    clean = dict.fromkeys(KINDS, 0)
    for case in CASES:
        codes = []
        for path in sorted(p for p in BASE.keys() | case.one.keys() | case.two.keys() if case.one.get(p) != case.two.get(p)):
            for name, side in (("base", BASE), ("one", case.one), ("two", case.two)):
                (tmp_path / name).write_bytes(side.get(path, b""))
            gone = path in BASE and (path not in case.one or path not in case.two)
            done = subprocess.run(["git", "merge-file", "-p", "-q", "one", "base", "two"], cwd=tmp_path, capture_output=True, check=False)
            codes.append(0 if gone else done.returncode)
        clean[case.kind] += codes and not any(codes)
    assert sum(clean.values()) > len(CASES) // 2, clean
    assert sum(1 for n in clean.values() if n) >= 6, clean


def test_plain_git_by_our_driver_lets_none_through_either() -> None:
    """Joined as `git merge` joins them, by the installed driver: in dispute, or found by the check that `propose` runs, or named."""
    main, _ = read(BASE)
    seen = 0
    for case in CASES[::3]:
        files = dict(BASE)
        open_ones: tuple[str, ...] = ()
        for path in sorted(BASE.keys() | case.one.keys() | case.two.keys()):
            b, o, t = (side.get(path) for side in (BASE, case.one, case.two))
            if o == b or o == t or t == b:
                kept = t if o == b else o
                files.pop(path, None)
                files |= {} if kept is None else {path: kept}
            else:
                joined = join(b or b"", o or b"", t or b"", path)
                files[path], open_ones = joined.text, (*open_ones, *joined.open)
        loaded, problems = read(files)
        if open_ones:
            assert errors_of(problems), "what is left in dispute must not read as a record"
        elif not errors_of(problems):
            assert case.kind not in STOPPED_AT_ONCE and loaded.book is not None and main.book is not None
            one, two = read(case.one)[0].book, read(case.two)[0].book
            assert one and two and list(doubled(totals(main.book), totals(one), totals(two), totals(loaded.book)))
        seen += 1
    assert seen >= 15


def on_branch(world: World, number: int, files: Mapping[str, bytes], base: str, start: str) -> str:
    """An open proposal by plain git: a branch with its file; unsigned, which only `release` would mind."""
    name = f"{number}-edit"
    record = f"title: An edit\nwhy: It was asked for.\nstart: {start}\nedited_from: {base}\nauthor: {AUTHOR}\n".encode()
    changed: dict[str, bytes | None] = {p: d for p, d in files.items() if BASE.get(p) != d}
    changed |= {p: None for p in BASE if p not in files}
    commit = commit_of(world, {**changed, f"proposals/{name}.yaml": record}, key=None, at=5, parents=(base,))
    plain_git(world.book, "update-ref", f"refs/heads/proposals/{name}", commit)
    return name


@pytest.fixture(scope="module")
def every(_made: World, tmp_path_factory: pytest.TempPathFactory) -> World:
    """One world for all cases: they only look."""
    root = tmp_path_factory.mktemp("wrong")
    plain_git(_made.root, "clone", "-q", "--no-local", "book", str(root / "book"))
    plain_git(root / "book", "remote", "remove", "origin")
    return World(root, _made.keys)


def own(case: Wrong, main: Mapping[str, bytes]) -> Wrong:
    """The case on this world's main, whose fizz has another name by now."""
    moved = {p: d for p, d in main.items() if BASE.get(p) != d}
    names = (b"name: Pear and sage fizz", b"name: Pear with sage, sparkling")
    sides = [{p: d.replace(*names) if p == FIZZ else moved.get(p, d) for p, d in side.items()} for side in (case.one, case.two)]
    return Wrong(case.kind, *sides)


@pytest.mark.parametrize("kind", [*KINDS, "crossing starts"])
def test_named_while_both_are_open_and_void_when_one_is_in(every: World, kind: str) -> None:
    base = every.main()
    case = next(c for c in CASES if c.kind == ("double amount" if kind == "crossing starts" else kind))
    main_files = {p: plain_git(every.book, "show", f"{base}:{p}").encode() + b"\n" for p in (FIZZ, "signatories.yaml")}
    case = own(case, {**BASE, **main_files})
    starts = ("2026-12-02", "2026-12-01" if kind == "crossing starts" else "2026-12-02")
    names = [on_branch(every, n, side, base, start) for n, side, start in ((71, case.one, starts[0]), (72, case.two, starts[1]))]
    try:
        with every.open() as source:
            told = collisions(source, day(6).date())
            assert set(told.compared) == set(names), (told.left_out, kind)
            assert told.found, kind
            if kind == "crossing starts":
                assert any(c.kind == "crossing-starts" and "72-edit" in c.what for c in told.found)
            repository = source.in_git()
            tips = repository.proposal_tips()
            first, second = (Case(repository, n, tips[n], base, base, day(6).date()) for n in names)
            signed = second.digests
            later = commit_of(every, {p: first.merged.files.get(p) for p in first.merged.changed}, key=None, at=6, parents=(base,))
            again = Case(repository, names[1], tips[names[1]], later, base, day(6).date())
            if not again.merged.conflicts and not errors_of(list(again.problems)):
                assert again.digests["chain"] != signed["chain"], "what was signed must not count for the sum of both"
            else:
                assert kind != "crossing starts"
    finally:
        for name in names:
            plain_git(every.book, "update-ref", "-d", f"refs/heads/proposals/{name}")


def test_settled_into_an_overflow_is_refused(world: World) -> None:
    """The conflict is settled either way, and the cup is too small both times: nothing is changed."""
    main = world.main()
    milk = f"milk: {{use: skim-milk, amount: {{regular: {110 + 80} g, large: 150 g}}}}"
    syrup = f"syrup: {{use: sugar-syrup, amount: {{regular: {20 + 80} g, large: 27 g}}}}"
    world.edit(FROST, MILK, milk)
    world.edit(FROST, "name: Hazelnut frost", "name: Hazelnut snow")
    opened = world.propose(5, "Milkier")
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.edit(FROST, SYRUP, syrup)
    world.edit(FROST, "name: Hazelnut frost", "name: Hazelnut rime")
    world.done(world.propose(5.1, "Sweeter").name, 6)
    before = plain_git(world.book, "for-each-ref")
    for take in ("main", "proposal"):
        with world.open() as source, pytest.raises(Found) as stopped:
            settle(source, opened.name, SettleWish((FROST,), take, "Tasted at the bench.", day(7), world.key(AUTHOR)))
        assert "cup-overflow" in {p.code for p in stopped.value.problems}
    assert plain_git(world.book, "for-each-ref") == before and world.main() != main


def test_a_plain_git_merge_that_overflows_is_not_proposed(world: World) -> None:
    """git and our driver join the two pours, for nothing is in dispute; the whole does not pass."""
    for name, edit in (("one", (MILK, MILK.replace("110", "190"))), ("two", (SYRUP, SYRUP.replace("20 g", "100 g")))):
        plain_git(world.book, "checkout", "-q", "-b", name, "main")
        world.edit(FROST, *edit)
        plain_git(world.book, "commit", "-q", "-a", "--no-gpg-sign", "-m", name)
    code, said = git_says(world.book, "-c", "user.name=x", "-c", "user.email=x@invalid", "merge", "--no-gpg-sign", "-m", "x", "one")
    assert code == 0, said
    text = (world.book / FROST).read_text()
    plain_git(world.book, "checkout", "-q", "main")
    (world.book / FROST).write_text(text)
    with world.open() as source, pytest.raises(Found) as stopped:
        propose(source, ProposeWish("Both", "Asked for.", day(5), start=day(12).date(), key=world.key(AUTHOR)))
    assert "cup-overflow" in {p.code for p in stopped.value.problems}
