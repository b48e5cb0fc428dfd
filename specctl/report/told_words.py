"""Sentences that arrive from the comparison ready made, in English, said again in the language of the page.

What an impact tells as text is composed where it is found, and entries that
were signed hold such sentences too; neither changes with the language of a
reader. Here each known form is recognised and said again with the same values.
A text is only ever looked at in the forms of its own field, so that nothing an
author wrote is taken for one; what is in no known form stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import cache

from specctl.report.allergen_words import allergen_word
from specctl.report.numerals import numeral
from specctl.report.tongue import _, _n, later, translates
from specctl.report.words import say

# What was left out of a comparison or a sum; why something has no cost.
_LEFT_OUT = (
    later("a list's threshold or exempt form counts only where every document behind it states the amount or names the form"),
    later("traces carried by hands and surfaces, and by equipment that no step names"),
    later("goods a site uses without the book knowing"),
    later("recipes' words: only what the records say is compared"),
    later("{what}: no sales stated"),
    later("{what}: not in the book"),
    later("{what}: no price"),
    later("{what}: no pack {pack}"),
    later("{what}: no density to weigh its pack with"),
    later("{what}: no mass of one piece"),
    later("{what}: nothing of its pack is usable"),
)
# What a site lacks.
_LACKS = (
    later("equipment: {name}"),
    later("vessel: {name}"),
    later("a tool that holds the tolerance for {name}"),
    later("a tool for {name}"),
)
# Notes on a measure, several parted by semicolons.
_NOTES = (
    later("the scale rounds: a dose at the edge of this reading is outside the tolerance"),
    later("these tools come no nearer in one motion"),
    later("these tools come no nearer in {count} motions"),
    later("{share} % of a pour is taken to stay behind as a film"),
    later("by bulk density alone: no scoop check holds here"),
    later("how much air it holds is not measured here"),
    later("by stated density alone: the error of the tool is not stated"),
    later("no density is stated"),
    later("no bulk density is stated"),
    later("no tool here measures it"),
    later("a scale that reads to {step} g or finer would serve"),
    later("the scoop check of {tool} is void: it is of {name}"),
    later("the scoop check of {tool} is void: it was made with product {before}, this is {now}"),
    later("the scoop check of {tool} is void: it was made with a product from {before}, this is {now}"),
    later("the scoop check of {tool} is void: it was made at {before} g/ml, now no bulk density is stated"),
    later("the scoop check of {tool} is void: it was made at {before} g/ml, the bulk density is now {now} g/ml"),
    later("a half scoop is judged by eye"),
    later("its scoop check has fewer than {count} weighings"),
    later("it spreads wider than the tolerance"),
)
# What is said of a file beside its facts, and of an ingredient without a paper.
_FILES = (later("the whole file"), later("comments only"), later("is new"), later("was there"), later("no document"))
# Choices and sizes that no author named.
_BUILDS = (later("Standard"), later("standard build"), later("{name} in place of {of}"))
_BATCH = (later("One batch"),)
# How a substance gets in by shared equipment; what stands in brackets behind any way.
_SHARED = (
    later("shared {equipment}: {name} made with another choice contains {allergen}"),
    later("shared {equipment}: {name} made with another choice may contain {allergen}"),
    later("shared {equipment}: {names} contains {allergen}"),
    later("shared {equipment}: {names} may contain {allergen}"),
    later("shared {equipment}: {names} contain {allergen}"),
)
_BRACKETS = (
    later("its document: {words}"),
    later("old stock {code}"),
    later("contains"),
    later("may contain"),
    later("unknown"),
)
# Why a cup could not be computed whole.
_CUPS = (
    later("{path}: its grams are not known"),
    later("steam at 100 °C does not heat anything to {celsius} °C"),
    later("no temperature of {name} is stated"),
    later("no density of {name} is stated, and its composition is not known"),
    later("the composition of {name} does not give a density at {celsius} °C"),
    later("no density of {name} is stated"),
)
# What falls into a class of change.
_EXAMPLES = (
    later("an amount changes in {name}"),
    later("the tools for {name} change"),
    later("not every site can measure {name} within tolerance"),
    later("{allergen} in {item} ({market}) becomes unknown"),
    later("{allergen} in {item} ({market}) leaves the declaration"),
    later("{allergen} in {item} ({market}) is declared"),
    later("{allergen} in {item} ({market}) comes in"),
    later("{allergen} in {item} ({market}) is on the market's list no more"),
    later("{allergen} in {item} ({market}) is on the market's list now"),
    later("{allergen} in {item} ({market}) is called {now} now"),
    later("the cost of {name} cannot be told"),
    later("the cost of {name} moves beyond the limit"),
    later("only comments change in {path}"),
    later("the allergen facts in {path} change"),
    later("{name}: is new"),
    later("{name}: is no longer served"),
    later("{name}: method changes"),
    later("{name}: order changes"),
    later("{name}: size changes"),
    later("{name}: yield changes"),
    later("{name}: prep changes"),
    later("{name}: hold changes"),
    later("{name}: equipment changes"),
    later("{name}: vessel changes"),
    later("{name}: option changes"),
    later("{name}: substitute changes"),
    later("{name}: advisory changes"),
    later("{name}: caution changes"),
    later("{name}: claim changes"),
    later("{name}: name changes"),
    later("{name}: evidence changes"),
    later("{name}: list changes"),
    later("{name}: contact changes"),
    later("{path} changes"),
)
# Why a signature that was given no longer counts.
_STALE = (
    later("{person} already signed this scope in another role"),
    later("{person} is an author of this proposal"),
    later("{person} may not sign as {role}"),
    later("{person} signed an earlier effect of this proposal"),
)
# Other facts of a card, by the kind of a TextChange.
_TEXTS = {
    "vessel": (later("{vessel}, {brimful} ml to the rim, fill line {fill} mm below it"),),
    "substitute": (later("{name} for {of}, {ratio} g for a gram"),),
    "evidence": (later("absences trusted until {day}"),),
    "contact": (
        later("cleaned between drinks: {method}, {document} of {day}"),
        later("carries no documented allergen (no cleaning rule); not answered for: {names}"),
        later("carries no documented allergen (no cleaning rule)"),
        later("carries no documented allergen ({method}, which lowers nothing); not answered for: {names}"),
        later("carries no documented allergen ({method}, which lowers nothing)"),
        later("carries {substances} (no cleaning rule); not answered for: {names}"),
        later("carries {substances} (no cleaning rule)"),
        later("carries {substances} ({method}, which lowers nothing); not answered for: {names}"),
        later("carries {substances} ({method}, which lowers nothing)"),
    ),
}
_HELD = (
    later("its own hold time"),
    later("made to order"),
    later("no hold time is written"),
    later("{name} once opened"),
    later("the hold time of {name}"),
)


def told(text: str) -> str:
    """What was not covered, not counted or has no cost."""
    return _again(text, _LEFT_OUT)


def lacks_words(text: str) -> str:
    """What a site lacks."""
    return _again(text, _LACKS)


def note_words(text: str) -> str:
    """Notes on a measure; each that is known is said again."""
    return "; ".join(_again(part, _NOTES) for part in text.split("; ")) if translates() else text


def cup_told(text: str) -> str:
    """Why a cup could not be computed whole."""
    return _again(text, _CUPS)


def example_words(text: str) -> str:
    """What falls into a class of change."""
    return _again(text, _EXAMPLES)


def stale_words(text: str) -> str:
    """Why a signature that was given no longer counts."""
    return _again(text, _STALE)


def file_told(text: str) -> str:
    """What is said of a file beside its facts."""
    return _again(text, _FILES)


def build_told(name: str) -> str:
    """A choice nobody named: the standard build, a stand-in by what it stands for."""
    return _again(name, _BUILDS)


def batch_told(item: str, name: str) -> str:
    """The size of a prep, which is called a batch; a drink's sizes are named by its author."""
    return _again(name, _BATCH) if item.startswith("prep/") else name


def shared_told(path: str, known: Callable[[], Iterable[str]]) -> str:
    """A way in by shared equipment; `known` gives the names of drinks and preps, which may hold an "and" of their own."""
    for form in _SHARED if translates() else ():
        found = _reader(form).fullmatch(path)
        if found:
            values = {**found.groupdict(), "allergen": allergen_word(found["allergen"])}
            if "names" in values:
                values["names"] = _names_told(values["names"], known)
            return _(form).format_map(values)
    return path


def is_bracket(text: str) -> bool:
    """Whether the comparison puts such a text in brackets behind a way in."""
    return any(_reader(form).fullmatch(text) for form in _BRACKETS)


def bracket_told(text: str) -> str:
    """What stands in brackets behind a way in."""
    return _again(text, _BRACKETS)


_MORE = re.compile(r"(.+) and ([0-9]+) more")


def _names_told(text: str, names: Callable[[], Iterable[str]]) -> str:
    """`A, B and C` or `A, B and 3 more`, joined as the language joins; what cannot be told apart stays."""
    more = _MORE.fullmatch(text)
    if more:
        left = int(more[2])
        return _n("{names} and {count} more", "{names} and {count} more", left).format(names=more[1], count=left)
    known = frozenset(names()) if " and " in text else frozenset()
    for gap in re.finditer(" and ", text if text not in known else ""):
        before, last = text[: gap.start()], text[gap.end() :]
        if last in known and (before in known or before.rpartition(", ")[2] in known):
            return _("{names} and {last}").format(names=before, last=last)
    return text


def held_words(text: str) -> str:
    """What limits a hold time."""
    return _again(text, _HELD)


def fact_told(kind: str, text: str, day_words: Callable[[str], str]) -> str:
    """A fact of a card by the kind of its TextChange; authors' own words of the other kinds stay."""
    return _again(text, _TEXTS.get(kind, ()), day_words)


def _again(text: str, forms: tuple[str, ...], day_words: Callable[[str], str] | None = None) -> str:
    if not translates():
        return text
    for form in forms:
        found = _reader(form).fullmatch(text)
        if found:
            values = {name: _value(name, value, day_words) for name, value in found.groupdict().items()}
            return _(form).format_map(values)
    return text


def _value(place: str, value: str, day_words: Callable[[str], str] | None) -> str:
    if place == "day":
        return day_words(value) if day_words else value
    if place in ("allergen", "substances"):
        return say("word.list").join(map(allergen_word, value.split(", ")))
    return numeral(value) if re.fullmatch("[0-9.]+", value) else value


_PLACES = {"path": r"\S+", "share": r"[0-9.]+", "count": "[0-9]+", "ratio": "[0-9.]+", "step": "[0-9.]+"}


@cache
def _reader(form: str) -> re.Pattern[str]:
    """A pattern that takes a sentence of this form apart again."""
    parts = re.split(r"\{([a-z]+)\}", form)
    return re.compile("".join(re.escape(part) if n % 2 == 0 else f"(?P<{part}>{_PLACES.get(part, '.+?')})" for n, part in enumerate(parts)), re.DOTALL)
