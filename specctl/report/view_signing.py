"""Who must sign and why, what was signed, what the page rests on, and what to type."""

from __future__ import annotations

import shlex

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact, ObjectionHeard, Reason, Signing
from specctl.change.policy import CLASS_WORDS
from specctl.report.tables import Block, Cell, Column, Command, Facts, Listing, Note, Section, Table, cell
from specctl.report.view_costs import EVIDENCE
from specctl.report.view_names import (
    day_words,
    listed,
    role_words,
    scope_words,
    site_list,
    weekday_words,
)
from specctl.report.view_numbers import ROUNDING, count
from specctl.report.words import CAUTIONS, say

SIGNING = "signing"
ABOUT = "about"
SIGN = "sign"

OVER = {
    "released": "This proposal is released: nothing more can be signed.",
    "superseded": "This proposal is superseded by a later one: nothing is to be signed.",
    "withdrawn": "This proposal is withdrawn: nothing is to be signed.",
}


def is_over(impact: Impact) -> bool:
    """Whether nothing can be signed any more."""
    return impact.state in OVER


def asked_here(impact: Impact) -> list[Signing]:
    """The signatures a page asks for. A franchise's page asks for its own scope; the chain's page for every one."""
    scope = impact.effect.scope
    return [s for s in impact.signings if scope in (CHAIN, s.scope)]


NOTHING_LEFT = (
    "Nothing is left to compare: today's book holds what this proposal changed, so this page cannot show it. "
    "Ask for the release, or for what is in force."
)


def nothing_left(impact: Impact) -> bool:
    """Whether the proposal is over and today's book already holds its effect."""
    return is_over(impact) and impact.effect.is_empty


def signing_section(impact: Impact) -> Section:
    blocks: list[Block] = []
    if impact.release:
        blocks.append(Note(f"Released as release {impact.release}; this is how it stood then."))
    if impact.signings:
        asked = ("Who signs", "For", "State", "Who can")
        rows = tuple(_signing_row(impact, s) for s in impact.signings)
        blocks.append(Table("Signatures the policy asks for", tuple(Column(c) for c in asked), rows))
        blocks += [_why(impact, s) for s in impact.signings]
        digests = {s.scope: s.digest for s in impact.signings if s.digest}
        pairs = tuple((f"Effect digest for {scope_words(impact, scope)}", d) for scope, d in digests.items())
        blocks += [Facts(pairs)] if pairs else []
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
        cell(role_words(signing.role)),
        cell(scope_words(impact, signing.scope) + (" (new signatories)" if signing.quorum else "")),
        _signed_cell(signing),
        cell(listed(signing.can_sign) or "NOBODY is named who can", alarm=not signing.can_sign),
    )


# More of one kind would hide the other kinds; the JSON form holds each.
_MOST_EXAMPLES = 5


def _why(impact: Impact, signing: Signing) -> Block:
    """The policy's reasons, class by class in its own words, with what falls into each."""
    lead = f"Why {role_words(signing.role)} signs for {scope_words(impact, signing.scope)}{', by the new rules' if signing.quorum else ''}"
    told = {text for reason in signing.reasons for text in reason.examples}
    points = [_reason_words(reason) for reason in signing.reasons]
    points += [text for text in signing.because if text not in told]
    if not points and signing.scope != impact.effect.scope:
        points = ["for what changes elsewhere in the chain"]
    return Listing(lead, tuple(points) or ("no reason is stated",))


_LEADS = ("an amount changes in ", "the tools for ", "the cost of ", "the allergen facts in ")


def _without_repeats(examples: tuple[str, ...]) -> list[str]:
    """Examples of one class, the words they all begin with said once."""
    for lead in _LEADS:
        if len(examples) > 1 and all(e.startswith(lead) for e in examples):
            return [examples[0], *(e.removeprefix(lead) for e in examples[1:])]
    return list(examples)


def _reason_words(reason: Reason) -> str:
    words = CLASS_WORDS.get(reason.change, role_words(reason.change))
    shown = _without_repeats(reason.examples[:_MOST_EXAMPLES])
    more = len(reason.examples) - len(shown)
    shown += [f"{more} more of this kind"] if more else []
    why = f" {reason.why.rstrip('.')}." if reason.why else ""
    return f"{words[:1].upper()}{words[1:]}.{why} Here: {'; '.join(shown)}."


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


def about_section(impact: Impact) -> Section:
    """What this page rests on: proposal, scope, digests, commits, cautions."""
    blocks: list[Block] = []
    if impact.conflicts:
        lead = f"CANNOT be released: {conflict_words(impact)}"
        blocks.append(Listing(lead, impact.conflicts, alarm=True))
    pairs = [
        ("Proposal", impact.proposal),
        ("Book", f"{impact.book_name} ({impact.book})"),
        ("State", f"released as release {impact.release}" if impact.release else impact.state),
        ("Proposed by", impact.author or "an author who is not named"),
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


def conflict_words(impact: Impact) -> str:
    """How many places of the proposal main changed as well, otherwise."""
    places = count(len(impact.conflicts), "place")
    return f"in {places} this proposal and today's book both changed the same thing, apart"


def sign_section(impact: Impact) -> Section:
    """The exact lines to type; always the last part of a page."""
    title = "Sign or object"
    if is_over(impact):
        number = f" It is release {impact.release}." if impact.release else ""
        names = f"This page shows effect digest {impact.digest}"
        return Section(SIGN, title, (Note(OVER[impact.state] + number), Note(names)))
    if impact.conflicts:
        words = "It cannot be signed or released as it stands. Its author settles the conflict and proposes it again."
        return Section(SIGN, title, (Note(words, alarm=True),), alarm=True)
    blocks: list[Block] = []
    own = asked_here(impact)
    open_ones = [s for s in own if s.met_by is None] or own
    if not open_ones:
        blocks.append(Note("No signature is asked for in this scope. Anybody who may sign may object:"))
        blocks.append(Command(_line("object", impact.proposal, "", impact.effect.scope)))
    for signing in open_ones:
        words = f"As {role_words(signing.role)}, for {scope_words(impact, signing.scope)}, in a clone of the book:"
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
    words = (
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
