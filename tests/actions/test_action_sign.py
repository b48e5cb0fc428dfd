"""Signing with and without a clone, and taking statements in: good ones once, everything else refused with words."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from chain_world import AUTHOR, MANAGERS, SAFETY, SECOND, World, day, git_says, plain_git

from specctl.actions.judging import Findings
from specctl.actions.ledger import verified
from specctl.actions.reporting import impact_of
from specctl.actions.signing import SignWish, sign_report
from specctl.change.statement import Envelope, Statement, read_envelope
from specctl.domain.people import Key, Signatories
from specctl.errors import Refused, Stop, Untrusted
from specctl.report.json import report_json
from specctl.store.signature import make_key, sign

FROST, FIZZ = "drinks/hazelnut-frost.yaml", "drinks/pear-sage-fizz.yaml"
PASTE, MORE_PASTE = "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}"
MANAGER = MANAGERS["marram"]


@pytest.fixture
def proposed(world: World) -> str:
    world.edit(FROST, PASTE, MORE_PASTE)
    return world.propose(5, "More paste").name


def report_file(world: World, name: str, scope: str, **more: Any) -> Path:
    with world.case(name) as case:
        shown = report_json(impact_of(case, scope)) | more
    path = world.root / "report.json"
    path.write_text(json.dumps(shown))
    return path


def by_report(world: World, report: Path, person: str = MANAGER, key: str | None = None, **more: Any) -> Envelope:
    given = {"purpose": "signoff", "role": "franchise-manager"} | more
    return sign_report(report, SignWish(now=day(6), key=world.key(key or person), **given), person)


def met(world: World, name: str) -> dict[tuple[str, str], str | None]:
    with world.case(name) as case:
        return {(s.need.role, s.need.scope): s.met_by and s.met_by.person for s in Findings(case).judgement.standings}


def test_signed_in_a_clone_and_collected_it_counts(world: World, proposed: str) -> None:
    (envelope,) = world.sign(proposed, SECOND, 6)
    done = world.collect([envelope], 6.1)
    assert done.taken == (envelope,) and done.commit == world.main() and done.refused == ()
    assert world.on_main(envelope.path) + "\n" == envelope.text()
    assert git_says(world.book, "verify-commit", world.main())[0] == 0
    assert met(world, proposed)[("drinks", "chain")] == SECOND
    assert plain_git(world.origin, "rev-parse", "main") == world.main()


def test_signed_from_a_report_without_a_clone_it_counts(world: World, proposed: str) -> None:
    """Nothing of git is asked: a page, a key, and OpenSSH."""
    report = report_file(world, proposed, "franchise/marram")
    mailed = by_report(world, report).text().replace("\n", "\r\n")
    world.collect([read_envelope("> " + mailed.replace("\n", "\n> "))], 6.1)
    assert met(world, proposed)[("franchise-manager", "franchise/marram")] == MANAGER


def test_what_is_signed_is_what_the_page_shows(world: World, proposed: str) -> None:
    """A page whose effect was changed but whose digest was not, and the other way round."""
    report = report_file(world, proposed, "franchise/marram")
    shown = json.loads(report.read_text())
    for harmed in (
        {**shown, "effect": {**shown["effect"], "entries": []}},
        {**shown, "effect_digest": "0" * 64},
        {**shown, "scope": "chain"},
    ):
        report.write_text(json.dumps(harmed))
        with pytest.raises(Untrusted):
            by_report(world, report)


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", '{"report": 1}', '{"report": 1, "effect": {"a": 1.5}, "scope": "chain"}', "[" * 100_000, '{"report": 2, "effect": {}}', "\ufeff{}"],
)
def test_a_report_that_is_none_is_refused(tmp_path: Path, text: str) -> None:
    """Before any key is opened: there is none here."""
    path = tmp_path / "report.json"
    path.write_text(text)
    with pytest.raises(Stop) as stop:
        sign_report(path, SignWish("signoff", day(6), tmp_path / "no-key", "franchise-manager"), MANAGER)
    assert "no-key" not in stop.value.what


def test_a_report_with_a_hole_is_refused(world: World, proposed: str) -> None:
    report = report_file(world, proposed, "franchise/marram")
    shown = json.loads(report.read_text())
    for missing in ("book", "proposal", "scope", "effect_digest"):
        report.write_text(json.dumps({k: v for k, v in shown.items() if k != missing}))
        with pytest.raises(Stop):
            by_report(world, report)


def test_a_report_that_names_nonsense_is_refused_before_anything_is_signed(world: World, proposed: str) -> None:
    for harm in ({"book": "../tidewick"}, {"proposal": "x"}, {"price_book": "dear"}, {"signings": ["x"]}):
        report = report_file(world, proposed, "franchise/marram", **harm)
        with pytest.raises(Stop):
            by_report(world, report, role=None if "signings" in harm else "franchise-manager")


def test_a_note_too_long_to_be_read_back_is_refused_before_signing(world: World, proposed: str) -> None:
    with pytest.raises(Refused, match="nothing was signed"):
        world.sign(proposed, SECOND, 6, note="x" * 2001)


def test_collected_twice_is_known(world: World, proposed: str) -> None:
    envelopes = world.sign(proposed, SECOND, 6)
    world.collect(envelopes, 6.1)
    before = world.main()
    again = world.collect(envelopes, 6.2)
    assert again.known == envelopes and again.taken == () and again.commit is None
    assert world.main() == before


def test_collected_in_another_clone_it_reaches_everybody(world: World, proposed: str) -> None:
    plain_git(world.second, "fetch", "-q")
    envelopes = world.sign(proposed, SECOND, 6, world.second)
    world.collect(envelopes, 6.1, SECOND, world.second)
    plain_git(world.book, "fetch", "-q")
    assert met(world, proposed)[("drinks", "chain")] == SECOND


def bad_ones(world: World, good: Envelope) -> dict[str, Envelope]:
    make_key(world.root / "stranger", "stranger")

    def again(key: Path, namespace: str | None = None, **fields: Any) -> Envelope:
        statement = replace(good.statement, **fields)
        return Envelope(statement, statement.payload, sign(statement.payload, key, namespace or statement.namespace))

    return {
        "another book": again(world.key(SECOND), book="driftwood"),
        "a proposal there is not": again(world.key(SECOND), proposal="99-other"),
        "nobody we know": again(world.key(SECOND), person="ada-quill"),
        "a key of nobody": again(world.root / "stranger"),
        "another person's key": again(world.key(SAFETY)),
        "another purpose's signature": again(world.key(SECOND), namespace="objection@specctl"),
        "a commit's signature": again(world.key(SECOND), namespace="git"),
        "a signature of other words": Envelope(
            replace(good.statement, note="yes"), replace(good.statement, note="yes").payload, good.signature
        ),
        "no signature at all": replace(good, signature="-----BEGIN SSH SIGNATURE-----\n-----END SSH SIGNATURE-----\n"),
    }


def test_what_is_foreign_or_forged_is_refused_and_the_good_goes_in_beside_it(world: World, proposed: str) -> None:
    (good,) = world.sign(proposed, SECOND, 6)
    bad = bad_ones(world, good)
    with world.open() as source:
        from specctl.actions.collecting import collect

        done = collect(source, [*bad.items(), ("good", good)], day(6.1), world.key(AUTHOR))
    assert {r.name for r in done.refused} == set(bad)
    assert all(r.why and r.todo for r in done.refused)
    assert done.taken == (good,)
    kept = plain_git(world.book, "ls-tree", "-r", "--name-only", "main", f"statements/{proposed}/").split()
    assert kept == [good.path]


def test_forged_statements_that_reached_main_do_not_count(world: World, proposed: str) -> None:
    """Somebody pushes past the tool: the files are on main, and still worth nothing."""
    (good,) = world.sign(proposed, SECOND, 6)
    with world.case(proposed) as case:
        signatories = case.book.signatories
    assert signatories is not None
    for name, envelope in bad_ones(world, good).items():
        if name not in ("another book", "a proposal there is not"):
            assert verified([envelope], signatories) == (), name


def test_a_statement_about_another_book_does_not_count_on_main(world: World, proposed: str) -> None:
    """Two books of one owner share people and keys; a sign-off of the one must not serve the other."""
    (good,) = world.sign(proposed, SECOND, 6)
    statement = replace(good.statement, book="driftwood")
    other = Envelope(statement, statement.payload, sign(statement.payload, world.key(SECOND), statement.namespace))
    path = world.book / other.path
    path.parent.mkdir(parents=True)
    path.write_text(other.text())
    plain_git(world.book, "add", str(path))
    plain_git(world.book, "commit", "-q", "-m", "slipped in")
    assert met(world, proposed)[("drinks", "chain")] is None


def test_a_retired_key_does_not_count_and_cannot_sign(world: World, proposed: str) -> None:
    (good,) = world.sign(proposed, SECOND, 6)
    with world.case(proposed) as case:
        people = case.book.signatories.people  # type: ignore[union-attr]
    keys = {k: Key(k, v.public, retired=True) for k, v in people[SECOND].keys.items()}
    retired = Signatories({**people, SECOND: replace(people[SECOND], keys=keys)})
    assert len(verified([good], Signatories(people))) == 1
    assert verified([good], retired) == ()
    from specctl.actions.identity import identify

    with pytest.raises(Refused, match="retired"):
        identify(retired, world.key(SECOND))


def test_an_author_cannot_sign(world: World, proposed: str) -> None:
    with pytest.raises(Refused, match="author"):
        world.sign(proposed, AUTHOR, 6)
    report = report_file(world, proposed, "chain")
    world.collect([by_report(world, report, AUTHOR, role="drinks")], 6.1)
    assert met(world, proposed)[("drinks", "chain")] is None


def test_signing_for_somebody_else_is_worth_nothing(world: World, proposed: str) -> None:
    report = report_file(world, proposed, "franchise/marram")
    done = world.collect([by_report(world, report, MANAGER, key=SECOND)], 6.1)
    assert done.taken == () and len(done.refused) == 1


def test_who_is_not_asked_is_told_who_is(world: World, proposed: str) -> None:
    with pytest.raises(Refused) as stop:
        world.sign(proposed, SAFETY, 6)
    assert "drinks for chain" in stop.value.todo


def test_an_objection_blocks_and_its_authors_sign_off_answers(world: World, proposed: str) -> None:
    world.signed(proposed, 6)
    world.collect(world.sign(proposed, SAFETY, 6.2, purpose="objection", note="Too much nut."), 6.3)
    with pytest.raises(Refused, match="Too much nut"):
        world.release(proposed, 6.4)
    report = report_file(world, proposed, "chain")
    world.collect([by_report(world, report, SAFETY, role="food-safety")], 6.5)
    world.release(proposed, 6.6)


def stale_words(world: World, name: str) -> list[str]:
    with world.case(name) as case:
        return [s.stale for s in Findings(case).judgement.standings]


def test_an_unrelated_release_leaves_sign_offs_alone(world: World, proposed: str) -> None:
    with world.case(proposed) as case:
        before = dict(case.digests)
    world.signed(proposed, 6)
    world.edit(FIZZ, "served_at: 4 °C", "served_at: 3 °C")
    world.edit(FIZZ, "less-ice:\n        name: Less ice", "less-ice:\n        name: Half the ice")
    other = world.propose(6.1, "Half the ice", only=(FIZZ,))
    world.done(other.name, 6.2)
    with world.case(proposed) as case:
        assert case.digests == before
    world.release(proposed, 7)


def test_a_related_release_makes_every_sign_off_stale(world: World, proposed: str) -> None:
    world.signed(proposed, 6)
    plain_git(world.book, "checkout", "-q", "main", "--", FROST)
    world.edit(FROST, "Pour at once.", "Pour at once, without a pause.")
    other = world.propose(6.1, "Pour at once", only=(FROST,), start=day(9).date())
    world.done(other.name, 6.2)
    words = stale_words(world, proposed)
    assert words and all("earlier effect" in w for w in words)
    with pytest.raises(Refused, match="earlier effect"):
        world.release(proposed, 7)
    world.signed(proposed, 7)
    world.release(proposed, 7.1)


def test_another_start_makes_sign_offs_stale(world: World, proposed: str) -> None:
    world.signed(proposed, 6)
    world.propose(6.1, "", update=proposed, start=day(30).date())
    assert all("earlier effect" in w for w in stale_words(world, proposed))


def test_a_price_alone_leaves_sign_offs_alone(world: World, proposed: str) -> None:
    """Costs are evidence, never validity: the chain's effect has no price in it."""
    with world.case(proposed) as case:
        before = case.digests["franchise/marram"]
    path = "prices/marram/price-book.yaml"
    world.edit(path, "price: 15.65 EUR", "price: 15.70 EUR")
    other = world.propose(6.1, "Dearer pears", only=(path,))
    world.done(other.name, 6.2)
    with world.case(proposed) as case:
        assert case.digests["franchise/marram"] == before


def test_a_statement_names_the_price_book_it_was_read_with(world: World, proposed: str) -> None:
    (envelope,) = world.sign(proposed, MANAGER, 6)
    report = report_file(world, proposed, "franchise/marram")
    other = by_report(world, report)
    assert isinstance(envelope.statement, Statement)
    assert envelope.statement.price_book == other.statement.price_book is not None
    assert envelope.statement.effect == other.statement.effect
