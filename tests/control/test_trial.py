"""A trial before the first wave: asked for by a rule, planned as a wave, refused where it is missing or too short.

Common practice in chains, no source: a new dose is poured at one counter before
all pour it. Days are counted by each site's own calendar (tz database).
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from chain_world import World, day, plain_git

import specctl.actions.releasing as releasing
from specctl.actions.asking import ask
from specctl.actions.auditing import audit
from specctl.actions.explaining import explain
from specctl.actions.proposing import WaveWish
from specctl.actions.reinstating import ReinstateWish, reinstate
from specctl.change.effect import WavePlan
from specctl.change.policy import Hit
from specctl.change.rows import Row
from specctl.change.trial import lacking, trials_asked
from specctl.domain.people import Policy, Rule, Trial
from specctl.errors import Refused
from specctl.report.policy_words import policy_text

FROST = "drinks/hazelnut-frost.yaml"
QUAY = "northsands-quay"


@pytest.fixture
def tried(world: World) -> World:
    """From release 2 on an amount is tried for five days, at Northsands Quay or Harbour Row."""
    text = world.on_main("policy.yaml")
    head, gap, rest = text.partition("  amount:\n")
    (world.book / "policy.yaml").write_text(head + gap + f"    trial: {{days: 5, sites: [{QUAY}, harbour-row]}}\n" + rest + "\n")
    name = world.propose(3.5, "Trials", start=day(4).date()).name
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.signed(name, 3.6)
    world.release(name, 3.7)
    return world


def more_paste(world: World, at: float, *waves: tuple[str, float, str], **more: Any) -> str:
    world.edit(FROST, "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
    plan = tuple(WaveWish(key, day(start).date(), tuple(filter(None, [site]))) for key, start, site in waves)
    name = world.propose(at, "More paste", waves=plan, start=day(min((s for _, s, _ in waves), default=at + 5)).date(), **more).name
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.signed(name, at + 0.1)
    return name


@pytest.mark.parametrize(
    "waves, words",
    [
        ((), "5 days at a trial site before the first wave, and no wave is called trial"),
        ((("pilot", 8, QUAY), ("rest", 20, "")), "no wave is called trial"),
        ((("trial", 8, QUAY), ("rest", 12, "")), r"4 days where the policy asks for 5"),
        ((("trial", 8, "breakwater"), ("rest", 20, "")), "breakwater may not try it"),
    ],
)
def test_without_a_trial_that_is_long_enough_and_where_it_may_be_nothing_is_released(tried: World, waves: tuple[Any, ...], words: str) -> None:
    name = more_paste(tried, 5, *waves)
    with pytest.raises(Refused, match=words):
        tried.release(name, 5.5)
    with tried.open() as source:
        found = explain(source, name, day(5.2).date())
    assert found.trial is not None and len(found.trial.lacks) == 1
    said = policy_text(found.as_json())
    assert "A trial is asked for (by: amount): 5 days at a trial site before the first wave." in said and found.trial.lacks[0] in said


def test_a_planned_trial_is_released_and_the_trial_site_is_ahead_of_the_others(tried: World) -> None:
    name = more_paste(tried, 5, ("trial", 8, QUAY), ("rest", 13, ""))
    with tried.open() as source:
        found = explain(source, name, day(5.2).date())
    assert found.trial is not None and (found.trial.sites, found.trial.lacks) == ((QUAY,), ())
    tried.release(name, 5.5)
    with tried.open() as source:
        shown = {site: ask(source, site, day(9), "hazelnut-frost")[0][0].release for site in (QUAY, "harbour-row", "breakwater")}
        assert shown == {QUAY: 3, "harbour-row": 1, "breakwater": 1}
        assert ask(source, "breakwater", day(13.5), "hazelnut-frost")[0][0].release == 3
        assert audit(source, afresh=True).first is None


def test_a_late_release_that_eats_up_the_days_is_refused(tried: World) -> None:
    """Planned for day 8 and released on day 10: the trial would begin with the next opening, three days before the rest."""
    name = more_paste(tried, 5, ("trial", 8, QUAY), ("rest", 14, ""))
    with pytest.raises(Refused, match="3 days where the policy asks for 5"):
        tried.release(name, 10)


def test_a_trial_that_went_badly_is_stopped_before_the_waves_without_a_trial_of_its_own(tried: World) -> None:
    name = more_paste(tried, 5, ("trial", 8, QUAY), ("rest", 13, ""))
    tried.release(name, 5.5)
    with tried.open() as source:
        back = reinstate(source, ReinstateWish(1, "It sank.", day(9), start=day(13).date(), key=tried.key("isla-varn"))).name
    tried.signed(back, 9.2)
    tried.release(back, 9.5)
    with tried.open() as source:
        before = {s: ask(source, s, day(7), "hazelnut-frost")[0][0].entry for s in (QUAY, "breakwater")}
        after = {s: ask(source, s, day(20), "hazelnut-frost")[0][0].entry for s in (QUAY, "breakwater")}
        assert before == after
        assert audit(source, afresh=True).first is None


def test_a_release_past_its_trial_by_git_or_a_changed_tool_is_found(tried: World, monkeypatch: pytest.MonkeyPatch) -> None:
    name = more_paste(tried, 5)
    monkeypatch.setattr(releasing.Findings, "untried", lambda self, starts: [])
    tried.release(name, 5.5)
    monkeypatch.undo()
    with tried.open() as source:
        first = audit(source, afresh=True).first
    assert first is not None and first.code == "trial" and "no wave is called trial" in first.what


def row(site: str, item: str = "drink/x") -> Row:
    return Row(site, item, "a", "b")


def test_what_is_not_changed_at_the_trial_site_is_not_tried() -> None:
    asked = {"amount": Trial(5)}
    waves = (WavePlan("trial", "", ("one",)), WavePlan("rest", "", ("two",)))
    days = {"one": date(2026, 1, 1), "two": date(2026, 1, 1) + timedelta(days=5)}
    assert list(lacking(asked, waves, (row("one"), row("two")), days)) == []
    assert [w.split(" changes")[0] for w in lacking(asked, waves, (row("one"), row("two"), row("two", "drink/y")), days)] == ["drink/y"]


def test_what_only_adds_to_declarations_never_waits_for_a_trial() -> None:
    policy = Policy({c: Rule(c, ("drinks",), "", Trial(9)) for c in ("declaration-up", "amount")}, ("drinks",))
    up, amount = (Hit(c, frozenset(), "") for c in ("declaration-up", "amount"))
    assert trials_asked(policy, [up]) == {}
    assert set(trials_asked(policy, [up, amount])) == {"declaration-up", "amount"}


