"""Which card changes at which site, and where it cannot be followed: one pattern for the map and its table.

Sites of one franchise that show the same stand together, so that two thousand
of them can still be read; the franchise and the pattern with the worst marks
come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from specctl.change.impact import Impact
from specctl.report.view_lines import is_called_out

CHANGED, NEW, GONE = "changes", "new", "gone"


@dataclass(frozen=True, slots=True)
class Mark:
    """How one item is touched at a site; `out` where a line is out of tolerance or something is lacking."""

    item: str
    how: str
    out: bool


@dataclass(frozen=True, slots=True)
class Group:
    """Sites of one franchise with the same marks, by name."""

    franchise: str
    sites: tuple[str, ...]
    marks: tuple[Mark, ...]

    @property
    def outs(self) -> int:
        return sum(mark.out for mark in self.marks)


def groups_of(impact: Impact) -> tuple[Group, ...]:
    """Every touched site in its group, worst franchise first, worst group first in each."""
    out = {(h.site, h.item) for h in impact.hindrances}
    out |= {
        (site, change.item)
        for change in impact.amounts
        if is_called_out(change)
        for at in change.at
        if at.after is not None and at.after["verdict"] in ("outside", "no-tool")
        for site in at.sites
    }
    by_site: dict[str, list[Mark]] = {}
    for row in impact.effect.rows:
        how = NEW if row.before is None else GONE if row.after is None else CHANGED
        by_site.setdefault(row.site, []).append(Mark(row.item, how, (row.site, row.item) in out))
    same: dict[tuple[str, tuple[Mark, ...]], list[str]] = {}
    for site, marks in by_site.items():
        key = (impact.names.site_franchise.get(site, ""), tuple(sorted(marks, key=lambda m: m.item)))
        same.setdefault(key, []).append(impact.names.sites.get(site, site))
    groups = [Group(franchise, tuple(sorted(sites)), marks) for (franchise, marks), sites in same.items()]
    worst: dict[str, int] = {}
    for group in groups:
        worst[group.franchise] = max(worst.get(group.franchise, 0), group.outs)
    return tuple(sorted(groups, key=lambda g: (-worst[g.franchise], g.franchise, -g.outs, -len(g.marks), g.sites)))


def items_by_weight(groups: tuple[Group, ...]) -> tuple[str, ...]:
    """Items by how many sites cannot follow them, then by how many they change at."""
    outs: dict[str, int] = {}
    touched: dict[str, int] = {}
    for group in groups:
        for mark in group.marks:
            touched[mark.item] = touched.get(mark.item, 0) + len(group.sites)
            outs[mark.item] = outs.get(mark.item, 0) + mark.out * len(group.sites)
    return tuple(sorted(touched, key=lambda item: (-outs[item], -touched[item], not item.startswith("drink/"), item)))
