"""One report as values, in reading order, for every medium to show.

`view_of` words an `Impact`: what is asked first, then the first screen, then
each part in full. All numbers arrive here as text. No rule of the business is
computed; what the impact does not hold is not said. Same impact and clock,
same view.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact
from specctl.report import (
    view_allergens,
    view_amounts,
    view_bar,
    view_buying,
    view_check,
    view_costs,
    view_cups,
    view_deciding,
    view_files,
    view_money,
    view_signing,
    view_sites,
    view_summary,
    view_training,
    view_warning,
)
from specctl.report.stamp import stamp_of
from specctl.report.tables import Point, Section, texts_of
from specctl.report.tongue import _
from specctl.report.view_names import scope_words


@dataclass(frozen=True, slots=True)
class View:
    """A page: its title, eight points for the first screen, and its sections."""

    title: str
    book_name: str
    proposal: str
    scope: str
    scope_words: str
    state: str
    why: str
    author: str
    digest: str
    points: tuple[Point, ...]
    sections: tuple[Section, ...]
    stamp: str = ""
    """What it was made from, for forms to carry unseen (`specctl.report.stamp`)."""

    def section(self, key: str) -> Section:
        """The section of that key; KeyError if there is none."""
        found = {s.key: s for s in self.sections}
        return found[key]

    @property
    def running_foot(self) -> str:
        """One line for the foot of every printed page."""
        words = _("Proposal {proposal}, {scope}, effect {digest}")
        return words.format(proposal=self.proposal, scope=self.scope_words, digest=self.digest)

    def standing(self, shown: Callable[[str], str]) -> str:
        """Which book, which proposal, how it stands, for whom: one sentence, its names as `shown` gives them."""
        words = _("{book}, proposal {proposal}, {state}, for {scope}.")
        names = {"book": self.book_name, "proposal": self.proposal, "state": self.state, "scope": self.scope_words}
        return words.format_map({place: shown(name) for place, name in names.items()})

    def texts(self) -> tuple[str, ...]:
        """Every text a reader meets."""
        head = (self.title, self.book_name, self.proposal, self.scope_words, self.state, self.why)
        points = tuple(t for p in self.points for t in (p.label, p.text))
        body = tuple(t for s in self.sections for t in (s.title, *texts_of(s.blocks)))
        return (*head, *points, *body)


def view_of(impact: Impact, *, now: datetime | None = None) -> View:
    """The view of an impact. `now` only adds how near a start and how old a paper is."""
    if view_signing.nothing_left(impact):
        return _view(impact, now, _points_after(impact, now), _sections_after(impact))
    return _view(impact, now, _points(impact, now), _sections(impact, now))


def _points(impact: Impact, now: datetime | None) -> tuple[Point, ...]:
    chain = impact.effect.scope == CHAIN
    return (
        view_deciding.asked_point(impact, now),
        view_warning.point(impact, now),
        view_sites.follow_point(impact, _("Sites") if chain else _("My sites")),
        view_cups.told(view_bar.point(impact), impact),
        view_buying.point(impact),
        view_money.point(impact),
        view_training.point(impact),
        view_deciding.signed_point(impact),
    )


def _sections(impact: Impact, now: datetime | None) -> tuple[Section, ...]:
    return (
        view_summary.section(impact),
        view_allergens.section(impact, now),
        view_cups.section(impact),
        view_sites.follow_section(impact),
        view_amounts.section(impact),
        view_sites.method_section(impact),
        view_buying.section(impact),
        view_costs.section(impact),
        view_signing.signing_section(impact),
        view_files.section(impact),
        view_sites.untouched_section(impact),
        view_signing.about_section(impact),
        view_signing.sign_section(impact),
    )


def _points_after(impact: Impact, now: datetime | None) -> tuple[Point, ...]:
    return (
        view_deciding.asked_point(impact, now),
        Point(_("What changes"), _(view_signing.NOTHING_LEFT), view_signing.ABOUT, alarm=True),
        view_deciding.signed_point(impact),
    )


def _sections_after(impact: Impact) -> tuple[Section, ...]:
    return (
        view_signing.signing_section(impact),
        view_signing.about_section(impact),
        view_signing.sign_section(impact),
    )


def _view(impact: Impact, now: datetime | None, points: tuple[Point, ...], sections: tuple[Section, ...]) -> View:
    return View(
        title=impact.title,
        book_name=impact.book_name,
        proposal=impact.proposal,
        scope=impact.effect.scope,
        scope_words=scope_words(impact, impact.effect.scope),
        state=view_signing.state_words(impact),
        why=impact.why,
        author=impact.author,
        digest=impact.digest,
        points=points,
        sections=(*sections, view_check.section(impact.digest)),
        stamp=stamp_of(impact, now).text,
    )
