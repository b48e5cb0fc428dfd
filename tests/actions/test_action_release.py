"""Releasing: refused until everything holds on the merged result, then one signed commit that plain git accepts."""

from __future__ import annotations

import json
import subprocess
import threading
from pathlib import Path

import pytest
from chain_world import AUTHOR, MANAGERS, SAFETY, SECOND, World, day, git_says, plain_git

from specctl.canonical import digest_of
from specctl.change.record import read_release
from specctl.errors import Found, LostRace, NotFound, Refused, Stop

FROST, FIZZ = "drinks/hazelnut-frost.yaml", "drinks/pear-sage-fizz.yaml"
PASTE, MORE_PASTE = "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}"


@pytest.fixture
def proposed(world: World) -> str:
    world.edit(FROST, PASTE, MORE_PASTE)
    return world.propose(5, "More paste").name


def refused(world: World, name: str, at: float = 7, person: str = AUTHOR) -> str:
    """The words of the refusal; main must stand where it stood, here and at origin."""
    before = world.main(), plain_git(world.origin, "rev-parse", "main")
    with pytest.raises(Stop) as stop:
        world.release(name, at, person)
    assert (world.main(), plain_git(world.origin, "rev-parse", "main")) == before
    assert plain_git(world.book, "tag", "-l", "release/2") == ""
    return stop.value.what


def test_refused_while_needs_are_open(world: World, proposed: str) -> None:
    assert "drinks for chain" in refused(world, proposed)
    world.signed(proposed, 6, SECOND, MANAGERS["northsands"], MANAGERS["marram"])
    words = refused(world, proposed)
    assert "franchise-manager for franchise/gull-rock" in words and "marram" not in words


def test_refused_for_who_may_not_release(world: World, proposed: str) -> None:
    world.signed(proposed, 6)
    assert "may not release" in refused(world, proposed, person=SECOND)
    assert "may not release" in refused(world, proposed, person=SAFETY)


def test_refused_while_somebody_objects(world: World, proposed: str) -> None:
    world.signed(proposed, 6)
    world.collect(world.sign(proposed, MANAGERS["marram"], 6.1, purpose="objection", note="Not in Advent."), 6.2)
    assert "objection by aoife-tarn: Not in Advent." in refused(world, proposed)


def test_refused_for_what_is_no_proposal(world: World) -> None:
    for which in ("99", "main", "../main", "release/1", ""):
        with pytest.raises(NotFound):
            world.release(which, 7)


def test_refused_once_released(world: World, proposed: str) -> None:
    world.done(proposed, 6)
    with pytest.raises(Refused, match="already released"):
        world.release(proposed, 7)


def test_refused_when_the_whole_no_longer_holds(world: World) -> None:
    """Each half is sound by itself: one says a drink is made without hazelnut, the other finds hazelnut in its juice."""
    world.edit("ingredients/pear-juice.yaml", "  contains: []\n  answers_for", "  contains: [hazelnut]\n  answers_for", world.second)
    juice = world.propose(5, "Hazelnut in the juice", world.second, key=world.key(SECOND))
    world.edit("book.yaml", "claims:\n", "claims:\n  nut-free:\n    name: Made without hazelnut\n    forbids: [hazelnut]\n")
    world.edit(FIZZ, "claims: [vegan", "claims: [nut-free, vegan")
    claim = world.propose(5, "Says so")
    world.done(claim.name, 6)
    assert "errors when merged" in refused_second(world, juice.name)


def refused_second(world: World, name: str) -> str:
    with pytest.raises(Found) as stop:
        world.release(name, 7)
    assert any(p.is_error and p.place.file == FIZZ for p in stop.value.problems)
    return stop.value.what


def test_refused_before_a_pending_start_of_the_same_item(world: World, proposed: str) -> None:
    """Release 2 waits for day 12; a later release of the same drink may not overtake it."""
    world.done(proposed, 6)
    world.edit(FROST, "Pour at once.", "Pour at once, without a pause.")
    early = world.propose(6.5, "Earlier", start=day(9).date())
    world.signed(early.name, 6.6)
    with pytest.raises(Refused, match="before something already released"):
        world.release(early.name, 7)


def allowed_by_hand(world: World, folder: Path) -> Path:
    """An allowed-signers file as a person would write it from signatories.yaml."""
    path = folder / "allowed"
    names = (AUTHOR, SECOND, SAFETY, *MANAGERS.values())
    path.write_text("".join(f"{p} {world.key(p).with_name(p + '.pub').read_text()}" for p in names))
    return path


def test_plain_git_and_ssh_keygen_accept_what_was_made(world: World, proposed: str, tmp_path: Path) -> None:
    done = world.done(proposed, 6)
    signers = f"gpg.ssh.allowedSignersFile={allowed_by_hand(world, tmp_path)}"
    fresh = tmp_path / "fresh"
    plain_git(tmp_path, "clone", "-q", "origin.git", "fresh")
    for what in (("verify-commit", done.commit), ("verify-tag", "release/2"), ("verify-tag", "release/1")):
        code, said = git_says(fresh, "-c", "gpg.format=ssh", "-c", signers, *what)
        assert code == 0 and f'Good "git" signature for {AUTHOR}' in said, said
    assert plain_git(fresh, "rev-parse", "release/2^{commit}") == done.commit == plain_git(fresh, "rev-parse", "origin/main")
    for path in plain_git(fresh, "ls-files", "statements").split():
        from specctl.change.statement import read_envelope

        envelope = read_envelope((fresh / path).read_text())
        (tmp_path / "sig").write_text(envelope.signature)
        person, namespace = envelope.statement.person, f"{envelope.statement.purpose}@specctl"
        checked = subprocess.run(
            ["ssh-keygen", "-Y", "verify", "-f", str(tmp_path / "allowed"), "-I", person, "-n", namespace, "-s", str(tmp_path / "sig")],
            input=envelope.payload, capture_output=True,
        )  # fmt: skip
        assert checked.returncode == 0, checked.stderr
    assert git_says(fresh, "fsck", "--full", "--strict")[0] == 0


def test_one_commit_holds_merge_record_and_entries(world: World, proposed: str) -> None:
    tip, before = plain_git(world.book, "rev-parse", f"proposals/{proposed}"), None
    world.signed(proposed, 6)
    before = world.main()
    done = world.release(proposed, 7)
    assert plain_git(world.book, "rev-list", "--parents", "-1", done.commit).split()[1:] == [before, tip]
    record = read_release(world.on_main("releases/2.json").encode() + b"\n", "releases/2.json")
    assert record == done.release and record.parents == (before, tip)
    changed = plain_git(world.book, "diff", "--name-only", before, done.commit).split()
    entries = {f"entries/{r.after[:2]}/{r.after}.json" for r in record.rows if r.after}
    assert set(changed) == {FROST, f"proposals/{proposed}.yaml", "releases/2.json", *entries}
    for path in entries:
        data = subprocess.run(["git", "show", f"{done.commit}:{path}"], cwd=world.book, capture_output=True, check=True).stdout
        assert digest_of(data) == Path(path).stem
    counted = {p.rsplit("/", 1)[1].removesuffix(".statement") for p in plain_git(world.book, "ls-tree", "-r", "--name-only", done.commit, "statements/").split()}
    assert set(record.statements) <= counted and len(record.statements) == 4
    assert world.on_main(FROST).count(MORE_PASTE) == 1


def test_starts_are_at_the_sites_own_morning(world: World, proposed: str) -> None:
    """Day 12 is 14 November 2026, 04:00: London and Dublin stand at UTC, New York five hours behind (standard time)."""
    done = world.done(proposed, 6)
    assert dict(done.release.starts) == {
        "northsands-quay": "2026-11-14T04:00:00Z",
        "harbour-row": "2026-11-14T04:00:00Z",
        "marram-strand": "2026-11-14T04:00:00Z",
        "breakwater": "2026-11-14T09:00:00Z",
    }


def test_a_start_that_has_passed_becomes_the_next_morning(world: World, proposed: str) -> None:
    """Never mid-shift: released on day 20 at nine, in force on day 21 at four."""
    world.signed(proposed, 19)
    done = world.release(proposed, 20)
    assert done.release.starts["northsands-quay"] == "2026-11-23T04:00:00Z"
    assert done.release.starts["breakwater"] == "2026-11-22T09:00:00Z", "there it is four in the morning at that very minute"


def test_words_alone_keep_their_stated_start(world: World) -> None:
    """Only a declaration that grows may go at once; what people signed names a day."""
    world.edit(FROST, "- Contains caffeine.", "- Contains caffeine; say so.")
    made = world.propose(5, "Words")
    done = world.done(made.name, 6)
    assert done.release.starts["northsands-quay"] == "2026-11-14T04:00:00Z"


def test_a_declaration_that_grows_goes_at_once(world: World) -> None:
    world.edit("ingredients/pear-juice.yaml", "  contains: []\n  answers_for", "  contains: []\n  may_contain: [celery]\n  answers_for")
    made = world.propose(5, "Pear juice may contain celery", start=day(5).date())
    world.signed(made.name, 5.1, SAFETY)
    world.collect(world.sign(made.name, MANAGERS["marram"], 5.15, purpose="objection", note="Not before Sunday."), 5.16)
    done = world.release(made.name, 5.2)
    assert len(done.release.statements) == 1, "one signature is enough, and no objection holds it up"
    assert set(done.release.starts.values()) == {done.release.released}


def test_a_declaration_that_shrinks_is_the_slowest(world: World) -> None:
    """Food safety, drinks and every franchise; an objection of any of them holds it."""
    world.edit("ingredients/hazelnut-paste.yaml", "may_contain: [almond, cashew, walnut]", "may_contain: [almond, cashew]")
    bare = world.propose(5, "No walnut any more", start=day(12).date(), draft=True).name
    with pytest.raises(Refused, match="does not say what bears that out"):
        world.sign(bare, SAFETY, 5.5)
    made = world.propose(5, "No walnut any more", start=day(12).date(), update=bare, evidence="Statement of 2 November, issue 4; the line runs no walnut since May.")
    with world.case(made.name, 6) as case:
        assert f"proposals/{made.name}.yaml" in dict(case.effect.files), "whoever signs has signed for these words"
    world.signed(made.name, 6, SAFETY, SECOND, MANAGERS["northsands"], MANAGERS["marram"])
    assert "franchise-manager for franchise/gull-rock" in refused(world, made.name)
    world.signed(made.name, 6.5, MANAGERS["gull-rock"])
    done = world.release(made.name, 7)
    assert done.release.starts["northsands-quay"] == "2026-11-14T04:00:00Z"


def test_allergen_papers_no_entry_shows_are_still_food_safetys(world: World) -> None:
    """Nobody serves it where that list counts, so no entry moves: its paper is not a matter of words all the same."""
    world.edit("ingredients/oat-drink-skerry.yaml", "uk-annex-ii, us-falcpa]\n  scope", "uk-annex-ii]\n  scope")
    made = world.propose(5, "Another paper")
    with world.case(made.name) as case:
        assert case.effect.rows == ()
    assert "food-safety for chain" in refused(world, made.name)


def test_two_releasers_racing_make_two_releases_or_one_refusal(world: World) -> None:
    """Two clones release two proposals at once: whoever loses builds again on the other's commit."""
    world.edit(FROST, PASTE, MORE_PASTE)
    one = world.propose(5, "Paste", only=(FROST,)).name
    world.edit(FIZZ, "less-ice:\n        name: Less ice", "less-ice:\n        name: Half the ice")
    two = world.propose(5, "Ice", only=(FIZZ,)).name
    world.signed(one, 6)
    world.signed(two, 6)
    plain_git(world.second, "pull", "-q", "--ff-only")
    results: dict[str, object] = {}

    def run(name: str, clone: Path) -> None:
        try:
            results[name] = world.release(name, 7, AUTHOR, clone)
        except (LostRace, Refused) as stop:
            results[name] = stop

    threads = [threading.Thread(target=run, args=args) for args in ((one, world.book), (two, world.second))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    made = [r for r in results.values() if not isinstance(r, Stop)]
    assert made, results
    plain_git(world.book, "fetch", "-q")
    main = plain_git(world.origin, "rev-parse", "main")
    numbers = plain_git(world.origin, "ls-tree", "--name-only", "main", "releases/").split()
    assert numbers == [f"releases/{n}.json" for n in range(1, 2 + len(made))]
    assert {r.commit for r in made} <= set(plain_git(world.origin, "rev-list", "--first-parent", main).split())  # type: ignore[attr-defined]
    for name, result in results.items():
        if isinstance(result, Stop):
            world.release(name, 8)


def test_a_lost_race_builds_again_on_the_new_tip(world: World, proposed: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between building and pushing, another clone moves origin's main once."""
    from specctl.actions import releasing

    world.signed(proposed, 6)
    whole = releasing._commit
    seen = []

    def once(case: object, *rest: object) -> str:
        made = whole(case, *rest)  # type: ignore[arg-type]
        if not seen:
            plain_git(world.second, "pull", "-q", "--ff-only")
            plain_git(world.second, "commit", "-q", "--allow-empty", "-m", "first")
            plain_git(world.second, "push", "-q", "origin", "main")
        seen.append(made)
        return made

    monkeypatch.setattr(releasing, "_commit", once)
    done = world.release(proposed, 7)
    assert len(seen) == 2 and done.commit == seen[1] == plain_git(world.origin, "rev-parse", "main")
    assert plain_git(world.book, "log", "-1", "--format=%s", f"{done.commit}^1") == "first"


def test_a_lost_tag_can_be_made_again_and_never_moves(world: World, proposed: str) -> None:
    from specctl.actions.identity import identify
    from specctl.actions.releasing import tag_release

    done = world.done(proposed, 6)
    plain_git(world.book, "tag", "-d", "release/2")
    with world.open() as source, world.case(proposed) as case:
        repository = source.in_git()
        who = identify(case.book.signatories, world.key(AUTHOR))  # type: ignore[arg-type]
        assert tag_release(repository, done.release, done.commit, who, day(6)) == "release/2"
        assert git_says(world.book, "verify-tag", "release/2")[0] == 0
        with pytest.raises(Refused, match="never moves|exists"):
            tag_release(repository, done.release, plain_git(world.book, "rev-parse", f"{done.commit}^1"), who, day(6))


def test_who_signs_is_judged_by_main_never_by_the_proposal(world: World) -> None:
    """A proposal that makes its own author's friend food-safety lead is judged by the old signatories."""
    world.edit("signatories.yaml", "roles: [author]\n", "roles: [author, drinks, food-safety]\n")
    made = world.propose(5, "Nell may sign")
    # She may say yes for the people it would bring; among those of today she counts for nothing.
    world.collect(world.sign(made.name, "nell-brandt", 6), 6)
    with pytest.raises(Refused, match="food-safety for chain"):
        world.release(made.name, 6)
    world.signed(made.name, 6, SECOND, SAFETY)
    world.release(made.name, 6.1)


def test_json_of_the_record_is_canonical(world: World, proposed: str) -> None:
    done = world.done(proposed, 6)
    raw = done.release.bytes()
    assert json.dumps(json.loads(raw), sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode() + b"\n" == raw
