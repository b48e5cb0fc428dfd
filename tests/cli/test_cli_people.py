"""Each person of the job at the command line, on edits of their own."""

from __future__ import annotations

import email.message
import email.policy
import json
import shutil
from pathlib import Path

import pytest
from counter_world import (
    AUTHOR, BUYER, EVERYONE, FOAM, HOJICHA, MANAGERS, SAFETY, SECOND, World, copied, git, run, standing_in, tree_bytes,
)  # fmt: skip

FIZZ = "drinks/pear-sage-fizz.yaml"
LATTE = "drinks/roasted-barley-latte.yaml"
PREP = "preps/salted-oat-foam.yaml"
LATER = "2026-11-26T09:00:00Z"


# --- the author ---------------------------------------------------------------------------------

def as_the_bench_reads(world: World) -> None:
    world.edit(LATTE, "amount: {regular: 123.96 g, large: 175.61 g}\n", "amount: {regular: 90 ml, large: 175.61 g}\n")
    world.edit(LATTE, "written: {regular: 120 ml at 1.033 g/ml, large: 170 ml at 1.033 g/ml}\n", "written: {large: 170 ml at 1.033 g/ml}\n")
    world.edit(PREP, "amount: 12 g, ", "amount: 2 scoop-amber, ")


def test_unnormalised_text_is_found_and_not_proposed(world: World) -> None:
    as_the_bench_reads(world)
    found = {(p["file"], p["line"] > 0) for p in world.run("check", "--json", code=1).json["problems"] if p["severity"] == "error"}
    assert {(LATTE, True), (PREP, True)} <= found
    before = world.as_stands()
    told = world.propose("Less milk", code=1)
    assert told.out == "" and "90 ml" in told.err and "normalise" in told.err
    assert world.as_stands() == before


def test_normalise_keeps_comments_and_says_what_it_used(world: World) -> None:
    """90 ml of whole milk is 92-93 g, the handbook's 3 % above the rule of thumb: Goff, Guelph, 1.033 g/ml at 4.4 °C."""
    as_the_bench_reads(world)
    latte = (world.book / LATTE).read_text()
    looked = world.run("normalise", "--look", "--json", code=None)
    assert (world.book / LATTE).read_text() == latte and looked.json["written"] == []
    told = world.run("normalise", "--json", "--bench", "saltmarket", code=None)
    changes = {c["before"]: c["after"] for c in told.json["changes"]}
    after = (world.book / LATTE).read_text()
    assert "92.97 g" in after and "90 ml at 1.033 g/ml" in after
    assert 92 <= 90 * 1.033 <= 93
    assert [x for x in latte.splitlines() if "#" in x and "colour" not in x] == [x for x in after.splitlines() if "#" in x and "colour" not in x]
    assert any("90 ml" in b for b in changes), changes
    # The Holm powder has no scoop check at all: what cannot become a mass is told, with its place.
    left = [p for p in told.json["problems"] if p["file"] == PREP]
    assert told.code == (1 if left else 0)
    if left:
        assert left[0]["line"] > 0 and "scoop-amber" in left[0]["what"]
        assert "2 scoop-amber" in (world.book / PREP).read_text(), "never guessed at"
    else:
        assert "2 scoop-amber at" in (world.book / PREP).read_text()


def test_a_scoop_with_a_check_at_the_bench_becomes_its_weighed_mass(world: World) -> None:
    """2 level scoops of 5.94 g, the mean of ten weighings kept in the book for Dune Cross: 11.88 g."""
    world.edit(PREP, "use: foam-powder-holm, amount: 12 g, ", "use: foam-powder-ness, amount: 2 scoop-amber, ")
    world.run("normalise", "--bench", "dune-cross")
    text = (world.book / PREP).read_text()
    assert "11.88 g" in text and "2 scoop-amber at 5.94 g each" in text
    assert world.run("check").code == 0
    assert world.run("normalise", "--json").json["written"] == [], "a second run changes nothing"


def test_propose_touches_nothing_of_the_authors(world: World) -> None:
    world.edit(LATTE, "large: 175.61 g}\n        #", "large: 172.99 g}\n        #")
    world.edit(LATTE, "large: 170 ml at 1.033 g/ml}\n", "}\n".replace("}", "large: 170 ml at 1.0176 g/ml}"))
    (world.book / "notes.txt").write_text("mine, unrelated")
    git(world.book, "add", "notes.txt")
    files, status, head = tree_bytes(world.book / "drinks"), git(world.book, "status", "--porcelain"), git(world.book, "rev-parse", "HEAD")
    told = world.propose("Less milk", "--json", now="2027-01-04T09:00:00Z")
    assert tree_bytes(world.book / "drinks") == files
    assert git(world.book, "status", "--porcelain") == status
    assert git(world.book, "rev-parse", "HEAD") == head
    value = told.json
    assert value["files"] == [LATTE] and value["proposal"] == "4-less-milk" and value["pushed"]
    assert value["edited_from"] == head and value["start"] == "2027-01-11", "a week from the frozen day"
    git(world.book, "verify-commit", value["commit"])
    assert git(world.origin, "rev-parse", "refs/heads/proposals/4-less-milk") == value["commit"]
    assert "notes.txt" not in git(world.book, "ls-tree", "-r", "--name-only", value["commit"])


def test_only_leaves_the_other_edit_out_and_waves_and_start_are_kept(world: World) -> None:
    world.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
    world.edit(FIZZ, "name: Pear and sage fizz", "name: Pear with sage, sparkling")
    told = world.propose(
        "Firmer foam", "--only", HOJICHA, "--wave", "pilot=2026-12-03:saltmarket, ferry-steps", "--wave", "rest=2026-12-10",
        "--start", "2026-12-03", "--json",
    )  # fmt: skip
    assert told.json["files"] == [HOJICHA]
    report = world.run("report", "4", "--json").json
    waves = {w["key"]: w for w in report["effect"]["waves"]}
    assert sorted(waves["pilot"]["sites"]) == ["ferry-steps", "saltmarket"] and len(waves["rest"]["sites"]) == 10
    assert report["effect"]["start"] == "2026-12-03"
    assert {row[0] for row in report["effect"]["entries"]} == {"drink/blackcurrant-hojicha"}
    # The other edit is still on disk, and its own proposal holds it alone.
    again = world.propose("Fizz renamed", "--only", "drinks/pear-sage-fizz.yaml", "--json")
    assert again.json["proposal"] == "5-fizz-renamed" and again.json["files"] == [FIZZ]
    nothing = world.propose("Nothing", "--only", "preps", code=1)
    assert "nothing differs" in nothing.err


def test_waves_that_make_no_sense_are_refused(world: World) -> None:
    world.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
    before = world.as_stands()
    for words in (
        ("--wave", "pilot=2026-12-03:no-such-site"),
        ("--wave", "pilot=2026-12-03:saltmarket", "--wave", "pilot=2026-12-04"),
        ("--wave", "a=2026-12-03:saltmarket", "--wave", "b=2026-12-04:saltmarket"),
        ("--wave", "Pilot One=2026-12-03:saltmarket"),
        ("--wave", "a=2026-12-03", "--wave", "b=2026-12-04"),
        ("--start", "2026-12-10", "--wave", "a=2026-12-03:saltmarket"),
    ):
        told = world.propose("Firmer foam", *words, code=None)
        assert told.code in (1, 2) and told.out == "" and told.err.strip(), words
        assert world.as_stands() == before


def test_a_draft_is_kept_reported_as_faulty_and_carried_on(world: World) -> None:
    world.edit(HOJICHA, FOAM, "{regular: 36 ml, large: 48 g}")
    assert world.propose("Firmer foam", code=1).out == ""
    told = world.propose("Firmer foam", "--draft", "--json")
    assert told.json["draft"] and told.json["problems"]
    assert [(p["name"], p["state"]) for p in world.run("proposals", "--json").json["list"]][0] == ("4-firmer-foam", "draft"), "open ones first"
    report = world.run("report", "4", code=1)
    assert HOJICHA in report.err and report.out == "", "a page nobody could sign is not made"
    assert world.run("sign", "4", "--key", world.key(SECOND), code=1).out == ""
    assert world.run("release", "4", code=1).out == ""
    world.edit(HOJICHA, "36 ml", "36 g")
    done = world.run("propose", "--update", "4", "--json").json
    assert done["proposal"] == "4-firmer-foam" and not done["draft"]
    assert git(world.book, "rev-parse", f"{done['commit']}^") == told.json["commit"], "on top of the draft"
    shown = world.run("report", "4", "--json").json
    assert shown["title"] == "Firmer foam" and shown["why"] == "It was asked for."


def test_stale_files_are_refused_until_it_is_said_what_they_were_edited_from(world: World) -> None:
    """An approved allergen must not come back out of stale files."""
    old = git(world.book, "rev-parse", "release/2^{commit}")
    # The author's clone was away while release 3 went out: HEAD and files still those of release 2.
    git(world.book, "checkout", "-q", "-B", "main", old)
    world.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
    told = world.propose("Firmer foam", "--edited-from", old, "--json", code=None)
    assert told.code == 0, told.err
    assert told.json["edited_from"] == old and told.json["files"] == [HOJICHA]
    shown = world.run("report", "4", "--json").json
    assert not [f for f, _ in shown["effect"]["files"] if f == PREP], "release 3's powder stays"
    assert {row[0] for row in shown["effect"]["entries"]} == {"drink/blackcurrant-hojicha"}
    for wrong in ("main", "HEAD", old[:10], "main@{1}", "--help", "0" * 40, ":/Release"):
        before = world.as_stands()
        assert world.propose("Again", "--edited-from=" + wrong, code=1).out == ""
        assert world.as_stands() == before


# --- the food-safety lead -----------------------------------------------------------------------

@pytest.fixture
def hazelnut(world: World) -> World:
    """A choice that brings a nut into a drink that had none."""
    world.edit(FIZZ, "options:\n", "options:\n  paste:\n    name: Hazelnut\n    choices:\n      some:\n        name: A spoon of hazelnut paste\n        lines:\n"
               "          NAME/paste: {use: hazelnut-paste, amount: 6 g, tolerance: 2 g}\n".replace("NAME", _first_layer(world)))  # fmt: skip
    world.propose("Hazelnut fizz")
    return world


def _first_layer(world: World) -> str:
    lines = (world.book / FIZZ).read_text().split("layers:\n", 1)[1].splitlines()
    return lines[0].strip().rstrip(":")


def test_food_safety_reads_the_way_in_and_objects(hazelnut: World) -> None:
    world = hazelnut
    told = world.run("report", "4", COLUMNS="100")
    joined = " ".join(told.out.split())
    assert "CONTAINS" in joined and "hazelnut" in joined.lower() and "A spoon of hazelnut paste" in joined
    for word in ("food-safety", "Maren Oduya"):
        assert word in joined, word
    rows = [a for a in world.run("report", "4", "--json").json["allergens"] if a["substance"] == "hazelnut" and a["after"] == "contains"]
    assert rows and all(any("hazelnut-paste" in p for p in r["paths"]) for r in rows)
    assert {r["choice"] for r in rows} == {"paste=some"}, "only where it is"
    key = world.key(SAFETY)
    assert world.run("object", "4", "--key", key, code=2).out == "", "an objection needs its reason"
    main = world.main()
    said = world.run("object", "4", "--key", key, "--note", "No spoon of its own is named.", "--json").json
    assert said["commit"] == world.main() != main
    assert said["statements"][0]["purpose"] == "objection" and said["statements"][0]["note"] == "No spoon of its own is named."
    joined = " ".join(world.run("report", "4", COLUMNS="100").out.split())
    assert "No spoon of its own is named." in joined
    refused = world.run("release", "4", code=1)
    assert "objection by maren-oduya" in refused.err and refused.out == ""
    waits = world.run("proposals", "--json").json["list"][0]["waits_for"]
    assert "maren-oduya" in waits


def test_author_and_signer_differ(hazelnut: World) -> None:
    told = hazelnut.run("sign", "4", code=1)
    assert "author" in told.err and told.out == ""
    assert "no signature" in hazelnut.run("sign", "4", "--key", hazelnut.key(BUYER), code=1).err


# --- the franchise manager ----------------------------------------------------------------------

def test_a_manager_signs_a_report_without_a_clone_and_mails_it(opened: World, tmp_path: Path) -> None:
    away = tmp_path / "back-office"
    away.mkdir()
    opened.run("report", "4", "--for", "marram", "--as", "json", "--out", away / "REPORT.json")
    main = opened.main()
    with standing_in(away):
        told = run("sign", "REPORT.json", "--person", MANAGERS["marram"], "--key", opened.key(MANAGERS["marram"]))
        assert run("sign", "REPORT.json", "--key", opened.key(MANAGERS["marram"]), code=2).out == ""
    assert opened.main() == main, "nothing is known to the book yet"
    statement = away / "4-firmer-foam-aoife-tarn.statement"
    assert statement.is_file() and str(statement.name) in told.err
    mail = email.message.EmailMessage(policy=email.policy.SMTP)
    mail["Subject"], mail["From"], mail["To"] = "Fwd: Firmer foam", "aoife@marram.example", "isla@tidewick.example"
    mail.set_content("Here it is.\n\n" + statement.read_text() + "\n-- \nAoife Tarn\nMarram and Daughters\nThis mail is confidential.\n", cte="7bit")
    (tmp_path / "mail.eml").write_bytes(mail.as_bytes())
    assert b"\r\n" in mail.as_bytes()
    done = opened.run("collect", tmp_path / "mail.eml", "--json")
    assert len(done.json["taken"]) == 1 and done.json["commit"] == opened.main() != main
    again = opened.run("collect", tmp_path / "mail.eml", "--json")
    assert again.json["taken"] == [] and len(again.json["known"]) == 1 and opened.main() == done.json["commit"]
    shown = opened.run("report", "4", "--for", "marram", "--json").json
    assert [s["met_by"] for s in shown["signings"] if s["scope"] == "franchise/marram"] == ["Aoife Tarn"]


def test_a_report_that_was_changed_is_not_signed(opened: World, tmp_path: Path) -> None:
    shown = opened.run("report", "4", "--for", "marram", "--json").json
    key = opened.key(MANAGERS["marram"])
    for change in ("effect", "scope", "digest"):
        other = json.loads(json.dumps(shown))
        if change == "effect":
            other["effect"]["start"] = "2027-01-01"
        elif change == "scope":
            other["scope"] = "franchise/northsands"
        else:
            other["effect_digest"] = "0" * 64
        (tmp_path / "r.json").write_text(json.dumps(other))
        told = run("sign", tmp_path / "r.json", "--person", MANAGERS["marram"], "--key", key, code=1)
        assert told.out == "" and not list(tmp_path.glob("*.statement"))


def test_signed_by_all_released_published_and_pulled(opened: World, played: tuple[World, object], tmp_path: Path) -> None:
    """The loop to its end, each person with their own key; then the site's card reads the new grams."""
    copied(played[0], tmp_path, "packs", "sites", "publishing-keys")
    world = opened
    assert world.run("release", "4", code=1).out == ""
    for person in EVERYONE:
        told = world.run("sign", "4", "--key", world.key(person), code=None)
        assert told.code == 0 or "no signature" in told.err, told.err
    before = tree_bytes(world.book / "drinks")
    done = world.run("release", "4", "--json").json
    assert done["number"] == 4 and done["tag"] == "release/4" and done["commit"] == world.main() == world.main(world.origin)
    assert tree_bytes(world.book / "drinks") == before and git(world.book, "status", "--porcelain") == ""
    git(world.book, "verify-commit", "main"), git(world.book, "verify-tag", "release/4")
    assert "released" in world.run("release", "4", code=1).err and world.main() == done["commit"]
    published = world.run("publish", world.packs, "--keys", world.publishing_keys, "--json").json
    assert len(published["sites"]) == 12
    state = world.site("saltmarket")
    pulled = run("pull", world.packs, "--site", "saltmarket", "--state", state, "--json").json
    assert pulled["main"] == done["commit"]
    # In force only from its start: today's card still has 34 g, the card of 3 December 36 g.
    assert "34 g" in run("card", "blackcurrant-hojicha", "--state", state).out
    later = run("card", "blackcurrant-hojicha", "--state", state, now="2026-12-02T05:00:00Z").out
    assert "36 g" in later and "Release 4" in later


# --- the buyer ----------------------------------------------------------------------------------

def test_a_price_change_alone_is_of_class_price_and_changes_no_entry(world: World) -> None:
    prices = "prices/marram/price-book.yaml"
    world.edit(prices, "oat-drink: {pack: case-6l, price: 11.50 EUR", "oat-drink: {pack: case-6l, price: 12.45 EUR")
    world.run("propose", "Oat drink dearer", "--why", "The supplier's list of December.", "--key", world.key(BUYER))
    shown = world.run("report", "4", "--json").json
    assert shown["effect"]["entries"] == []
    assert [f for f, _ in shown["effect"]["files"]] == [prices]
    assert "price" in shown["classes"]
    assert {s["scope"] for s in shown["signings"]} == {"franchise/marram"}
    assert shown["costs"] and {c["franchise"] for c in shown["costs"]} == {"marram"}
    # Another franchise's page says that nothing of theirs moves, and holds no such price.
    other = world.run("report", "4", "--for", "northsands", "--json")
    assert other.json["effect"]["entries"] == [] and other.json["effect"]["files"] == [] and "12.45" not in other.out
    assert world.run("show", "blackcurrant-hojicha", "--for", "marram", "--json").json["costs"]


# --- the site lead ------------------------------------------------------------------------------

def test_offline_the_old_cards_open_and_it_is_said_loudly(played: tuple[World, object], tmp_path: Path) -> None:
    world = copied(played[0], tmp_path, "packs", "sites")
    state = world.site("saltmarket")
    before = run("card", "blackcurrant-hojicha", "--state", state)
    assert "NOT CONFIRMED" not in before.both
    shutil.move(world.packs, world.root / "gone")
    told = run("pull", world.packs, "--site", "saltmarket", "--state", state, now="2026-11-28T06:00:00Z", code=1)
    assert told.out == "" and "last verified cards" in told.err.lower() and "2026-11-25" in told.err
    page = (state / "pages" / "index.html").read_text()
    assert "not confirmed since" in page.lower()
    old = run("card", "blackcurrant-hojicha", "--state", state, now="2026-11-28T12:00:00Z")
    assert old.code == 0 and "NOT CONFIRMED since 2026-11-25" in old.both and "Ask before answering" in old.both
    assert "34 g" not in old.out or "80 ml" in old.out, "in the site's own tools"
    assert "cover" in (state / "pages" / "allergens.html").read_text().lower() or "ask before answering" in (state / "pages" / "allergens.html").read_text().lower()
    shutil.move(world.root / "gone", world.packs)
    again = run("pull", world.packs, "--site", "saltmarket", "--state", state, "--json", now="2026-11-28T13:00:00Z")
    assert again.json["changed"] == [] and not again.json["first"]
    assert "NOT CONFIRMED" not in run("card", "--state", state, now="2026-11-28T13:00:00Z").both


def test_a_first_pull_needs_the_root_and_each_site_gets_its_own(played: tuple[World, object], tmp_path: Path) -> None:
    world = played[0]
    told = run("pull", world.packs, "--site", "kelp-lane", "--state", tmp_path / "kelp", code=2)
    assert "root" in told.err.lower() and not (tmp_path / "kelp" / "pages").exists()
    done = run("pull", world.packs, "--site", "kelp-lane", "--state", tmp_path / "kelp", "--root", world.first_root, "--json").json
    assert done["first"] and done["site"] == "kelp-lane" and Path(done["pages"]).is_file()
    for name in ("index", "cards", "preps", "allergens", "changed"):
        assert (tmp_path / "kelp" / "pages" / f"{name}.html").is_file() and (tmp_path / "kelp" / "pages" / f"{name}.txt").is_file()
    # The same state never takes another site's cards.
    told = run("pull", world.packs, "--site", "saltmarket", "--state", tmp_path / "kelp", code=1)
    assert told.out == "" and "kelp" in told.err.lower()
    default = run("pull", world.packs, "--site", "kelp-lane", "--root", world.first_root, XDG_STATE_HOME=str(tmp_path / "xdg"))
    assert str(tmp_path / "xdg" / "specctl" / "kelp-lane") in default.out
    assert run("card", "--site", "kelp-lane", XDG_STATE_HOME=str(tmp_path / "xdg")).out


# --- the inspector ------------------------------------------------------------------------------

def test_in_force_to_the_second_around_a_start(world: World) -> None:
    """Release 2 starts on 19 November at 04:00 local; in November Great Britain and Ireland keep UTC (tz database)."""
    def at(moment: str, site: str = "saltmarket") -> dict[str, object]:
        (answer,) = world.run("in-force", site, "blackcurrant-hojicha", "--at", moment, "--json").json["answers"]
        return answer

    assert (at("2026-11-19T03:59:59Z")["release"], at("2026-11-19T04:00:00Z")["release"]) == (1, 2)
    assert at("2026-11-19T04:59:59+01:00")["release"] == 1 and at("2026-11-19T05:00:00+01:00")["release"] == 2
    # Beacon Street keeps America/New_York, five hours behind: 04:00 there is 09:00 UTC.
    american = (world.book / "sites" / "beacon-street.yaml").read_text()
    assert "America/New_York" in american
    assert (at("2026-11-19T08:59:59Z", "beacon-street")["release"], at("2026-11-19T09:00:00Z", "beacon-street")["release"]) == (1, 2)
    answer = at("2026-11-20")
    assert answer["at"] == "2026-11-20T23:59:59Z" and answer["since"] == "2026-11-19T04:00:00Z"
    assert {s["person"] for s in answer["signers"]} == {SECOND, *MANAGERS.values()}  # type: ignore[union-attr, index]
    assert answer["why"] == "One gram too thin and the foam sinks; it did at two sites."
    assert answer["content"]["item"] == "drink/blackcurrant-hojicha"  # type: ignore[index]
    assert git(world.book, "rev-parse", "release/2^{commit}") == answer["commit"]


def test_in_force_needs_no_work_tree_and_knows_no_future(world: World, tmp_path: Path) -> None:
    before = world.run("in-force", "saltmarket", "--json").out
    shutil.rmtree(world.book / "drinks")
    assert world.run("in-force", "saltmarket", "--json").out == before
    bare = run("in-force", "saltmarket", "--json", "--book", world.origin)
    assert bare.out == before
    none = world.run("in-force", "saltmarket", "blackcurrant-hojicha", "--at", "2026-11-01", code=1)
    assert none.out == "" and "2026-11-01" in none.err
    assert world.run("in-force", "nowhere", code=1).out == ""
    assert world.run("in-force", "saltmarket", "no-such-drink", code=1).out == ""
    assert AUTHOR == world.run("in-force", "saltmarket", "blackcurrant-hojicha", "--json").json["answers"][0]["released_by"]
