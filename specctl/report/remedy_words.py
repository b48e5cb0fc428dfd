"""The words of what would help a site: its own tools otherwise, a premix, a stand-in, and what a powder does in a scoop."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specctl.report.clean import visible
from specctl.report.numerals import numeral
from specctl.report.tongue import _, later
from specctl.report.words import error_words, measure_words, status_words, verdict_words


def flow_words(flow: Mapping[str, Any]) -> str:
    """How a powder flows, in the words of USP <1174>, and what that means for a scoop."""
    if flow["trusted"]:
        words = _(
            "{powder}: Hausner ratio {hausner}, Carr index {carr}, flow {flow} (USP <1174>; between two bands the figure is "
            "rounded half up first): a level scoop of it can be trusted once weighed."
        )
    else:
        words = _(
            "{powder}: Hausner ratio {hausner}, Carr index {carr}, flow {flow} (USP <1174>; between two bands the figure is "
            "rounded half up first): DO NOT TRUST IT TO A SCOOP: weigh it."
        )
    hausner, carr = numeral(str(flow["hausner"])), numeral(f"{flow['carr']} %")
    return words.format(powder=visible(flow["name"]), hausner=hausner, carr=carr, flow=flow["flow"])


def advice_words(advice: Mapping[str, Any]) -> str:
    """What serves where nothing does as it stands: the site's own tools, or a premix."""
    words = _("{grams} g of {ingredient} ({item})")
    what = words.format(grams=numeral(advice["grams"]), ingredient=visible(advice["of_name"]), item=visible(advice["name"]))
    own, mix = advice["own"], advice["premix"]
    prep = advice["item"].startswith("prep/")
    if own is not None:
        return _own_words(what, own, prep)
    if mix is not None:
        return _premix_words(what, mix, prep)
    return _("{what}: nothing the site owns serves, and no premix does.").format(what=what)


def _own_words(what: str, own: Mapping[str, Any], prep: bool) -> str:
    if own["how"] != "at-once":
        words = _("{what}: the site's own tools serve in more motions than the book allows: {measure}, {gives}, {verdict}.")
    elif prep:
        words = _("{what}: the site's own tools serve for {times} batches at once: {measure}, {gives}, {verdict}.")
    else:
        words = _("{what}: the site's own tools serve for {times} drinks at once: {measure}, {gives}, {verdict}.")
    measure = own["measure"]
    told = {"measure": measure_words(_as_line(own)), "gives": error_words(measure), "verdict": verdict_words(measure["verdict"])}
    return words.format(what=what, times=own["times"], **told)


def _premix_words(what: str, mix: Mapping[str, Any], prep: bool) -> str:
    if prep:
        words = _(
            "{what}: make a premix for {portions} batches, {grams} g ({made}) with {with_grams} g {with_name}; put {dose} g of "
            "it in each batch: {dosed}, {verdict}. The mix carries the allergens of both."
        )
    else:
        words = _(
            "{what}: make a premix for {portions} drinks, {grams} g ({made}) with {with_grams} g {with_name}; put {dose} g of "
            "it in each drink: {dosed}, {verdict}. The mix carries the allergens of both."
        )
    other = visible(mix["with_name"])
    if mix["density"]:
        dense = _("{name} (about {density}, worked out: weigh it once)")
        other = dense.format(name=other, density=numeral(f"{mix['density']} g/ml"))
    figures = {place: numeral(str(mix[place])) for place in ("grams", "with_grams", "dose")}
    return words.format(
        what=what,
        portions=mix["portions"],
        made=measure_words({"measure": mix["making"], "grams": mix["grams"], "each": None, "rule": None}),
        with_name=other,
        dosed=measure_words({"measure": mix["dosing"], "grams": mix["dose"], "each": None, "rule": None}),
        verdict=verdict_words(mix["dosing"]["verdict"]),
        **figures,
    )


def _as_line(own: Mapping[str, Any]) -> dict[str, Any]:
    return {"measure": own["measure"], "grams": own["measure"]["gives"] or "", "each": None, "rule": None}


def swap_words(swap: Mapping[str, Any]) -> str:
    """What a stand-in changes: amounts, solids, sugars, water, density, allergens, cost."""
    one, other = swap["for"], swap["with"]
    where = ", ".join(visible(part) for part in (swap.get("name", ""), swap["size"], swap["choice"]) if part)
    parts = [_part_words(part, value) for part, value in swap["difference_g"].items() if part in _PARTS]
    before, after = swap["solids_g"]
    if before is not None and after is not None and float(before):
        parts[0] += f" ({(float(after) / float(before) - 1) * 100:+.0f} %)"
    before, after = (numeral(dense) if dense else _("not stated") for dense in swap["density"])
    brings = "; ".join(
        _("{substance}: {status} (before: {before})").format(
            substance=visible(b["substance"]), status=_status(b["with"]), before=_status(b["without"])
        )
        for b in swap["brings"]
    )
    costs = ", ".join(
        numeral(f"{_signed(c['difference'])} {c['currency']}")
        if c["difference"] is not None
        else _("not known at {franchise}").format(franchise=visible(c["franchise"]))
        for c in swap["costs"]
    )
    if brings:
        words = _(
            "Stand-in allowed ({where}): {grams} g {other} for {instead} g {one}: {parts}; density {before} to {after} g/ml; "
            "BRINGS {brings}; cost of a cup {costs}."
        )
    else:
        words = _(
            "Stand-in allowed ({where}): {grams} g {other} for {instead} g {one}: {parts}; density {before} to {after} g/ml; "
            "brings no more allergens than the documents of both name, which is no promise; cost of a cup {costs}."
        )
    return words.format(
        where=where,
        grams=numeral(other["grams"]),
        other=visible(other["name"]),
        instead=numeral(one["grams"]),
        one=visible(one["name"]),
        parts=", ".join(parts),
        before=before,
        after=after,
        brings=brings,
        costs=costs or _("not known"),
    )


_PARTS = {"solids": later("solids"), "sugars": later("sugars"), "water": later("water")}


def _part_words(part: str, value: str | None) -> str:
    if value is None:
        return _("{part} not stated").format(part=_(_PARTS[part]))
    return f"{_(_PARTS[part])} {numeral(_signed(value))} g"


def _status(status: str) -> str:
    return status_words(status.replace(" ", "_"))


def _signed(value: str) -> str:
    return value if value.startswith("-") or value == "0" else f"+{value}"
