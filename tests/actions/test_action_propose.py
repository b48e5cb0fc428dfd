"""Proposing: what becomes a commit, what is refused, and that an author's stale files undo nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from chain_world import AUTHOR, SAFETY, SECOND, World, day, git_says, plain_git

from specctl.actions.judging import Findings
from specctl.actions.reporting import impact_of
from specctl.errors import Found, Refused, Stop, Untrusted
from specctl.store.signature import make_key

FROST, FIZZ, PEAR = "drinks/hazelnut-frost.yaml", "drinks/pear-sage-fizz.yaml", "ingredients/pear-juice.yaml"
PASTE, MORE_PASTE = "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}"


def state(clone: Path) -> tuple[str, ...]:
    """Index, branch and every file of a clone, as plain git and the disk have them."""
    files = {
        p.relative_to(clone).as_posix(): p.read_bytes()
        for p in clone.rglob("*")
        if p.is_file() and ".git" not in p.relative_to(clone).parts
    }
    return (
        plain_git(clone, "ls-files", "--stage", "-v"),
        plain_git(clone, "symbolic-ref", "HEAD"),
        plain_git(clone, "rev-parse", "HEAD"),
        plain_git(clone, "stash", "list"),
        repr(sorted(files.items())),
    )


def test_index_branch_and_other_edits_stay_untouched(world: World) -> None:
    plain_git(world.book, "checkout", "-q", "-b", "bench")
    world.edit(FROST, PASTE, MORE_PASTE)
    world.edit(PEAR, "colour:", "# staged only\ncolour:")
    plain_git(world.book, "add", PEAR)
    world.edit(FIZZ, "served_at: 4 °C", "served_at: 3 °C")
    (world.book / "notes.txt").write_text("bought milk\n")
    before = state(world.book)
    made = world.propose(5, "More paste", only=(FROST,))
    assert state(world.book) == before
    assert made.files == (FROST,) and made.pushed
    changed = plain_git(world.book, "diff", "--name-only", made.base, made.commit).split()
    assert changed == [FROST, f"proposals/{made.name}.yaml"]
    assert plain_git(world.origin, "rev-parse", f"proposals/{made.name}") == made.commit


def test_it_states_where_it_was_edited_from(world: World) -> None:
    world.edit(FROST, PASTE, MORE_PASTE)
    made = world.propose(5)
    record = plain_git(world.book, "show", f"{made.commit}:proposals/{made.name}.yaml")
    assert made.base == world.main() and f"edited_from: {made.base}" in record and f"author: {AUTHOR}" in record
    assert f"Edited-from: {made.base}" in plain_git(world.book, "log", "-1", "--format=%B", made.commit)
    assert plain_git(world.book, "rev-list", "--parents", "-1", made.commit).split()[1:] == [made.base]
    assert git_says(world.book, "verify-commit", made.commit)[0] == 0
    assert world.main() == made.base, "proposing moves no main"


def test_the_first_number_is_free_and_the_next_is_one_more(world: World) -> None:
    world.edit(FROST, PASTE, MORE_PASTE)
    one = world.propose(5, "Crème & nuts: 20 % more!")
    world.edit(FIZZ, "served_at: 4 °C", "served_at: 3 °C")
    two = world.propose(5, "Colder", only=(FIZZ,))
    assert (one.name, two.name) == ("2-creme-nuts-20-more", "3-colder")


def test_unnormalised_text_is_refused(world: World) -> None:
    world.edit(FROST, PASTE, "{regular: 20 ml, large: 28 g}")
    with pytest.raises(Found) as stop:
        world.propose(5)
    problems = [p for p in stop.value.problems if p.is_error]
    assert [(p.place.file, p.place.line > 1) for p in problems] == [(FROST, True)]
    assert "proposals/2" not in plain_git(world.book, "branch", "-a")


def test_a_proposal_with_errors_is_refused_and_kept_as_a_draft_when_asked(world: World) -> None:
    world.edit(FROST, "use: hazelnut-paste", "use: hazelnut-past")
    with pytest.raises(Found):
        world.propose(5)
    made = world.propose(5, "Later", draft=True)
    assert made.draft and made.problems
    with world.case(made.name) as case:
        assert case.proposal.draft
    with pytest.raises(Stop):
        world.release(made.name, 6)
    world.edit(FROST, "use: hazelnut-past,", "use: hazelnut-paste,")
    world.edit(FROST, PASTE, MORE_PASTE)
    again = world.propose(6, "", update=made.name)
    assert again.name == made.name and not again.draft
    world.done(made.name, 7)


def test_nothing_to_propose_is_told(world: World) -> None:
    with pytest.raises(Refused, match="nothing differs"):
        world.propose(5)


def test_a_key_main_does_not_know_is_refused(world: World) -> None:
    world.edit(FROST, PASTE, MORE_PASTE)
    make_key(world.root / "stranger", "stranger")
    with pytest.raises(Refused, match="nobody"):
        world.propose(5, key=world.root / "stranger")


def test_unsigned_proposal_commits_are_refused(world: World) -> None:
    """A commit somebody put on the branch by hand, unsigned."""
    world.edit(FROST, PASTE, MORE_PASTE)
    made = world.propose(5)
    blob = plain_git(world.book, "commit-tree", "-p", made.commit, "-m", "slipped in", f"{made.commit}^{{tree}}")
    plain_git(world.book, "update-ref", f"refs/heads/proposals/{made.name}", blob)
    with pytest.raises(Untrusted, match="not signed by anyone"), world.case(made.name) as case:
        Findings(case).judgement
    with pytest.raises(Untrusted):
        world.release(made.name, 6)


def test_signatories_are_proposed_apart_from_recipes(world: World) -> None:
    world.edit(FROST, PASTE, MORE_PASTE)
    world.edit("signatories.yaml", "roles: [food-safety]\n    deputy_for", "roles: [food-safety, drinks]\n    deputy_for")
    with pytest.raises(Refused, match="apart from recipes"):
        world.propose(5)
    made = world.propose(5, "Piet helps", only=("signatories.yaml",))
    assert made.files == ("signatories.yaml",)


# An approved allergen must not come back out of an author's stale work tree.

ADDED = "  contains: [hazelnut]\n  answers_for"


def hazelnut_is_released(world: World) -> None:
    """Isla corrects the pear juice's declaration: it holds hazelnut. Released while the other clone sleeps."""
    world.edit(PEAR, "  contains: []\n  answers_for", ADDED)
    world.edit(FIZZ, "claims: [vegan, vegetarian, dairy-free]", "claims: [vegan, vegetarian]")
    made = world.propose(5, "Pear juice holds hazelnut")
    world.done(made.name, 6)
    assert "contains: [hazelnut]" in world.on_main(PEAR)


def frost_and_juice_edited(world: World) -> None:
    """Tobin's uncommitted edit of the same file, begun before the release."""
    world.edit(PEAR, "opened_life: 4 d", "opened_life: 3 d", world.second)


def kept_or_slowest(world: World, name: str, clone: Path) -> None:
    """The merged result declares hazelnut, with Tobin's edit in it."""
    plain_git(world.book, "fetch", "-q")
    with world.case(name, 8, clone) as case:
        assert case.merged.conflicts == ()
        assert case.book.ingredients["pear-juice"].facts is not None
        assert case.book.ingredients["pear-juice"].facts.contains == {"hazelnut"}
        assert case.book.ingredients["pear-juice"].opened_life == 3 * 86400
        found = Findings(case)
        assert [c for c in found.allergens if c.way == "down"] == []
        rows = {(r.site, r.item) for r in case.effect.rows}
        assert all("hazelnut" in json.dumps(case.compiled.entries[case.compiled.rows[row]]["allergens"]) for row in rows if row[1] == "drink/pear-sage-fizz")


def propose_from_second(world: World) -> str | None:
    """The name of what came of it, or None where it was refused with words."""
    try:
        return world.propose(7, "Pear juice keeps less", world.second, key=world.key(SECOND)).name
    except Refused as refused:
        assert refused.todo and PEAR in refused.what + refused.todo
        return None


@pytest.mark.parametrize("how", ["propose fetches", "fetch and update-ref", "collect moved main", "git pull refuses", "a branch of his own"])
def test_an_approved_allergen_does_not_come_back_out_of_a_stale_work_tree(world: World, how: str) -> None:
    hazelnut_is_released(world)
    frost_and_juice_edited(world)
    if how == "fetch and update-ref":
        plain_git(world.second, "fetch", "-q")
        plain_git(world.second, "update-ref", "refs/heads/main", "refs/remotes/origin/main")
    elif how == "git pull refuses":
        assert git_says(world.second, "pull", "-q", "--ff-only")[0] != 0
    elif how == "a branch of his own":
        plain_git(world.second, "checkout", "-q", "-b", "mine")
        plain_git(world.second, "fetch", "-q")
        plain_git(world.second, "update-ref", "refs/heads/main", "refs/remotes/origin/main")
    elif how == "collect moved main":
        world.edit(FROST, PASTE, MORE_PASTE)
        other = world.propose(6.5, "More paste")
        envelopes = world.sign(other.name, SAFETY, 6.6, purpose="objection", note="why?")
        world.collect(envelopes, 6.7, SECOND, world.second)
    name = propose_from_second(world)
    if name is not None:
        kept_or_slowest(world, name, world.second)
    else:
        assert how in ("fetch and update-ref", "collect moved main"), "a plain author should not be refused here"


def test_files_left_behind_without_any_edit_are_no_edit(world: World) -> None:
    """Main moved by plain git under files nobody touched: proposing another file must not carry the old ones."""
    hazelnut_is_released(world)
    plain_git(world.second, "fetch", "-q")
    plain_git(world.second, "update-ref", "refs/heads/main", "refs/remotes/origin/main")
    world.edit(FROST, PASTE, MORE_PASTE, world.second)
    with pytest.raises(Refused) as stop:
        world.propose(7, "More paste", world.second, key=world.key(SECOND))
    assert PEAR in stop.value.what
    only = world.propose(7, "More paste", world.second, key=world.key(SECOND), only=(FROST,))
    with world.case(only.name, 8, world.second) as case:
        assert case.book.ingredients["pear-juice"].facts.contains == {"hazelnut"}  # type: ignore[union-attr]


def test_a_stale_file_that_was_staged_is_never_a_quiet_removal(world: World) -> None:
    """After `git add` plain git can no longer tell an edit from what was left behind; then the slowest rule asks."""
    hazelnut_is_released(world)
    frost_and_juice_edited(world)
    plain_git(world.second, "fetch", "-q")
    plain_git(world.second, "update-ref", "refs/heads/main", "refs/remotes/origin/main")
    plain_git(world.second, "add", PEAR)
    made = world.propose(7, "Keeps less", world.second, key=world.key(SECOND), only=(PEAR,))
    with world.case(made.name, 8, world.second) as case:
        assert "declaration-down" in {h.change for h in Findings(case).hits}
        removed = [c for c in impact_of(case).allergens if c.way == "down"]
        assert {(c.substance, c.item) for c in removed} == {("hazelnut", "drink/pear-sage-fizz")}


def test_proposing_on_what_stood_in_the_way_can_be_asked_for(world: World) -> None:
    """The refusal names the commit; with it the edit is merged as made on the old state."""
    old = world.main(world.second)
    hazelnut_is_released(world)
    frost_and_juice_edited(world)
    plain_git(world.second, "fetch", "-q")
    plain_git(world.second, "update-ref", "refs/heads/main", "refs/remotes/origin/main")
    made = world.propose(7, "Keeps less", world.second, key=world.key(SECOND), from_commit=old)
    assert made.base == old
    kept_or_slowest(world, made.name, world.second)


def test_a_release_brings_a_clean_work_tree_along(world: World) -> None:
    hazelnut_is_released(world)
    assert plain_git(world.book, "status", "--porcelain") == ""
    assert "hazelnut" in (world.book / PEAR).read_text()
    assert not (world.book / ".git/specctl/behind").exists()


def test_both_edit_one_amount_is_a_conflict_in_words(world: World) -> None:
    world.edit(FROST, PASTE, "{regular: 25 g, large: 28 g}", world.second)
    theirs = world.propose(5, "Theirs", world.second, key=world.key(SECOND))
    world.edit(FROST, PASTE, MORE_PASTE)
    made = world.propose(5, "Ours")
    world.done(made.name, 6)
    with world.case(theirs.name, 7) as case:
        (words,) = impact_of(case).conflicts
        assert FROST in words and "22 g" in words and "25 g" in words and "regular" in words
    with pytest.raises(Refused, match="conflicts"):
        world.sign(theirs.name, SAFETY, 7)
    with pytest.raises(Refused, match="conflicts"):
        world.release(theirs.name, 7)


def test_hazelnut_added_twice_is_judged_as_the_double_dose_it_is(world: World) -> None:
    """Two edits that each add 5 g under names of their own: sign-offs of the second die with the first's release."""
    line = "      powder: {use: skim-milk-powder"
    world.edit(FROST, line, "      nut: {use: hazelnut-paste, amount: 5 g}\n" + line, world.second)
    world.edit(FROST, line, "      hazel: {use: hazelnut-paste, amount: 5 g}\n" + line)
    theirs = world.propose(5, "Theirs", world.second, key=world.key(SECOND))
    ours = world.propose(5, "Ours", update=None)
    plain_git(world.book, "fetch", "-q")
    before = world.sign(theirs.name, SAFETY, 5.5, role=None) if _asked(world, theirs.name, SAFETY) else ()
    with world.case(theirs.name, 5.6) as case:
        signed_over = dict(case.digests)
        assert sum(lines_of_paste(case)) == 2
    world.done(ours.name, 6)
    with world.case(theirs.name, 7) as case:
        assert sum(lines_of_paste(case)) == 3
        assert case.digests["chain"] != signed_over["chain"]
        assert all(e.statement.effect != case.digests[e.statement.scope] for e in before)


def lines_of_paste(case: object) -> list[int]:
    drink = case.book.drinks["hazelnut-frost"]  # type: ignore[attr-defined]
    return [1 for layer in drink.layers.values() for line in layer.lines.values() if line.use == "hazelnut-paste"]


def _asked(world: World, name: str, person: str) -> bool:
    with world.case(name, 5.5) as case:
        return any(person and n.role == "food-safety" for n in Findings(case).needs)


def test_a_comment_is_a_change_of_words_and_moves_no_entry(world: World) -> None:
    world.edit(FROST, "steps:\n", "# said at the bench: ice last\nsteps:\n")
    made = world.propose(5, "A note")
    with world.case(made.name, 6) as case:
        assert case.effect.rows == () and [p for p, _ in case.effect.files] == [FROST]
        assert {h.change for h in Findings(case).hits} == {"text"}
    world.done(made.name, 6)
    assert "# said at the bench: ice last" in world.on_main(FROST)


def test_prices_alone_move_no_entry(world: World) -> None:
    """A law: a change of prices alone changes no entry digest."""
    path = "prices/northsands/price-book.yaml"
    world.edit(path, "price: 38.50 GBP", "price: 77.00 GBP")
    world.edit(path, "price: 13.20 GBP", "price: 14.95 GBP")
    made = world.propose(5, "Dearer nuts")
    with world.case(made.name, 6) as case:
        assert case.effect.rows == ()
        assert dict(case.compiled.rows) == case.ledger.rows
        assert {n.scope for n in Findings(case).needs} == {"franchise/northsands"}
        assert Findings(case).costs["northsands"] and not Findings(case).costs["marram"]
        empty = [f for f in ("marram", "gull-rock") if case.effect_of(f"franchise/{f}").is_empty]
        assert empty == ["marram", "gull-rock"]


def test_the_day_and_the_waves_travel_with_it(world: World) -> None:
    from specctl.actions.proposing import WaveWish

    world.edit(FROST, PASTE, MORE_PASTE)
    waves = (WaveWish("trial", day(12).date(), ("northsands-quay",)), WaveWish("others", day(19).date(), ()))
    made = world.propose(5, "In two steps", start=day(12).date(), waves=waves)
    with world.case(made.name, 6) as case:
        assert [(w.key, w.start, w.sites) for w in case.effect.waves] == [
            ("trial", "2026-11-14", ("northsands-quay",)),
            ("others", "2026-11-21", ("breakwater", "harbour-row", "marram-strand")),
        ]
    world.edit(FROST, MORE_PASTE, "{regular: 23 g, large: 32 g}")
    again = world.propose(6, "", update=made.name, start=None)
    with world.case(again.name, 6) as case:
        assert case.proposal.title == "In two steps" and len(case.effect.waves) == 2
