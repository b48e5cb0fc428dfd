"""Reads entries back: their lines, rows and texts under keys that never depend on position."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

Entry = Mapping[str, Any]
LineKey = tuple[str, str, str]
"""(size, choice, layer/line); choice "" is the standard build."""

STATUSES = ("contains", "may_contain", "unknown")


def lines_in(entry: Entry | None) -> dict[LineKey, Mapping[str, Any]]:
    """Every line of every build; a choice's build holds only the lines it changes."""
    found: dict[LineKey, Mapping[str, Any]] = {}
    if entry is None:
        return found
    for size in entry["sizes"]:
        for layer in size["layers"]:
            for line in layer["lines"]:
                found[(size["key"], "", f"{layer['key']}/{line['key']}")] = line
    for choice, inner in choices_in(entry):
        for size in inner["sizes"]:
            for row in size["lines"]:
                if row["line"] is not None:
                    found[(size["key"], choice, row["path"])] = row["line"]
    return found


def left_out_in(entry: Entry | None) -> set[LineKey]:
    """Lines of the standard build that a choice leaves out."""
    return {
        (size["key"], choice, row["path"])
        for choice, inner in choices_in(entry)
        for size in inner["sizes"]
        for row in size["lines"]
        if row["line"] is None
    }


def choices_in(entry: Entry | None) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """`option=choice` with the choice."""
    for option in entry["options"] if entry else ():
        for choice in option["choices"]:
            yield f"{option['key']}={choice['key']}", choice


def choice_names(entry: Entry | None) -> dict[str, str]:
    """The name of each allergen row, by choice."""
    return {row["choice"]: row["name"] for row in entry["allergens"]} if entry else {}


def size_names(entry: Entry | None) -> dict[str, str]:
    return {size["key"]: size["name"] for size in entry["sizes"]} if entry else {}


def facts_in(entry: Entry | None) -> dict[tuple[str, str], tuple[str, Mapping[str, Any]]]:
    """(choice, substance) to (status, fact)."""
    found = {}
    for row in entry["allergens"] if entry else ():
        for status in STATUSES:
            for fact in row[status]:
                found[(row["choice"], fact["substance"])] = (status, fact)
    return found


def texts_in(entry: Entry | None) -> dict[tuple[str, str], str]:
    """(kind, where) to text, for everything that is neither an amount nor an allergen."""
    found: dict[tuple[str, str], str] = {}
    if entry is None:
        return found
    found["name", "name"] = entry["name"]
    found["list", "allergen list"] = f"{entry['list']['name']} ({entry['list']['source']})"
    for size in entry["sizes"]:
        found["size", size["key"]] = size["name"]
        vessel = size["vessel"]
        if vessel:
            found["vessel", size["key"]] = (
                f"{vessel['name']}, {vessel['brimful_ml']} ml to the rim, fill line {vessel['fill_line_mm']} mm below it"
            )
        if entry["item"].startswith("prep/"):
            found["yield", size["key"]] = f"{size['makes_g']} g"
        found["order", f"layers, {size['key']}"] = " > ".join(layer["name"] for layer in size["layers"])
    for step in entry["steps"]:
        needs = f" (with {', '.join(step['equipment'])})" if step["equipment"] else ""
        caution = f" Caution: {step['caution']}" if step["caution"] else ""
        found["method", step["key"]] = f"{step['do']}{needs}{caution}"
    if entry["steps"]:
        found["order", "steps"] = " > ".join(step["key"] for step in entry["steps"])
    for option in entry["options"]:
        for choice in option["choices"]:
            found["option", f"{option['key']}={choice['key']}"] = f"{option['name']}: {choice['name']}"
    for stand_in in entry["substitutes"]:
        found["substitute", stand_in["key"]] = (
            f"{stand_in['name']} for {stand_in['for']}, {stand_in['ratio']} g for a gram"
        )
    hold = entry["hold"]
    if hold:
        own = f", {hold['own']}" if hold["own"] else ""
        found["hold", "hold"] = f"{hold['keep']}{own}. {hold['note']}"
    if entry["equipment"]:
        found["equipment", "equipment"] = ", ".join(entry["equipment"])
    for caution in entry["cautions"]:
        found["caution", caution] = caution
    # Entries made before shared equipment and advice were told do not have them.
    for shared in entry.get("contact", ()):
        found["contact", shared["equipment"]] = _contact(shared)
    for advice in entry.get("advisories", ()):
        found["advisory", advice["about"]] = f"{advice['about']}: {', '.join(advice['because'])}"
    for claim in entry["claims"]:
        found["claim", claim] = claim
    for row in entry["allergens"]:
        if row["absent_until"]:
            found["evidence", row["name"]] = f"absences trusted until {row['absent_until']}"
    return found


def _contact(shared: Mapping[str, Any]) -> str:
    rule = shared["cleaning"]
    if shared["lowered"]:
        return f"cleaned between drinks: {rule['method']}, {rule['document']} of {rule['dated']}"
    done = f"{rule['method']}, which lowers nothing" if rule else "no cleaning rule"
    open_ = f"; not answered for: {', '.join(shared['unanswered'])}" if shared["unanswered"] else ""
    return f"carries {', '.join(shared['substances']) or 'no documented allergen'} ({done}){open_}"
