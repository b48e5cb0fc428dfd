"""Which rule asks for whom, in words: plain text from the result of `policy --json`."""

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


def _need(need: Mapping[str, Any]) -> list[str]:
    head = f"  {need['role']} over {need['scope']} (asked for by: {_list(need['classes'])})"
    if need["met_by"]:
        return [f"{head}: signed by {need['met_by']}"]
    lines = [f"{head}: missing"]
    if need["nearly"]:
        lines.append(f"    {need['nearly']}")
    lines.append("    Could sign: " + (_list(need["can_sign"]) or "nobody; name somebody in signatories.yaml by a proposal first"))
    return lines


def _list(words: Sequence[str]) -> str:
    return ", ".join(words)
