"""The sentences for differences between two entries: before → after, in plain words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from specctl.report.catalogue import ENGLISH
from specctl.report.clean import visible
from specctl.report.two_words import two_words
from specctl.report.numerals import numeral
from specctl.report.words import (
    advisory_words,
    amount_words,
    contact_words,
    error_words,
    keep_words,
    measure_words,
    say,
    span_words,
    status_words,
    verdict_words,
)
from specctl.site.compare import STATUSES, Difference

Record = Mapping[str, Any]


def difference_words(difference: Difference) -> str:
    """One difference as one line: `Large, base, Oat drink, amount: 28 g → 30 g`."""
    names = dict(difference.names)
    if names.get("row") == "":
        names["row"] = say("allergens.standard")
    if difference.kind == "other":
        return say("diff.other", what=visible(names["what"]).capitalize())
    what = _what(difference.kind, names)
    show = _SHOW.get(difference.kind, _text)
    before, after = show(difference.before), show(difference.after)
    absent = say("diff.none")
    if before == absent and after != absent:
        if what.endswith(after):
            return say("diff.came", what=what)
        return say("diff.added", what=what, after=after)
    if after == absent and before != absent:
        if what.endswith(before):
            return say("diff.left", what=what)
        return say("diff.removed", what=what, before=before)
    if difference.kind.endswith("-order"):
        return say("diff.moved", what=what, before=before, after=after)
    told = say("diff.to", what=what, before=before, after=after)
    return f"{told}. {say('diff.hold-labels')}" if difference.kind == "hold" else told


def _what(kind: str, names: Mapping[str, str]) -> str:
    if kind == "choice" and not names["option"]:
        return visible(names["choice"])
    if kind == "allergen-name":
        kind = "allergen"
    if kind == "option-order" and names:
        return say("diff.option", option=names["option"])
    return say(f"diff.{kind}", **names)


def _text(value: Any) -> str:
    if value is None or value == [] or value == "":
        return say("diff.none")
    if value is True or value is False:
        return say("word.yes") if value else say("word.no")
    if isinstance(value, str):
        return visible(value)
    if isinstance(value, Mapping):
        return visible(str(value.get("name") or value.get("do") or ENGLISH["diff.none"]))
    return say("word.list").join(visible(str(part)) for part in value if part is not None)


def _line(line: Record | None) -> str:
    if line is None:
        return say("diff.none")
    words = f"{amount_words(line)} — {measure_words(line)}"
    verdict = line["measure"]["verdict"]
    return words if verdict == "within" else f"{words} — {verdict_words(verdict)}"


def _choice_line(record: Record | None) -> str:
    if record is None:
        return say("diff.none")
    line = record["line"]
    if line is None:
        return say("card.leave-out", name=record["path"])
    return f"{visible(line['name'])}, {_line(line)}"


def _item(pair: list[str]) -> str:
    return f"{visible(pair[1])} ({visible(pair[0])})"


def _amount(line: Record) -> str:
    return amount_words(line)


def _measure(line: Record) -> str:
    words = measure_words(line)
    return words if line["measure"]["gives"] is None else f"{words} ({error_words(line['measure'])})"


def _tolerance(tolerance: Record) -> str:
    return f"-{visible(tolerance['minus'])} g / +{visible(tolerance['plus'])} g"


def _verdict(verdict: str) -> str:
    return verdict_words(verdict)


def _statuses(statuses: list[str]) -> str:
    if not statuses:
        return status_words("absent")
    return say("word.list").join(status_words(status) for status in statuses)


def _allergen_row(row: Record | None) -> str:
    if row is None:
        return say("diff.none")
    parts = []
    for status in STATUSES:
        if row[status]:
            named = say("word.list").join(visible(fact["name"]) for fact in row[status])
            parts.append(f"{status_words(status)}: {named}")
    return "; ".join(parts) or status_words("absent")


def _hold(hold: Record | None) -> str:
    if hold is None:
        return say("diff.none")
    own = span_words(hold["own"]) if hold["own"] else say("card.no-hold")
    note = f" ({visible(hold['note'])})" if hold["note"] else ""
    return f"{keep_words(hold['keep'])}, {own}{note}"


def _contact(shared: list[Record]) -> str:
    return "; ".join(contact_words(each) for each in shared) or say("diff.none")


def _advisories(advice: list[Record]) -> str:
    return " ".join(advisory_words(each) for each in advice) or say("diff.none")


def _vessel(vessel: Record | None) -> str:
    if vessel is None:
        return say("diff.none")
    return say(
        "card.vessel",
        vessel=vessel["name"], brimful=numeral(vessel["brimful_ml"]), fill=numeral(vessel["fill_line_mm"]),
    )  # fmt: skip


def _makes(grams: str) -> str:
    return say("amount.grams", grams=numeral(grams))


def _list(value: Record) -> str:
    return say("allergens.list", name=value["name"], source=value["source"])


def _substitute(record: Record | None) -> str:
    if record is None:
        return say("diff.none")
    return say(
        "card.substitute", name=record["name"], ratio=numeral(record["ratio"]), of=record["for"]
    )


_SHOW: dict[str, Callable[[Any], str]] = {
    "line": _line,
    "line-item": _item,
    "amount": _amount,
    "measure": _measure,
    "double": two_words,
    "tolerance": _tolerance,
    "verdict": _verdict,
    "choice-line": _choice_line,
    "allergen": _statuses,
    "allergen-row": _allergen_row,
    "hold": _hold,
    "contact": _contact,
    "advisories": _advisories,
    "vessel": _vessel,
    "makes": _makes,
    "list": _list,
    "substitute": _substitute,
}
