"""Which rule asks for whom, and who changed a line and why, in words: plain text from the results' JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from specctl.report.clean import visible

MOST_REASONS = 6


def policy_text(found: Mapping[str, Any]) -> str:
    """Rules first, then needs, then statements; nothing left out but reasons beyond a handful, and that is said."""
    lines: list[str] = []
    for rule in found["rules"]:
        lines.append(f"Because {rule['words']} ({rule['change']}), the policy asks for: {', '.join(rule['signs'])}.")
        lines.append(f"  The policy says why: {rule['why']}")
        lines += [f"  - {reason}" for reason in rule["because"][:MOST_REASONS]]
        if len(rule["because"]) > MOST_REASONS:
            lines.append(f"  - and {len(rule['because']) - MOST_REASONS} more of this kind; --json lists all")
    if not found["rules"]:
        lines.append("Nothing in it asks for a signature.")
    if found["fast"]:
        lines.append("Declarations only grow: it may go at once, and no objection holds it.")
    lines += ["", "Signatures asked for:"]
    for need in found["needs"]:
        lines += _need(need)
    lines += ["", "Statements on main:"]
    for said in found["statements"]:
        worth = "counts" if said["counts"] else f"does not count: {said['why']}"
        lines.append(f"  {said['purpose']} by {said['person']} as {said['role']} over {said['scope']}, {said['said']}: {worth}")
        if said["note"]:
            lines.append(f"    They wrote: {said['note']}")
    if not found["statements"]:
        lines.append("  none")
    lines += ["", "Authors, who cannot sign it: " + (_list(found["authors"]) or "none")]
    return "\n".join(visible(line) for line in lines) + "\n"


def why_text(told: Mapping[str, Any]) -> str:
    """Every release that moved a line, newest first."""
    lines = [f"{told['file']}" + (f", {told['fact']}" if told["fact"] else "") + (f": now {told['now']}" if told["now"] else "")]
    for reason in told["reasons"]:
        head = f"Release {reason['release']}" if reason["release"] else "The beginning of the book"
        lines += ["", f"{head}, {reason['when']}, commit {reason['commit'][:12]}"]
        if reason["proposal"]:
            lines += [f"  {reason['title']} ({reason['proposal']})", f"  Why: {reason['why']}"]
        lines += [f"  {c['fact']}: {c['before'] or 'not there'} -> {c['after'] or 'taken away'}" for c in reason["changes"]]
        lines += [f"  Settled by hand, {s['fact']}: taken from {s['take']}: {s['why']}" for s in reason["settled"]]
        lines.append(f"  Written by {_list(reason['authors']) or 'unknown'}; released by {reason['released_by'] or 'unknown'}")
        lines += [f"  Signed by {s['person']} as {s['role']} over {s['scope']}, {s['said']}" for s in reason["signed"]]
        lines += [f"  Effect of {scope}: {digest}" for scope, digest in reason["effects"].items()]
        if reason["proposal"]:
            lines.append(f"  What the report said: specctl report {reason['proposal'].split('-', 1)[0]}")
    return "\n".join(visible(line) for line in lines) + "\n"


def _need(need: Mapping[str, Any]) -> list[str]:
    by = ", by the rules and people it would bring" if need["quorum"] else ""
    head = f"  {need['role']} over {need['scope']}{by} (asked for by: {_list(need['classes'])})"
    if need["met_by"]:
        return [f"{head}: signed by {need['met_by']}"]
    lines = [f"{head}: missing"]
    if need["nearly"]:
        lines.append(f"    {need['nearly']}")
    lines.append("    Could sign: " + (_list(need["can_sign"]) or "nobody; name somebody in signatories.yaml by a proposal first"))
    return lines


def _list(words: Sequence[str]) -> str:
    return ", ".join(words)
