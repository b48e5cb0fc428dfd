"""The words of scoop checks and of how a menu fits a site's tools.

Measures, verdicts and errors are said by `words`, as on cards and reports;
here is only what those never say: how sure a number is, and what to do about it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from specctl.report.clean import visible
from specctl.report.words import date_words, error_words, measure_words, status_words, verdict_words

ESTIMATE = (
    "Chances are estimates by a normal law, from scoop checks, stated tool errors or the published error of ordinary "
    "people (9.0 % powder, 4.4 % liquid; Rosenkranz et al. 2024). Heat and haste are not in them."
)


def chance_words(chance: float | None) -> str:
    """`lands inside 19 times in 20`-like figures are guesses in disguise; per cent, whole, never 100 or 0."""
    if chance is None:
        return "no estimate"
    if chance >= 0.995:
        return "about 99 % or more land inside"
    if chance < 0.005:
        return "next to none land inside"
    return f"about {chance * 100:.0f} % land inside"


def fit_cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """Verdict, where, what is asked, how it is measured, and how sure that is."""
    line = row["line"]
    where = row["name"]
    if row["size"]:
        where += f", {row['size']}"
    if row["choice"]:
        where += f", {row['choice']}"
    asked = f"{line['name']}, {amount_words(row)}"
    sure = error_words(line["measure"])
    if line["measure"]["gives"] is None:
        sure = ""
    elif row["chance"] is not None:
        sure += f"; {chance_words(row['chance'])}"
    return verdict_words(line["measure"]["verdict"]), where, asked, measure_words(line), sure


def amount_words(row: Mapping[str, Any]) -> str:
    """`1.2 g (1.08 to 1.32 g)`."""
    line = row["line"]
    if not line["grams"]:
        return "grams not known"
    return f"{line['grams']} g ({row['low']} to {row['high']} g)"


BUSY = (
    "Weigh it again at a busy hour, with --busy: a scoop that is heaped in haste is off by the same amount every time, "
    "and no spread shows that."
)


def check_words(check: Mapping[str, Any]) -> list[str]:
    """What a scoop check says, line by line; `check` is the result of `scoop-check --json`."""
    names = [visible(check[key]["name"]) for key in ("ingredient", "tool", "site")]
    hour = ", at a busy hour" if check["busy"] else ""
    sure = check["estimate"]
    lines = [
        f"{names[0]} with {names[1]} at {names[2]}{hour}",
        f"{check['weighings']} weighings by {visible(check['who'])}, {date_words(date.fromisoformat(check['date']))}: "
        f"mean {check['mean_g']} g, spread {check['spread_g']} g (one standard deviation of one dose).",
        f"With {sure['confidence'] * 100:.0f} % confidence the mean lies between {sure['mean_low_g']:g} g and "
        f"{sure['mean_high_g']:g} g (Student's t, {check['weighings'] - 1} degrees of freedom; an estimate).",
    ]
    if check["spread_from_step"]:
        lines.append("They hardly differ: the spread is that of the scale's own step, for it may hide a smaller one.")
    if not check["proves"]:
        lines.append(
            f"Too few to prove a dose: from {check['least_weighings']} weighings on a check can. Until then an amount "
            "measured with it is not proven."
        )
    made = [visible(text) for text in (check["product_code"], check["supplier"]) if text]
    if check["bulk_density"]:
        made.append(f"{check['bulk_density']} g/ml")
    if made:
        lines.append(f"Void when any of these changes: {', '.join(made)}.")
    lines.append(f"Weigh again from {date_words(date.fromisoformat(check['due']))} on.")
    other = check["other_hour"]
    if other is not None:
        lines.append(_hours(other))
    elif not check["busy"]:
        lines.append(BUSY)
    return lines


def _hours(other: Mapping[str, Any]) -> str:
    off = other["busy_less_quiet_g"]
    size = f"{off.removeprefix('-')} g ({abs(other['share']) * 100:.1f} %) {'less' if off.startswith('-') else 'more'}"
    if other["more_than_chance"]:
        return f"A busy hour gives {size} than a quiet one: a bias, and the newer check is the one that counts."
    return f"A busy hour gives {size} than a quiet one, no more than weighings so few differ by chance."


COUNTED = ("no-tool", "outside", "unproven", "within")


def count_words(counts: Mapping[str, int]) -> str:
    """`2 OUTSIDE tolerance, 40 within tolerance`."""
    return ", ".join(f"{counts[v]} {verdict_words(v)}" for v in COUNTED if counts[v]) or "nothing is measured here"


NARROW = 110
"""Below so many columns the table joins fields, so that it stays one table."""


def fit_table(rows: Iterable[Mapping[str, Any]], width: int) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Columns and rows of a menu, the verdict always first."""
    cells = [fit_cells(row) for row in rows]
    if width >= NARROW:
        return ("verdict", "where", "asked", "how it is measured here", "what it gives"), cells
    return ("verdict", "where and what", "how it is measured here"), [
        (verdict, f"{where}: {asked}", f"{how}: {gives}" if gives else how) for verdict, where, asked, how, gives in cells
    ]


def help_words(fit: Mapping[str, Any]) -> list[str]:
    """What would help, in order; `fit` is the result of `site-fit SITE --json`."""
    lines = [_advice_line(advice) for advice in fit["remedies"]]
    for buy in fit["buy"]:
        after = f", {buy['brings'] - buy['proven']} of them once weighed (scoop-check)" if buy["brings"] > buy["proven"] else ""
        lines.append(f"To buy: a {visible(buy['name'])} brings {buy['brings']} of {buy['of']} amounts inside{after}.")
    scale, failing = fit["scale"], len(fit["remedies"])
    if scale and sum(buy["brings"] for buy in fit["buy"]) < failing:
        lines.append(f"THIS SITE NEEDS A SCALE: a {visible(scale['name'])} brings {scale['brings']} of {scale['of']} amounts inside.")
    elif scale:
        lines.append(f"Or a {visible(scale['name'])}: {scale['brings']} of {scale['of']} amounts inside, and proven.")
    for flow in fit["flow"]:
        lines.append(flow_words(flow))
    lines += dict.fromkeys(swap_words(swap) for swap in fit["equivalents"])
    for due in fit["checks_due"]:
        lines.append(f"Weigh again: {visible(due['scoop_check'])} was due on {date_words(date.fromisoformat(due['due']))}.")
    return lines


def flow_words(flow: Mapping[str, Any]) -> str:
    """How a powder flows, in the words of USP <1174>, and what that means for a scoop."""
    trust = "a level scoop of it can be trusted once weighed" if flow["trusted"] else "DO NOT TRUST IT TO A SCOOP: weigh it"
    return (
        f"{visible(flow['name'])}: Hausner ratio {flow['hausner']}, Carr index {flow['carr']} %, flow {flow['flow']} "
        f"(USP <1174>; between two bands the figure is rounded half up first): {trust}."
    )


def _advice_line(advice: Mapping[str, Any]) -> str:
    what = f"{advice['grams']} g of {visible(advice['of_name'])} ({visible(advice['name'])})"
    own, mix = advice["own"], advice["premix"]
    many, one = ("batches", "batch") if advice["item"].startswith("prep/") else ("drinks", "drink")
    if own is not None:
        how = f"for {own['times']} {many} at once" if own["how"] == "at-once" else "in more motions than the book allows"
        return f"{what}: the site's own tools serve {how}: {measure_words(_as_line(own))}, {error_words(own['measure'])}, {verdict_words(own['measure']['verdict'])}."
    if mix is not None:
        density = f" (about {mix['density']} g/ml, worked out: weigh it once)" if mix["density"] else ""
        made = measure_words({"measure": mix["making"], "grams": mix["grams"], "each": None, "rule": None})
        dosed = measure_words({"measure": mix["dosing"], "grams": mix["dose"], "each": None, "rule": None})
        return (
            f"{what}: make a premix for {mix['portions']} {many}, {mix['grams']} g ({made}) with {mix['with_grams']} g "
            f"{visible(mix['with_name'])}{density}; put {mix['dose']} g of it in each {one}: {dosed}, "
            f"{verdict_words(mix['dosing']['verdict'])}. The mix carries the allergens of both."
        )
    return f"{what}: nothing the site owns serves, and no premix does."


def _as_line(own: Mapping[str, Any]) -> dict[str, Any]:
    return {"measure": own["measure"], "grams": own["measure"]["gives"] or "", "each": None, "rule": None}


def site_cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """One site of `site-fit --all`: counts by verdict and its worst amount."""
    worst = row["worst"]
    said = "" if worst is None else "; ".join(part for part in fit_cells(worst) if part)
    return visible(row["name"]), count_words(row["counts"]), said


SITE_COLUMNS = ("site", "amounts", "its worst amount")


def chain_cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """One ingredient of `site-fit --chain`."""
    counted = ", ".join(f"{amount} {currency}" for currency, amount in sorted(row["over_cost"].items()))
    cost = counted or ("not known" if row["no_price_at"] else "nothing counted")
    if row["no_price_at"]:
        cost += f" (no price at {', '.join(row['no_price_at'])})"
    fit = f"{len(row['outside'])} OUTSIDE, {len(row['unproven'])} not proven, of {row['sites']} sites"
    return visible(row["name"]), fit, f"{row['over_kg']} kg: {cost}", f"{row['under_kg']} kg; {row['missed']} doses missed"


CHAIN_LIMITS = "At stated sales, standard builds only. Over and under are expectations."
CHAIN_COLUMNS = ("item", "sites", "a year over: money", "a year under: taste")


BATCH_COLUMNS = ("verdict", "what", "how it is measured here", "what it gives")


def batch_cells(line: Mapping[str, Any]) -> tuple[str, ...]:
    """One line of `site-fit SITE --prep PREP`."""
    what = f"{visible(line['name'])}, {line['grams']} g" if line["grams"] else f"{visible(line['name'])}, {line['each']}"
    if line["packs"]:
        what += f" (whole packs: {line['packs']['count']} × {visible(line['packs']['name'])})"
    gives = error_words(line["measure"]) if line["measure"]["gives"] is not None else ""
    return verdict_words(line["measure"]["verdict"]), what, measure_words(line), gives


def batch_words(batch: Mapping[str, Any]) -> str:
    """How much it makes, and how much its vessel takes."""
    count = "1 batch" if batch["batches"] == 1 else f"{batch['batches']} batches"
    head = f"{visible(batch['prep']['name'])} at {visible(batch['site']['name'])}: {count}, {batch['yields_g']} g."
    vessel = batch["vessel"]
    if vessel is None:
        return f"{head} No vessel is stated for it."
    if vessel["most_batches"] is None:
        return f"{head} HOW MANY FIT THE VESSEL IS NOT KNOWN: the prep states no density."
    return (
        f"{head} {visible(vessel['name'])} works up to {vessel['works_ml']} ml and takes {vessel['least_batches']} to "
        f"{vessel['most_batches']} batches of {vessel['batch_ml']} ml, whipped where it is whipped."
    )


def swap_words(swap: Mapping[str, Any]) -> str:
    """What a stand-in changes: amounts, solids, sugars, water, density, allergens, cost."""
    one, other = swap["for"], swap["with"]
    where = ", ".join(visible(part) for part in (swap.get("name", ""), swap["size"], swap["choice"]) if part)
    parts = [f"{part} {_signed(value)} g" if value is not None else f"{part} not stated" for part, value in swap["difference_g"].items()
             if part in ("solids", "sugars", "water")]  # fmt: skip
    before, after = swap["solids_g"]
    if before is not None and after is not None and float(before):
        parts[0] += f" ({(float(after) / float(before) - 1) * 100:+.0f} %)"
    dense = " to ".join(d or "not stated" for d in swap["density"])
    brings = "; ".join(f"{visible(b['substance'])}: {_status(b['with'])} (before: {_status(b['without'])})" for b in swap["brings"])
    costs = ", ".join(
        f"{_signed(c['difference'])} {c['currency']}" if c["difference"] is not None else f"not known at {visible(c['franchise'])}"
        for c in swap["costs"]
    )
    return (
        f"Stand-in allowed ({where}): {other['grams']} g {visible(other['name'])} for {one['grams']} g {visible(one['name'])}: "
        f"{', '.join(parts)}; density {dense} g/ml; {'BRINGS ' + brings if brings else 'brings no more allergens than the documents of both name, which is no promise'}; "
        f"cost of a cup {costs or 'not known'}."
    )


def _status(status: str) -> str:
    return status_words(status.replace(" ", "_"))


def _signed(value: str) -> str:
    return value if value.startswith("-") or value == "0" else f"+{value}"
