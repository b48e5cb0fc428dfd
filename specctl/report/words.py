"""The words for measures, verdicts, allergens and times: one place for every medium.

Cards, reports and screens say the same thing in the same words because they
all ask here. Functions take the plain values of an entry (see "Formats" in
DEVELOPERS.md) and give one line of text that `specctl.report.clean.visible`
has been over. Meaning is in the words, never in colour or a sign alone.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from decimal import ROUND_FLOOR, Decimal
from typing import Any

from specctl.report.allergen_words import allergen_word
from specctl.report.catalogue import ENGLISH, MONTHS
from specctl.report.clean import visible
from specctl.report.mark_words import mark_words
from specctl.report.numerals import date_pattern, month_word, numeral
from specctl.report.tongue import _, _n, later_n, translates

STATUSES = ("contains", "may_contain", "unknown", "absent")
VERDICTS = ("within", "unproven", "outside", "no-tool")
CAUTIONS = ("caution.law", "caution.tell-us", "caution.shared")

_TOP_TO = re.compile(r"top to ([0-9]+(?:\.[0-9]+)? ?[a-z]+) below (?:the )?rim")
_SPAN = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(min|h|d)?")
_UNIT_MINUTES = {"min": 1, "h": 60, "d": 24 * 60}
_SPAN_UNITS = {
    "min": ("word.minute", "word.minutes"),
    "h": ("word.hour", "word.hours"),
    "d": ("word.day", "word.days"),
}


def say(key: str, **values: object) -> str:
    """The sentence `key` with its values filled in, each made visible.

    A missing value is a bug and raises KeyError.
    """
    shown = {name: visible(str(value)) for name, value in values.items()}
    return _(ENGLISH[key]).format_map(shown)


def measure_words(line: Mapping[str, Any]) -> str:
    """How this line is measured here: `2 level × Amber scoop + 25 ml line of the Jigger`.

    `line` is a LINE of an entry.
    """
    measure = line["measure"]
    by = measure["by"]
    if by == "scale" and measure["moves"]:
        move = measure["moves"][0]
        return say("measure.scale", mark=move["mark"] or grams_words(line["grams"]), tool=move["name"])
    if by == "tools" and measure["moves"]:
        return say("measure.and").join(_move_words(move) for move in measure["moves"])
    if by == "count" and line["each"] is not None:
        return pieces_words(line["each"])
    if by == "eye":
        return rule_words(line["rule"]) if line["rule"] else say("measure.by-eye")
    return say("measure.none", grams=grams_words(line["grams"]))


def _move_words(move: Mapping[str, Any]) -> str:
    times, mark, tool = move["times"], move["mark"], move["name"]
    if mark is not None:
        mark = mark_words(mark)
        key = "measure.line" if times == "1" else "measure.lines"
        return say(key, times=times, mark=mark, tool=tool)
    if _is_pump(move):
        key = "measure.stroke" if times == "1" else "measure.strokes"
        return say(key, times=times, tool=tool)
    return say("measure.scoops", times=times, tool=tool)


def _is_pump(move: Mapping[str, Any]) -> bool:
    """By `kind` where the move tells it, else by the word in the tool's id or name."""
    if "kind" in move:
        return bool(move["kind"] == "pump")
    return "pump" in move["tool"].split("-") or "pump" in move["name"].lower().split()


def grams_words(grams: str) -> str:
    """`28 g`; says so where an entry leaves the grams empty."""
    return say("amount.grams", grams=numeral(grams)) if grams else say("amount.unknown")


def pieces_words(count: str) -> str:
    """`3 pieces`."""
    return say("measure.piece") if count == "1" else say("measure.pieces", count=count)


def rule_words(rule: str) -> str:
    """A filling rule as a barista reads it: `top to 15 mm below the rim`."""
    found = _TOP_TO.fullmatch(rule)
    return say("measure.top", depth=found[1]) if found else visible(rule)


def amount_words(line: Mapping[str, Any]) -> str:
    """What goes in, whatever the tool: `28 g`, `3 pieces`, or the filling rule with its grams."""
    grams = grams_words(line["grams"])
    if line["each"] is not None:
        return f"{pieces_words(line['each'])} ({grams})"
    if line["rule"] is not None:
        return f"{rule_words(line['rule'])} ({grams})"
    return grams


def verdict_words(verdict: str) -> str:
    """`within`, `unproven`, `outside` or `no-tool` as a plain statement."""
    return say(f"verdict.{verdict}")


def error_words(measure: Mapping[str, Any]) -> str:
    """What the measure delivers: `gives 29.4 g, 1.4 g over`; says so when unknown."""
    gives, off = measure["gives"], measure["off"]
    if gives is None or off is None:
        return say("error.unknown")
    given = numeral(gives)
    if off.strip("-0.") == "":
        return say("error.exact", gives=given)
    if off.startswith("-"):
        return say("error.under", gives=given, off=numeral(off[1:]))
    return say("error.over", gives=given, off=numeral(off))


def status_words(status: str) -> str:
    """The words of an allergen status, one of `STATUSES`."""
    return say(f"status.{status}")


def status_letter(status: str) -> str:
    """The one sign of a status in a table; a legend beside it gives the words."""
    return say(f"letter.{status}")


def keep_words(keep: str) -> str:
    """How a prep is kept; a way this catalogue does not know is shown as written."""
    key = f"keep.{keep}"
    return say(key) if key in ENGLISH else visible(keep)


def span_words(span: str) -> str:
    """A stated duration: `24 h` as `24 hours`, `2.5 h` as `2 hours 30 minutes`, else as written.

    A bare number is minutes. A part of a minute is dropped: a hold time never grows.
    """
    found = _SPAN.fullmatch(span)
    if not found:
        return visible(span)
    unit = found[2] or "min"
    count = Decimal(found[1])
    if count == count.to_integral_value():
        return _count(unit, int(count))
    minutes = int((count * _UNIT_MINUTES[unit]).to_integral_value(rounding=ROUND_FLOOR))
    if minutes < 60:
        return _count("min", minutes)
    hours, left = divmod(minutes, 60)
    return f"{_count('h', hours)} {_count('min', left)}" if left else _count("h", hours)


def ago_words(span: timedelta) -> str:
    """How long ago, in the largest whole unit below two days: `3 hours ago`."""
    unit, count = _largest(span)
    if not count:
        return _("under a minute ago")
    return _n(*_AGO[unit], count).format(count=count)


_AGO = {
    "min": later_n("{count} minute ago", "{count} minutes ago"),
    "h": later_n("{count} hour ago", "{count} hours ago"),
    "d": later_n("{count} day ago", "{count} days ago"),
}


def elapsed_words(span: timedelta) -> str:
    """A span rounded down: minutes under two hours, hours under two days, then days."""
    unit, count = _largest(span)
    return _count(unit, count) if count else say("word.under-a-minute")


def _largest(span: timedelta) -> tuple[str, int]:
    minutes = int(abs(span).total_seconds() // 60)
    if minutes < 120:
        return "min", minutes
    return ("h", minutes // 60) if minutes < 48 * 60 else ("d", minutes // (24 * 60))


def _count(unit: str, count: int) -> str:
    one, more = _SPAN_UNITS[unit]
    return say(one) if count == 1 else say(more, count=count)


def date_words(day: date) -> str:
    """`25 November 2026`; in the language spoken `25. November 2026`, `November 25, 2026`."""
    return date_pattern().format(day=day.day, month=month_word(MONTHS[day.month - 1]), year=day.year)


def time_words(moment: datetime) -> str:
    """`25 November 2026, 06:05`, in the zone `moment` carries."""
    return f"{date_words(moment.date())}, {moment:%H:%M}"


def group_words(group: str) -> str:
    """An id such as `tree-nuts` as a heading where the list gives no other word."""
    return visible(group.replace("-", " ").capitalize())


def fact_words(fact: Mapping[str, Any], groups: Mapping[str, str] | None = None) -> str:
    """The name of an allergen, with its group where that adds a word: `barley (gluten)`.

    `groups` maps group ids to the list's own words; without one the id is read out.
    """
    name = visible(allergen_word(fact["name"]))
    if fact["group"] is None:
        return name
    group = visible(allergen_word((groups or {}).get(fact["group"], group_words(fact["group"]))))
    group = group if translates() else group.lower()  # other languages write nouns as their lists do
    said = group.lower() in name.lower() or name.lower() in group.lower()
    return name if said else _("{name} ({kind})").format(name=name, kind=group)


def contact_words(shared: Mapping[str, Any]) -> str:
    """One piece of shared equipment: what it carries across, and what its cleaning rule is worth."""
    equipment, rule = shared["equipment"], shared["cleaning"]
    if shared["lowered"]:
        return say(
            "contact.lowered", equipment=equipment, method=rule["method"], document=rule["document"], dated=rule["dated"]
        )
    names = say("word.list").join(map(allergen_word, shared["substances"]))
    parts = [say("contact.carries", equipment=equipment, substances=names) if names else say("contact.nothing", equipment=equipment)]
    if rule is not None:
        key = "contact.weak" if rule["method"] in ("rinse", "wipe") else "contact.unproven"
        parts.append(say(key, method=rule["method"]))
    if shared["unanswered"]:
        parts.append(say("contact.unanswered", names=say("word.list").join(shared["unanswered"])))
    return "; ".join(parts)


def advisory_words(advice: Mapping[str, Any]) -> str:
    """One piece of advice, with what brings it."""
    key = f"advisory.{advice['about']}"
    says = say(key) if key in ENGLISH else say("advisory.other", about=advice["about"])
    names = say("word.list").join(advice["because"])
    return say("advisory.because" if "" in advice["choices"] else "advisory.choices", says=says, names=names)
