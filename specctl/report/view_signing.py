"""What is asked of whom, when it starts, what was signed, and what to type."""

from __future__ import annotations

import shlex
from datetime import datetime

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact, ObjectionHeard, Signing
from specctl.report.tables import Block, Cell, Column, Command, Facts, Listing, Note, Point, Section, Table, cell
from specctl.report.view_costs import EVIDENCE
from specctl.report.view_names import (
    day_words,
    listed,
    role_words,
    scope_words,
    site_list,
    until_words,
    weekday_words,
)
from specctl.report.view_numbers import ROUNDING, count
from specctl.report.words import CAUTIONS, say

SIGNING = "signing"
FILES = "files"
ABOUT = "about"
SIGN = "sign"

_OVER = {
    "released": "This proposal is released: nothing more can be signed.",
    "superseded": "This proposal is superseded by a later one: nothing is to be signed.",
    "withdrawn": "This proposal is withdrawn: nothing is to be signed.",
}


def is_over(impact: Impact) -> bool:
    return impact.state in _OVER


def asked_point(impact: Impact) -> Point:
    """What the reader is asked, and by whom."""
    label = "You are asked"
    author = impact.author or "an author who is not named"
    if is_over(impact):
        return Point(label, _OVER[impact.state], SIGNING)
    if impact.conflicts:
        words = f"Nothing yet: it CANNOT be released, {_conflict_words(impact)}. {author} must settle that first."
        return Point(label, words, ABOUT, alarm=True)
    own = [s for s in _asked_here(impact) if s.met_by is None]
    if not own:
        words = "Nothing more for this scope: its signatures are in."
        if not impact.signings:
            words = "Nothing: the policy names no signature for it."
        return Point(label, f"{words} Proposed by {author}.", SIGNING)
    whom = listed(f"{role_words(s.role)} for {scope_words(impact, s.scope)}" for s in own)
    draft = "It is still a draft. " if impact.state == "draft" else ""
    return Point(label, f"{draft}To sign or object, as {whom}. Proposed by {author}.", SIGN)


def _asked_here(impact: Impact) -> list[Signing]:
    """A franchise's page asks for its own scope; the chain's page for every one."""
    scope = impact.effect.scope
    return [s for s in impact.signings if scope in (CHAIN, s.scope)]


NOTHING_LEFT = (
    "Nothing is left to compare: today's book holds what this proposal changed, so this page cannot show it. "
    "Ask for the release, or for what is in force."
)


def nothing_left(impact: Impact) -> bool:
    """Whether the proposal is over and today's book already holds its effect."""
    return is_over(impact) and impact.effect.is_empty


def starts_point(impact: Impact, now: datetime | None) -> Point:
    """Waves with their dates, and what happens when nobody does anything."""
    waves = impact.effect.waves
    if not waves:
        text = _start_words(impact.effect.start, now)
    elif len(waves) == 1:
        text = f"{_start_words(waves[0].start, now)}, {count(len(waves[0].sites), 'site')}"
    else:
        rest = (f"{day_words(w.start)}, {count(len(w.sites), 'site')}" for w in waves[1:])
        text = "; ".join([f"{_start_words(waves[0].start, now)}, {count(len(waves[0].sites), 'site')}", *rest])
    nothing = " Do nothing: it is not released, today's cards stay."
    if is_over(impact):
        nothing = ""
    elif impact.signings and all(s.met_by for s in impact.signings) and not impact.conflicts:
        nothing = " Every signature is in: it can be released without you. Until then today's cards stay."
    return Point("Starts", f"{text}.{nothing}", ABOUT)


def _start_words(start: str, now: datetime | None) -> str:
    near = until_words(start, now)
    return f"{weekday_words(start)} ({near})" if near else weekday_words(start)


def signed_point(impact: Impact) -> Point:
    met = [s for s in impact.signings if s.met_by is not None]
    open_ones = [s for s in impact.signings if s.met_by is None]
    objections = [o for o in impact.objections if o.open]
    text = f"{len(met)} of {len(impact.signings)} signed"
    text += f" ({listed(f'{role_words(s.role)}: {s.met_by}' for s in met)})." if met else "."
    if open_ones:
        text += f" Open: {listed(_open_words(impact, s) for s in open_ones)}."
    who = f": {listed(o.person for o in objections)}" if objections else ""
    text += f" {count(len(objections), 'objection')} open{who}." if objections else " No objection open."
    return Point("Signed and open", text, SIGNING, alarm=bool(objections))


def _open_words(impact: Impact, signing: Signing) -> str:
    words = role_words(signing.role)
    if signing.scope != CHAIN:
        words += f" for {scope_words(impact, signing.scope)}"
    return f"{words} (STALE)" if signing.stale else words


def signing_section(impact: Impact) -> Section:
    blocks: list[Block] = []
    if impact.signings:
        asked = ("Who signs", "Why", "Who can", "State", "Effect digest it names")
        rows = tuple(_signing_row(impact, s) for s in impact.signings)
        blocks.append(Table("Signatures the policy asks for", tuple(Column(c) for c in asked), rows))
    else:
        blocks.append(Note("The policy asks for no signature on this."))
    if impact.objections:
        heard = ("Who", "Said", "Objection", "State")
        rows = tuple(_objection_row(impact, o) for o in impact.objections)
        blocks.append(Table("Objections", tuple(Column(c) for c in heard), rows))
    else:
        blocks.append(Note("Nobody has objected."))
    return Section(SIGNING, "Who must sign, and why", tuple(blocks), alarm=any(o.open for o in impact.objections))


def _signing_row(impact: Impact, signing: Signing) -> tuple[Cell, ...]:
    return (
        cell(role_words(signing.role), quiet=(f"for {scope_words(impact, signing.scope)}",)),
        cell(*(signing.because or ("no reason is stated",))),
        cell(listed(signing.can_sign) or "NOBODY is named who can", alarm=not signing.can_sign),
        _signed_cell(signing),
        cell(signing.digest),
    )


def _signed_cell(signing: Signing) -> Cell:
    if signing.met_by is not None:
        return cell(f"signed by {signing.met_by}")
    if signing.stale:
        return cell("STALE: sign again", quiet=(signing.stale,), alarm=True)
    return cell("open")


def _objection_row(impact: Impact, objection: ObjectionHeard) -> tuple[Cell, ...]:
    return (
        cell(objection.person, quiet=(f"{role_words(objection.role)}, {scope_words(impact, objection.scope)}",)),
        cell(_said_words(objection.said)),
        cell(objection.note or "no reason is stated"),
        cell("OPEN" if objection.open else "answered", alarm=objection.open),
    )


def _said_words(said: str) -> str:
    moment, _, clock = said.partition("T")
    return f"{day_words(moment)}, {clock[:5]} UTC" if clock.endswith("Z") else day_words(said)


def files_section(impact: Impact) -> Section:
    title = "Other controlled files that change"
    if not impact.file_changes:
        return Section(FILES, title, (Note("No other controlled file changes."),))
    columns = ("File", "What", "Before", "After")
    rows = tuple(
        (cell(file), cell(path), *_fact_cells(before, after)) for file, path, before, after in impact.file_changes
    )
    table = Table("Facts that differ, file by file", tuple(Column(c) for c in columns), rows)
    return Section(FILES, title, (table,))


def _fact_cells(before: str, after: str) -> tuple[Cell, Cell]:
    if not before and not after:
        return cell("no fact differs"), cell("no fact differs")
    return cell(before or "not there"), cell(after or "taken out")


def about_section(impact: Impact) -> Section:
    """What this page rests on: proposal, scope, digests, commits, cautions."""
    blocks: list[Block] = []
    if impact.conflicts:
        lead = f"CANNOT be released: {_conflict_words(impact)}"
        blocks.append(Listing(lead, impact.conflicts, alarm=True))
    pairs = [
        ("Proposal", impact.proposal),
        ("Book", f"{impact.book_name} ({impact.book})"),
        ("State", impact.state),
        ("Scope", f"{scope_words(impact, impact.effect.scope)} ({impact.effect.scope})"),
        *_wave_pairs(impact),
        ("Effect digest", impact.digest),
        ("Compared with main at", impact.main or "not stated"),
        ("Tip of the proposal", impact.tip or "not stated"),
        ("Edited from", impact.edited_from or "not stated"),
        ("Classes of change", listed(role_words(c) for c in impact.classes) or "none"),
        *_price_pairs(impact),
    ]
    blocks.append(Facts(tuple(pairs)))
    blocks.append(Listing("Mind", (*(say(key) for key in CAUTIONS), *_MIND)))
    blocks.append(Note(ROUNDING))
    return Section(ABOUT, "What this page rests on", tuple(blocks), alarm=bool(impact.conflicts))


_MIND = (
    "Allergens, caffeine, temperatures and hold times stand here as the book has them; local law and licensed "
    "practice decide.",
    "UNKNOWN is never an answer that something is absent.",
    EVIDENCE,
)


def _wave_pairs(impact: Impact) -> list[tuple[str, str]]:
    waves = impact.effect.waves
    if not waves:
        return [("Starts", weekday_words(impact.effect.start))]
    return [
        (f"Wave {w.key}, {weekday_words(w.start)}", ", ".join(site_list(impact, w.sites)) or "no site")
        for w in waves
    ]


def _price_pairs(impact: Impact) -> list[tuple[str, str]]:
    if not impact.price_books:
        return [("Price book", "none at hand")]
    return [
        (f"Price book, {impact.names.franchises.get(f, f)}", f"{digest}, as of {day_words(as_of)}")
        for f, digest, as_of in impact.price_books
    ]


def _conflict_words(impact: Impact) -> str:
    places = count(len(impact.conflicts), "place")
    return f"in {places} this proposal and today's book both changed the same thing, apart"


def sign_section(impact: Impact) -> Section:
    """The exact lines to type; always the last part of a page."""
    title = "Sign or object"
    if is_over(impact):
        return Section(SIGN, title, (Note(_OVER[impact.state]),))
    if impact.conflicts:
        words = "It cannot be signed or released as it stands. Its author settles the conflict and proposes it again."
        return Section(SIGN, title, (Note(words, alarm=True),), alarm=True)
    blocks: list[Block] = []
    own = _asked_here(impact)
    open_ones = [s for s in own if s.met_by is None] or own
    if not open_ones:
        blocks.append(Note("No signature is asked for in this scope. Anybody who may sign may object:"))
        blocks.append(Command(_line("object", impact.proposal, "", impact.effect.scope)))
    for signing in open_ones:
        words = f"As {role_words(signing.role)}, for {scope_words(impact, signing.scope)}:"
        blocks += [Note(words), Command(_line("sign", impact.proposal, signing.role, signing.scope))]
        blocks += [Note("or, to object:"), Command(_line("object", impact.proposal, signing.role, signing.scope))]
    blocks += _without_a_book(impact, open_ones)
    words = f"A signature for {scope_words(impact, impact.effect.scope)} names this effect digest: {impact.digest}"
    return Section(SIGN, title, (*blocks, Note(words)))


def _without_a_book(impact: Impact, signings: list[Signing]) -> list[Block]:
    """The same on a report's JSON form, which holds this page's scope alone."""
    here = [s for s in signings if s.scope == impact.effect.scope]
    if not here:
        return []
    blocks: list[Block] = [Note("Without a copy of the book, on this report's JSON form, with your id as signatory:")]
    for signing in here:
        for verb in ("sign", "object"):
            blocks.append(Command(f"{_line(verb, _REPORT, signing.role, '')} --person YOUR-ID"))
    return blocks


_REPORT = "REPORT.json"


def _line(verb: str, what: str, role: str, scope: str) -> str:
    words = ["specctl", verb, what]
    words += ["--role", role] if role else []
    words += ["--scope", scope] if scope else []
    return shlex.join(words) + (' --note "why"' if verb == "object" else "")
