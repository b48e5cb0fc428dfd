"""One entry as a card: everything a site is told, in the order it is needed, in words.

A `Card` is what the HTML and the text both print. It holds only text that has
been made visible; nothing is left out because it looks unimportant.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

from specctl.report.clean import visible
from specctl.report.declared import Facts, facts_of
from specctl.report.numerals import numeral
from specctl.report.told_words import note_words
from specctl.report.words import (
    advisory_words,
    contact_words,
    error_words,
    grams_words,
    keep_words,
    measure_words,
    say,
    span_words,
    verdict_words,
)
from specctl.site.pages_drawing import Picture, pictures_of
from specctl.site.pages_work import Work, notes_of, work_of

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class LineView:
    """One line: what, how much, and how it is measured here.

    `alarm` is empty only for an amount within tolerance; `error` is what the
    tools deliver, empty where a scale or a count gives the amount itself; `work`
    where to tare, what the scale then shows, and the amount for two at once.
    """

    name: str
    amount: str
    measure: str
    error: str
    alarm: str
    note: str
    work: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LayerView:
    """A layer with its lines; `title` says its number from the bottom."""

    title: str
    lines: tuple[LineView, ...]


@dataclass(frozen=True, slots=True)
class SizeView:
    name: str
    vessel: str
    makes: str
    layers: tuple[LayerView, ...]


@dataclass(frozen=True, slots=True)
class StepView:
    do: str
    layer: str
    equipment: str
    caution: str


@dataclass(frozen=True, slots=True)
class SwapView:
    """What one choice does to one line at one size; `line` None: left out."""

    size: str
    words: str
    line: LineView | None


@dataclass(frozen=True, slots=True)
class ChoiceView:
    name: str
    swaps: tuple[SwapView, ...]
    facts: Facts


@dataclass(frozen=True, slots=True)
class OptionView:
    name: str
    choices: tuple[ChoiceView, ...]


@dataclass(frozen=True, slots=True)
class StandInView:
    words: str
    facts: Facts


@dataclass(frozen=True, slots=True)
class Card:
    """One drink or prep as a site makes it. `standing` tells its release and start."""

    item: str
    anchor: str
    name: str
    standing: str
    is_prep: bool
    sizes: tuple[SizeView, ...]
    steps: tuple[StepView, ...]
    options: tuple[OptionView, ...]
    stand_ins: tuple[StandInView, ...]
    facts: Facts
    hold: tuple[str, ...]
    equipment: str
    cautions: tuple[str, ...]
    claims: str
    contact: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    work_notes: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()

    @property
    def alarms(self) -> tuple[str, ...]:
        """Every amount that is not within tolerance, options included, with its sizes."""
        sizes: dict[tuple[str, str], list[str]] = {}
        for size, what, line in self._measured():
            if line.alarm:
                sizes.setdefault((what, line.alarm), []).append(size)
        return tuple(
            f"{what} ({say('word.list').join(names)}): {alarm}"
            for (what, alarm), names in sizes.items()
        )

    def _measured(self) -> Iterator[tuple[str, str, LineView]]:
        for size in self.sizes:
            for layer in size.layers:
                for line in layer.lines:
                    yield size.name, line.name, line
        for option in self.options:
            for choice in option.choices:
                for swap in choice.swaps:
                    if swap.line is not None:
                        yield swap.size, f"{option.name}: {choice.name}, {swap.line.name}", swap.line

    @property
    def called_out(self) -> str:
        """How many amounts need attention, in words; empty when none."""
        count = len(self.alarms)
        if not count:
            return ""
        return say("card.called-out-one") if count == 1 else say("card.called-out", count=count)


def card_of(entry: Record, *, today: date, standing: str = "", drawn: Mapping[str, Record] = MappingProxyType({})) -> Card:
    """The card of an entry. `today` is the site's date, for documents too old to trust;
    `drawn` the bundle's drawings of it, by size."""
    is_prep = entry["item"].startswith("prep/")
    equipment = say("word.list").join(visible(part) for part in entry["equipment"])
    return Card(
        item=visible(entry["item"]),
        anchor=entry["item"].replace("/", "-"),
        name=visible(entry["name"]),
        standing=standing,
        is_prep=is_prep,
        sizes=tuple(_size(size, entry, is_prep) for size in entry["sizes"]),
        steps=tuple(_steps(entry)),
        options=tuple(_option(option, entry, today) for option in entry["options"]),
        stand_ins=tuple(_stand_in(record, entry, today) for record in entry["substitutes"]),
        facts=facts_of(entry, "", today),
        hold=_hold(entry["hold"], is_prep),
        equipment=equipment,
        cautions=tuple(visible(caution) for caution in entry["cautions"]),
        claims=say("word.list").join(visible(claim) for claim in entry["claims"]),
        # Entries made before these were told do not have them.
        contact=tuple(contact_words(shared) for shared in entry.get("contact", ())),
        advice=tuple(advisory_words(advice) for advice in entry.get("advisories", ())),
        work_notes=notes_of(entry),
        pictures=pictures_of(entry, drawn),
    )


def line_view(line: Record, work: tuple[str, ...] = ()) -> LineView:
    """A LINE of an entry in words."""
    measure = line["measure"]
    verdict = measure["verdict"]
    exact = measure["by"] in ("scale", "count", "eye") and not (measure["off"] or "").strip("-0.")
    return LineView(
        name=visible(line["name"]),
        amount=_grams(line),
        measure=measure_words(line),
        error="" if exact or measure["by"] == "none" else error_words(measure),
        alarm="" if verdict == "within" else verdict_words(verdict),
        note=visible(note_words(measure["note"] or "")),
        work=work,
    )


def _grams(line: Record) -> str:
    """The canonical amount beside the measure; a rule's grams are only about right."""
    by_eye = line["measure"]["by"] == "eye" and line["grams"]
    grams = grams_words(line["grams"])
    if any(move["mark"] == grams for move in line["measure"]["moves"]):
        return ""  # the reading on the scale has just said it
    return say("amount.about", grams=numeral(line["grams"])) if by_eye else grams


def _size(size: Record, entry: Record, is_prep: bool) -> SizeView:
    vessel = size["vessel"]
    makes = "card.batch" if is_prep else "card.makes"
    return SizeView(
        name=visible(size["name"]),
        vessel=_vessel(vessel) if vessel else "" if is_prep else say("card.no-vessel"),
        makes=say(makes, grams=numeral(size["makes_g"])),
        layers=tuple(_layers(size, work_of(size, entry), is_prep)),
    )


def _vessel(vessel: Record) -> str:
    return say(
        "card.vessel",
        vessel=vessel["name"], brimful=numeral(vessel["brimful_ml"]), fill=numeral(vessel["fill_line_mm"]),
    )  # fmt: skip


def _layers(size: Record, work: Work, is_prep: bool) -> Iterator[LayerView]:
    for number, layer in enumerate(size["layers"], 1):
        key = "card.layer-bottom" if number == 1 else "card.layer"
        title = say(key, number=number, name=layer["name"])
        if is_prep and len(size["layers"]) == 1:
            title = say("card.mix")
        yield LayerView(title, tuple(line_view(line, work[layer["key"], line["key"]]) for line in layer["lines"]))


def _steps(entry: Record) -> Iterator[StepView]:
    layers = {layer["key"]: layer["name"] for size in entry["sizes"] for layer in size["layers"]}
    for step in entry["steps"]:
        key = step["layer"]
        yield StepView(
            do=visible(step["do"]),
            layer=visible(layers.get(key, key)) if key is not None else "",
            equipment=say("word.list").join(visible(part) for part in step["equipment"]),
            caution=visible(step["caution"] or ""),
        )


def _option(option: Record, entry: Record, today: date) -> OptionView:
    return OptionView(
        name=visible(option["name"]),
        choices=tuple(
            ChoiceView(
                name=visible(choice["name"]),
                swaps=tuple(_swaps(choice, entry)),
                facts=facts_of(entry, f"{option['key']}={choice['key']}", today),
            )
            for choice in option["choices"]
        ),
    )


def _swaps(choice: Record, entry: Record) -> Iterator[SwapView]:
    sizes = {size["key"]: size for size in entry["sizes"]}
    for part in choice["sizes"]:
        size = sizes.get(part["key"])
        size_name = visible(size["name"] if size else part["key"])
        for change in part["lines"]:
            before, layer_name = _standing_line(size, change["path"])
            line = change["line"]
            yield SwapView(
                size=size_name,
                words=_swap_words(change["path"], before, line, layer_name),
                line=None if line is None else line_view(line),
            )


def _standing_line(size: Record | None, path: str) -> tuple[Record | None, str]:
    layer_key, _, line_key = path.partition("/")
    for layer in size["layers"] if size else ():
        if layer["key"] == layer_key:
            for line in layer["lines"]:
                if line["key"] == line_key:
                    return line, str(layer["name"])
            return None, str(layer["name"])
    return None, layer_key


def _swap_words(path: str, before: Record | None, line: Record | None, layer: str) -> str:
    if line is None:
        return say("card.leave-out", name=before["name"] if before else path)
    if before is None:
        return say("card.add", layer=layer)
    if before["of"] == line["of"]:
        return say("card.amount-change")
    return say("card.instead", before=before["name"])


def _stand_in(record: Record, entry: Record, today: date) -> StandInView:
    words = say(
        "card.substitute", name=record["name"], ratio=numeral(record["ratio"]), of=_named(entry, record["for"])
    )
    return StandInView(words, facts_of(entry, f"substitute={record['key']}", today))


def _named(entry: Record, item: str) -> str:
    for size in entry["sizes"]:
        for layer in size["layers"]:
            for line in layer["lines"]:
                if line["of"] == item:
                    return str(line["name"])
    return str(item.rpartition("/")[2].replace("-", " "))


def _hold(hold: Record | None, is_prep: bool) -> tuple[str, ...]:
    if hold is None:
        return (say("card.no-hold"), say("card.discard")) if is_prep else ()
    keep = keep_words(hold["keep"])
    if hold["own"]:
        lines = [say("card.hold-for", keep=keep, own=span_words(hold["own"]))]
    else:
        lines = [say("card.hold-open", keep=keep)]
    if hold["note"]:
        lines.append(visible(hold["note"]))
    if is_prep:
        lines.append(say("card.discard"))
    return tuple(lines)
