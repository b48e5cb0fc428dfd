"""Who must sign and why, what was signed, what the page rests on, and what to type."""

from __future__ import annotations

import shlex

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact, ObjectionHeard, Reason, Signing
from specctl.change.policy import CLASS_WORDS
from specctl.report.tables import Block, Cell, Column, Command, Facts, Listing, Note, Section, Table, cell
from specctl.report.told_words import example_words, stale_words
from specctl.report.tongue import _, _n, later
from specctl.report.view_costs import EVIDENCE
from specctl.report.view_names import (
    class_words,
    day_words,
    listed,
    role_words,
    scope_words,
    site_list,
    weekday_words,
)
from specctl.report.view_numbers import ROUNDING
from specctl.report.words import CAUTIONS, say

SIGNING = "signing"
ABOUT = "about"
SIGN = "sign"

OVER = {
    "released": later("This proposal is released: nothing more can be signed."),
    "superseded": later("This proposal is superseded by a later one: nothing is to be signed."),
    "withdrawn": later("This proposal is withdrawn: nothing is to be signed."),
}


def is_over(impact: Impact) -> bool:
    """Whether nothing can be signed any more."""
    return impact.state in OVER


def asked_here(impact: Impact) -> list[Signing]:
    """The signatures a page asks for. A franchise's page asks for its own scope; the chain's page for every one."""
    scope = impact.effect.scope
    return [s for s in impact.signings if scope in (CHAIN, s.scope)]


NOTHING_LEFT = later(
    "Nothing is left to compare: today's book holds what this proposal changed, so this page cannot show it. "
    "Ask for the release, or for what is in force."
)


def nothing_left(impact: Impact) -> bool:
    """Whether the proposal is over and today's book already holds its effect."""
    return is_over(impact) and impact.effect.is_empty


def signing_section(impact: Impact) -> Section:
    blocks: list[Block] = []
    if impact.release:
        blocks.append(Note(_("Released as release {release}; this is how it stood then.").format(release=impact.release)))
    if impact.signings:
        asked = (_("Who signs"), _("For"), _("State"), _("Who can"))
        rows = tuple(_signing_row(impact, s) for s in impact.signings)
        blocks.append(Table(_("Signatures the policy asks for"), tuple(Column(c) for c in asked), rows))
        blocks += [_why(impact, s) for s in impact.signings]
        digests = {s.scope: s.digest for s in impact.signings if s.digest}
        pairs = tuple((_("Effect digest for {scope}").format(scope=scope_words(impact, scope)), d) for scope, d in digests.items())
        blocks += [Facts(pairs)] if pairs else []
    else:
        blocks.append(Note(_("The policy asks for no signature on this.")))
    if impact.objections:
        heard = (_("Who"), _("Said"), _("Objection"), _("State"))
        rows = tuple(_objection_row(impact, o) for o in impact.objections)
        blocks.append(Table(_("Objections"), tuple(Column(c) for c in heard), rows))
    else:
        blocks.append(Note(_("Nobody has objected.")))
    return Section(SIGNING, _("Who must sign, and why"), tuple(blocks), alarm=any(o.open for o in impact.objections))


def _signing_row(impact: Impact, signing: Signing) -> tuple[Cell, ...]:
    scope = scope_words(impact, signing.scope)
    return (
        cell(role_words(signing.role)),
        cell(_("{scope} (new signatories)").format(scope=scope) if signing.quorum else scope),
        _signed_cell(signing),
        cell(listed(signing.can_sign) or _("NOBODY is named who can"), alarm=not signing.can_sign),
    )


# More of one kind would hide the other kinds; the JSON form holds each.
_MOST_EXAMPLES = 5


def _why(impact: Impact, signing: Signing) -> Block:
    """The policy's reasons, class by class in its own words, with what falls into each."""
    words = _("Why {role} signs for {scope}, by the new rules") if signing.quorum else _("Why {role} signs for {scope}")
    lead = words.format(role=role_words(signing.role), scope=scope_words(impact, signing.scope))
    told = {text for reason in signing.reasons for text in reason.examples}
    points = [_reason_words(reason) for reason in signing.reasons]
    points += [example_words(text) for text in signing.because if text not in told]
    if not points and signing.scope != impact.effect.scope:
        points = [_("for what changes elsewhere in the chain")]
    return Listing(lead, tuple(points) or (_("no reason is stated"),))


_LEADS = ("an amount changes in ", "the tools for ", "the cost of ", "the allergen facts in ")


def _without_repeats(examples: tuple[str, ...]) -> list[str]:
    """Examples of one class, the words they all begin with said once."""
    for lead in _LEADS:
        if len(examples) > 1 and all(e.startswith(lead) for e in examples):
            return [examples[0], *(e.removeprefix(lead) for e in examples[1:])]
    return list(examples)


def _reason_words(reason: Reason) -> str:
    words = _(CLASS_WORDS[reason.change]) if reason.change in CLASS_WORDS else class_words(reason.change)
    shown = _without_repeats(tuple(map(example_words, reason.examples[:_MOST_EXAMPLES])))
    more = len(reason.examples) - len(shown)
    shown += [_n("{count} more of this kind", "{count} more of this kind", more).format(count=more)] if more else []
    said = _("{change}. {why}. Here: {here}.") if reason.why else _("{change}. Here: {here}.")
    change = f"{words[:1].upper()}{words[1:]}"
    return said.format(change=change, why=reason.why.rstrip("."), here="; ".join(shown))


def _signed_cell(signing: Signing) -> Cell:
    if signing.met_by is not None:
        return cell(_("signed by {person}").format(person=signing.met_by))
    if signing.stale:
        return cell(_("STALE: sign again"), quiet=(stale_words(signing.stale),), alarm=True)
    return cell(_("open"))


def _objection_row(impact: Impact, objection: ObjectionHeard) -> tuple[Cell, ...]:
    return (
        cell(objection.person, quiet=(f"{role_words(objection.role)}, {scope_words(impact, objection.scope)}",)),
        cell(_said_words(objection.said)),
        cell(objection.note or _("no reason is stated")),
        cell(_("OPEN") if objection.open else _("answered"), alarm=objection.open),
    )


def _said_words(said: str) -> str:
    moment, _separator, clock = said.partition("T")
    return f"{day_words(moment)}, {clock[:5]} UTC" if clock.endswith("Z") else day_words(said)


def about_section(impact: Impact) -> Section:
    """What this page rests on: proposal, scope, digests, commits, cautions."""
    blocks: list[Block] = []
    if impact.conflicts:
        lead = _("CANNOT be released: {why}").format(why=conflict_words(impact))
        blocks.append(Listing(lead, impact.conflicts, alarm=True))
    pairs = [
        (_("Proposal"), impact.proposal),
        (_("Book"), f"{impact.book_name} ({impact.book})"),
        (_("State"), state_words(impact)),
        (_("Proposed by"), impact.author or _("an author who is not named")),
        (_("Scope"), f"{scope_words(impact, impact.effect.scope)} ({impact.effect.scope})"),
        *_wave_pairs(impact),
        (_("Effect digest"), impact.digest),
        (_("Compared with main at"), impact.main or _("not stated")),
        (_("Tip of the proposal"), impact.tip or _("not stated")),
        (_("Edited from"), impact.edited_from or _("not stated")),
        (_("Classes of change"), listed(class_words(c) for c in impact.classes) or _("none")),
        *_price_pairs(impact),
    ]
    blocks.append(Facts(tuple(pairs)))
    blocks.append(Listing(_("Mind"), (*(say(key) for key in CAUTIONS), *map(_, _MIND))))
    blocks.append(Note(_(ROUNDING)))
    return Section(ABOUT, _("What this page rests on"), tuple(blocks), alarm=bool(impact.conflicts))


_MIND = (
    later(
        "Allergens, caffeine, temperatures and hold times stand here as the book has them; local law and licensed "
        "practice decide."
    ),
    later("UNKNOWN is never an answer that something is absent."),
    EVIDENCE,
)


def _wave_pairs(impact: Impact) -> list[tuple[str, str]]:
    waves = impact.effect.waves
    if not waves:
        return [(_("Starts"), weekday_words(impact.effect.start))]
    return [
        (_("Wave {wave}, {day}").format(wave=w.key, day=weekday_words(w.start)), ", ".join(site_list(impact, w.sites)) or _("no site"))
        for w in waves
    ]


def _price_pairs(impact: Impact) -> list[tuple[str, str]]:
    if not impact.price_books:
        return [(_("Price book"), _("none at hand"))]
    return [
        (
            _("Price book, {franchise}").format(franchise=impact.names.franchises.get(f, f)),
            _("{digest}, as of {day}").format(digest=digest, day=day_words(as_of)),
        )
        for f, digest, as_of in impact.price_books
    ]


def conflict_words(impact: Impact) -> str:
    """How many places of the proposal main changed as well, otherwise."""
    places = len(impact.conflicts)
    words = _n(
        "in {count} place this proposal and today's book both changed the same thing, apart",
        "in {count} places this proposal and today's book both changed the same thing, apart",
        places,
    )
    return words.format(count=places)


def state_words(impact: Impact) -> str:
    """`in review`, `released as release 12`."""
    if impact.release:
        return _("released as release {release}").format(release=impact.release)
    return _(_STATES[impact.state]) if impact.state in _STATES else impact.state


_STATES = {
    "draft": later("draft"),
    "in review": later("in review"),
    "approved": later("approved"),
    "released": later("released"),
    "superseded": later("superseded"),
    "withdrawn": later("withdrawn"),
}


def sign_section(impact: Impact) -> Section:
    """The exact lines to type; always the last part of a page."""
    title = _("Sign or object")
    if is_over(impact):
        over = _(OVER[impact.state])
        if impact.release:
            over = _("{over} It is release {release}.").format(over=over, release=impact.release)
        names = _("This page shows effect digest {digest}").format(digest=impact.digest)
        return Section(SIGN, title, (Note(over), Note(names)))
    if impact.conflicts:
        words = _("It cannot be signed or released as it stands. Its author settles the conflict and proposes it again.")
        return Section(SIGN, title, (Note(words, alarm=True),), alarm=True)
    blocks: list[Block] = []
    own = asked_here(impact)
    open_ones = [s for s in own if s.met_by is None] or own
    if not open_ones:
        blocks.append(Note(_("No signature is asked for in this scope. Anybody who may sign may object:")))
        blocks.append(Command(_line("object", impact.proposal, "", impact.effect.scope)))
    for signing in open_ones:
        words = _("As {role}, for {scope}, in a clone of the book:").format(
            role=role_words(signing.role), scope=scope_words(impact, signing.scope)
        )
        blocks += [Note(words), Command(_line("sign", impact.proposal, signing.role, signing.scope))]
        blocks += [Note(_("or, to object:")), Command(_line("object", impact.proposal, signing.role, signing.scope))]
    blocks += _without_a_book(impact, open_ones)
    words = _("A signature for {scope} names this effect digest: {digest}").format(
        scope=scope_words(impact, impact.effect.scope), digest=impact.digest
    )
    return Section(SIGN, title, (*blocks, Note(words)))


def _without_a_book(impact: Impact, signings: list[Signing]) -> list[Block]:
    """The same on a report's JSON form, which holds this page's scope alone."""
    here = [s for s in signings if s.scope == impact.effect.scope]
    if not here:
        return []
    words = _(
        "Without a copy of the book: ask for this report's JSON form, sign that file with your id as signatory, "
        "and mail back the text it prints:"
    )
    blocks: list[Block] = [Note(words)]
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
