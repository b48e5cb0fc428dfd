"""Which rule asks for whom, and who changed a line and why, in words: plain text from the results' JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from specctl.report.clean import visible
from specctl.report.tongue import _, _n

MOST_REASONS = 6


def policy_text(found: Mapping[str, Any]) -> str:
    """Rules first, then needs, then statements; nothing left out but reasons beyond a handful, and that is said."""
    lines: list[str] = []
    for rule in found["rules"]:
        words = _("Because {what} ({change}), the policy asks for: {who}.")
        lines.append(words.format(what=_(rule["words"]), change=rule["change"], who=", ".join(rule["signs"])))
        lines.append("  " + _("The policy says why: {why}").format(why=rule["why"]))
        lines += [f"  - {reason}" for reason in rule["because"][:MOST_REASONS]]
        if len(rule["because"]) > MOST_REASONS:
            left = len(rule["because"]) - MOST_REASONS
            more = _n("and {count} more of this kind; --json lists all", "and {count} more of this kind; --json lists all", left)
            lines.append("  - " + more.format(count=left))
    if not found["rules"]:
        lines.append(_("Nothing in it asks for a signature."))
    if found["fast"]:
        lines.append(_("Declarations only grow: it may go at once, and no objection holds it."))
    if "trial" in found:
        lines += _trial(found["trial"])
    lines += ["", _("Signatures asked for:")]
    for need in found["needs"]:
        lines += _need(need)
    lines += ["", _("Statements on main:")]
    for said in found["statements"]:
        worth = _("counts") if said["counts"] else _("does not count: {why}").format(why=said["why"])
        words = _("{purpose} by {person} as {role} over {scope}, {when}: {worth}")
        place = {name: said[name] for name in ("purpose", "person", "role", "scope")}
        lines.append("  " + words.format(when=said["said"], worth=worth, **place))
        if said["note"]:
            lines.append("    " + _("They wrote: {note}").format(note=said["note"]))
    if not found["statements"]:
        lines.append("  " + _("none"))
    lines += ["", _("Authors, who cannot sign it: {names}").format(names=_list(found["authors"]) or _("none"))]
    return "\n".join(visible(line) for line in lines) + "\n"


def why_text(told: Mapping[str, Any]) -> str:
    """Every release that moved a line, newest first."""
    what = ", ".join(part for part in (told["file"], told["fact"]) if part)
    lines = [_("{what}: now {value}").format(what=what, value=told["now"]) if told["now"] else what]
    for reason in told["reasons"]:
        head = _("Release {release}").format(release=reason["release"]) if reason["release"] else _("The beginning of the book")
        words = _("{head}, {when}, commit {commit}")
        lines += ["", words.format(head=head, when=reason["when"], commit=reason["commit"][:12])]
        if reason["proposal"]:
            lines += [f"  {reason['title']} ({reason['proposal']})", "  " + _("Why: {why}").format(why=reason["why"])]
        lines += [f"  {c['fact']}: {c['before'] or _('not there')} -> {c['after'] or _('taken away')}" for c in reason["changes"]]
        settled = _("Settled by hand, {fact}: taken from {take}: {why}")
        lines += ["  " + settled.format(fact=s["fact"], take=s["take"], why=s["why"]) for s in reason["settled"]]
        words = _("Written by {authors}; released by {person}")
        authors, person = _list(reason["authors"]) or _("unknown"), reason["released_by"] or _("unknown")
        lines.append("  " + words.format(authors=authors, person=person))
        signed = _("Signed by {person} as {role} over {scope}, {when}")
        lines += ["  " + signed.format(person=s["person"], role=s["role"], scope=s["scope"], when=s["said"]) for s in reason["signed"]]
        effect = _("Effect of {scope}: {digest}")
        lines += ["  " + effect.format(scope=scope, digest=digest) for scope, digest in reason["effects"].items()]
        if reason["proposal"]:
            command = f"specctl report {reason['proposal'].split('-', 1)[0]}"
            lines.append("  " + _("What the report said: {command}").format(command=command))
    return "\n".join(visible(line) for line in lines) + "\n"


def _trial(trial: Mapping[str, Any]) -> list[str]:
    """What is to be tried first, for how long, where, and what the plan lacks of it."""
    words = _n(
        "A trial is asked for (by: {classes}): {count} day at a trial site before the first wave.",
        "A trial is asked for (by: {classes}): {count} days at a trial site before the first wave.",
        trial["days"],
    )
    lines = [words.format(classes=_list(trial["classes"]), count=trial["days"])]
    if trial["may"]:
        lines.append("  " + _("It may be at: {sites}").format(sites=_list(trial["may"])))
    lines.append("  " + _("Planned at: {sites}").format(sites=_list(trial["sites"]) or _("none")))
    lines += [f"  - {what}" for what in trial["lacks"]]
    return lines


def _need(need: Mapping[str, Any]) -> list[str]:
    if need["quorum"]:
        words = _("{role} over {scope}, by the rules and people it would bring (asked for by: {classes}): {state}")
    else:
        words = _("{role} over {scope} (asked for by: {classes}): {state}")
    state = _("signed by {person}").format(person=need["met_by"]) if need["met_by"] else _("missing")
    if need["met_for"]:
        state = _("signed by {person}, in place of {other}").format(person=need["met_by"], other=need["met_for"])
    lines = ["  " + words.format(role=need["role"], scope=need["scope"], classes=_list(need["classes"]), state=state)]
    if need["met_by"]:
        return lines
    if need["nearly"]:
        lines.append(f"    {need['nearly']}")
    who = _list(need["can_sign"]) or _("nobody; name somebody in signatories.yaml by a proposal first")
    lines.append("    " + _("Could sign: {names}").format(names=who))
    instead = _("{name} may sign in place of {person} until {day}")
    lines += ["    " + instead.format(name=one["name"], person=one["for"], day=one["until"]) for one in need["instead"]]
    return lines


def _list(words: Sequence[str]) -> str:
    return ", ".join(words)
