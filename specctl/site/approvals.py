"""What a bundle brings to show that its releases were approved, read strictly; whether it does is `site/quorum.py`'s.

    {"trust": [{"since": release, "trust": ..., "people": [...]}],
     "releases": [{"number", "proposal", "statements": [digest], "effects": {scope: effect},
                   "told": [[path, [[fact, before, after]]]]}]}

`trust` is everybody who could sign, from the first main on, with each release
that changed it. Effects stand as they were signed, so that their digests can be
made again; the statements themselves are the bundle's. `told` are the changed
facts of the files that name this site, where a release changes any.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from specctl import canonical
from specctl.change.rows import Row, entries_at
from specctl.change.trust import Trust, read_trust
from specctl.errors import Untrusted
from specctl.site import strict

_SCOPE = re.compile(r"chain|franchise/[a-z0-9]+(?:-[a-z0-9]+)*")
_PROPOSAL = re.compile(r"[1-9][0-9]{0,8}-[a-z0-9]+(?:-[a-z0-9]+)*")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True, slots=True)
class Signed:
    """One effect as it was signed, and what of it is about this site: its rows, and its wave's day."""

    digest: str
    rows: tuple[Row, ...]
    day: str
    files: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Approval:
    """One release's approval: the statements its record counts, and the effects they are about, by scope."""

    number: int
    proposal: str
    statements: tuple[str, ...]
    effects: Mapping[str, Signed]
    told: Mapping[str, list[Any]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Approvals:
    """Who could sign from which release on (0: the first main), and every approval, by number."""

    trust: tuple[tuple[int, Trust], ...] = ()
    releases: Mapping[int, Approval] | None = None


def read_approvals(raw: Any, site: str) -> Approvals:
    """The approvals of a bundle. Raises Untrusted naming the path of what is wrong."""
    top = strict.fields(raw, "$.approvals", trust=list, releases=list)
    trust: list[tuple[int, Trust]] = []
    for at, each in enumerate(top["trust"]):
        path = f"$.approvals.trust[{at}]"
        row = strict.fields(each, path, since=int, trust=dict, people=list)
        if row["since"] < 0 or (trust and row["since"] <= trust[-1][0]):
            raise strict.wrong(path, "not in the order in which it changed")
        trust.append((row["since"], read_trust({"trust": row["trust"], "people": row["people"]})))
    releases: dict[int, Approval] = {}
    for at, each in enumerate(top["releases"]):
        path = f"$.approvals.releases[{at}]"
        later = {"told": list} if isinstance(each, dict) and "told" in each else {}
        row = strict.fields(each, path, number=int, proposal=str, statements=list, effects=dict, **later)
        number = strict.count(row["number"], f"{path}.number")
        if number in releases:
            raise strict.wrong(path, "one release told twice")
        effects = {
            strict.matches(scope, f"{path}.effects", _SCOPE): _signed(effect, scope, site, f"{path}.effects.{scope}")
            for scope, effect in row["effects"].items()
        }
        releases[number] = Approval(
            number,
            strict.matches(row["proposal"], f"{path}.proposal", _PROPOSAL),
            tuple(strict.matches(one, f"{path}.statements", strict.DIGEST) for one in row["statements"]),
            effects,
            _told(row.get("told", []), f"{path}.told"),
        )
    return Approvals(tuple(trust), dict(sorted(releases.items())))


def _told(raw: list[Any], path: str) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for pair in raw:
        if len(strict.typed(pair, list, path)) != 2 or strict.typed(pair[0], str, path) in found:
            raise strict.wrong(path, "a file has two parts, and is told once")
        found[pair[0]] = _facts(pair[1], path)
    return found


def _facts(raw: Any, path: str) -> list[Any]:
    for fact in strict.typed(raw, list, path):
        if len(strict.typed(fact, list, path)) != 3 or not all(isinstance(step, str) for step in strict.typed(fact[0], list, path)):
            raise strict.wrong(path, "a changed fact has three parts")
    return list(raw)


def _signed(raw: Any, scope: str, site: str, path: str) -> Signed:
    effect = strict.fields(raw, path, effect=int, scope=str, start=str, waves=list, sites=list, entries=list, files=list)
    if effect["effect"] != 1 or effect["scope"] != scope:
        raise strict.wrong(path, "not an effect of this scope")
    waves = [strict.fields(wave, f"{path}.waves", key=str, start=str, sites=list) for wave in effect["waves"]]
    day = max([wave["start"] for wave in waves if site in wave["sites"]], default=effect["start"])
    rows = [_row(row, f"{path}.entries") for row in _rows_at(site, effect, path)]
    files = [_file(row, f"{path}.files") for row in effect["files"]]
    if len(dict(files)) != len(files):
        raise strict.wrong(f"{path}.files", "one file told twice")
    try:
        digest = canonical.digest(effect)
    except TypeError:
        raise strict.wrong(path, "not canonical") from None
    return Signed(digest, tuple(rows), strict.matches(day, path, _DAY), dict(files))


def _rows_at(site: str, effect: dict[str, Any], path: str) -> list[list[Any]]:
    for sites in effect["sites"]:
        if not all(isinstance(each, str) for each in strict.typed(sites, list, f"{path}.sites")):
            raise strict.wrong(f"{path}.sites", "a site is a text")
    for entry in effect["entries"]:
        if len(strict.typed(entry, list, f"{path}.entries")) != 4 or type(entry[3]) is not int:
            raise strict.wrong(f"{path}.entries", "an entry has four parts")
    return entries_at(site, effect["sites"], effect["entries"])


def _row(raw: list[Any], path: str) -> Row:
    if len(raw) != 4:
        raise strict.wrong(path, "a row has four parts")
    before, after = (None if each is None else strict.matches(each, path, strict.DIGEST) for each in raw[2:])
    return Row(raw[0], strict.matches(raw[1], path, strict.ITEM), before, after)


def _file(raw: Any, path: str) -> tuple[str, str]:
    if len(strict.typed(raw, list, path)) != 2:
        raise strict.wrong(path, "a file has two parts")
    return strict.typed(raw[0], str, path), strict.matches(raw[1], path, strict.DIGEST)


def needed(approvals: Approvals | None) -> Approvals:
    """The approvals, where a bundle brings any. Raises Untrusted."""
    if approvals is None or approvals.releases is None or not approvals.trust:
        raise Untrusted(
            "this bundle does not say who approved it, and this site was told to check that",
            "Head office must publish with a specctl that tells it.",
        )
    return approvals
