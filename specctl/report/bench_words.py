"""The words of scoop checks and of how a menu fits a site's tools.

Measures, verdicts and errors are said by `words`, as on cards and reports;
here is only what those never say: how sure a number is, and what to do about it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from specctl.report.clean import visible
from specctl.report.numerals import numeral
from specctl.report.remedy_words import advice_words, flow_words, swap_words
from specctl.report.tongue import _, _n, later
from specctl.report.words import date_words, error_words, measure_words, say, verdict_words

ESTIMATE = later(
    "Chances are estimates by a normal law, from scoop checks, stated tool errors or the published error of ordinary "
    "people (9.0 % powder, 4.4 % liquid; Rosenkranz et al. 2024). Heat and haste are not in them."
)


def chance_words(chance: float | None) -> str:
    """`lands inside 19 times in 20`-like figures are guesses in disguise; per cent, whole, never 100 or 0."""
    if chance is None:
        return _("no estimate")
    if chance >= 0.995:
        return _("about {share} or more land inside").format(share="99 %")
    if chance < 0.005:
        return _("next to none land inside")
    return _("about {share} land inside").format(share=f"{chance * 100:.0f} %")


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
        return say("amount.unknown")
    words = _("{grams} g ({low} to {high} g)")
    return words.format(grams=numeral(line["grams"]), low=numeral(row["low"]), high=numeral(row["high"]))


BUSY = later(
    "Weigh it again at a busy hour, with --busy: a scoop that is heaped in haste is off by the same amount every time, "
    "and no spread shows that."
)


def check_words(check: Mapping[str, Any]) -> list[str]:
    """What a scoop check says, line by line; `check` is the result of `scoop-check --json`."""
    names = [visible(check[key]["name"]) for key in ("ingredient", "tool", "site")]
    head = _("{ingredient} with {tool} at {site}, at a busy hour") if check["busy"] else _("{ingredient} with {tool} at {site}")
    lines = [head.format(ingredient=names[0], tool=names[1], site=names[2]), _weighed(check), _sure(check)]
    if check["spread_from_step"]:
        lines.append(_("They hardly differ: the spread is that of the scale's own step, for it may hide a smaller one."))
    if not check["proves"]:
        few = _(
            "Too few to prove a dose: from {count} weighings on a check can. Until then an amount measured with it is not proven."
        )
        lines.append(few.format(count=check["least_weighings"]))
    made = [visible(text) for text in (check["product_code"], check["supplier"]) if text]
    if check["bulk_density"]:
        made.append(numeral(f"{check['bulk_density']} g/ml"))
    if made:
        lines.append(_("Void when any of these changes: {facts}.").format(facts=", ".join(made)))
    lines.append(_("Weigh again from {day} on.").format(day=date_words(date.fromisoformat(check["due"]))))
    other = check["other_hour"]
    if other is not None:
        lines.append(_hours(other))
    elif not check["busy"]:
        lines.append(_(BUSY))
    return lines


def _weighed(check: Mapping[str, Any]) -> str:
    words = _("{count} weighings by {person}, {day}: mean {mean}, spread {spread} (one standard deviation of one dose).")
    return words.format(
        count=check["weighings"],
        person=visible(check["who"]),
        day=date_words(date.fromisoformat(check["date"])),
        mean=numeral(f"{check['mean_g']} g"),
        spread=numeral(f"{check['spread_g']} g"),
    )


def _sure(check: Mapping[str, Any]) -> str:
    sure = check["estimate"]
    words = _(
        "With {share} confidence the mean lies between {low} and {high} (Student's t, {freedom} degrees of freedom; an estimate)."
    )
    return words.format(
        share=f"{sure['confidence'] * 100:.0f} %",
        low=numeral(f"{sure['mean_low_g']:g} g"),
        high=numeral(f"{sure['mean_high_g']:g} g"),
        freedom=check["weighings"] - 1,
    )


def _hours(other: Mapping[str, Any]) -> str:
    off = other["busy_less_quiet_g"]
    size = numeral(f"{off.removeprefix('-')} g ({abs(other['share']) * 100:.1f} %)")
    less = off.startswith("-")
    if other["more_than_chance"] and less:
        words = _("A busy hour gives {amount} less than a quiet one: a bias, and the newer check is the one that counts.")
    elif other["more_than_chance"]:
        words = _("A busy hour gives {amount} more than a quiet one: a bias, and the newer check is the one that counts.")
    elif less:
        words = _("A busy hour gives {amount} less than a quiet one, no more than weighings so few differ by chance.")
    else:
        words = _("A busy hour gives {amount} more than a quiet one, no more than weighings so few differ by chance.")
    return words.format(amount=size)


COUNTED = ("no-tool", "outside", "unproven", "within")


def count_words(counts: Mapping[str, int]) -> str:
    """`2 OUTSIDE tolerance, 40 within tolerance`."""
    return ", ".join(f"{counts[v]} {verdict_words(v)}" for v in COUNTED if counts[v]) or _("nothing is measured here")


NARROW = 110
"""Below so many columns the table joins fields, so that it stays one table."""


def fit_table(rows: Iterable[Mapping[str, Any]], width: int) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Columns and rows of a menu, the verdict always first."""
    cells = [fit_cells(row) for row in rows]
    if width >= NARROW:
        return (_("verdict"), _("where"), _("asked"), _("how it is measured here"), _("what it gives")), cells
    return (_("verdict"), _("where and what"), _("how it is measured here")), [
        (verdict, f"{where}: {asked}", f"{how}: {gives}" if gives else how) for verdict, where, asked, how, gives in cells
    ]


def help_words(fit: Mapping[str, Any]) -> list[str]:
    """What would help, in order; `fit` is the result of `site-fit SITE --json`."""
    lines = [advice_words(advice) for advice in fit["remedies"]]
    for buy in fit["buy"]:
        left = buy["brings"] - buy["proven"]
        words = _("To buy: a {tool} brings {count} of {of} amounts inside.")
        if left > 0:
            words = _("To buy: a {tool} brings {count} of {of} amounts inside, {left} of them once weighed (scoop-check).")
        lines.append(words.format(tool=visible(buy["name"]), count=buy["brings"], of=buy["of"], left=left))
    scale, failing = fit["scale"], len(fit["remedies"])
    if scale and sum(buy["brings"] for buy in fit["buy"]) < failing:
        words = _("THIS SITE NEEDS A SCALE: a {tool} brings {count} of {of} amounts inside.")
        lines.append(words.format(tool=visible(scale["name"]), count=scale["brings"], of=scale["of"]))
    elif scale:
        words = _("Or a {tool}: {count} of {of} amounts inside, and proven.")
        lines.append(words.format(tool=visible(scale["name"]), count=scale["brings"], of=scale["of"]))
    for flow in fit["flow"]:
        lines.append(flow_words(flow))
    lines += dict.fromkeys(swap_words(swap) for swap in fit["equivalents"])
    for due in fit["checks_due"]:
        words = _("Weigh again: {check} was due on {day}.")
        lines.append(words.format(check=visible(due["scoop_check"]), day=date_words(date.fromisoformat(due["due"]))))
    return lines


def site_cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """One site of `site-fit --all`: counts by verdict and its worst amount."""
    worst = row["worst"]
    said = "" if worst is None else "; ".join(part for part in fit_cells(worst) if part)
    return visible(row["name"]), count_words(row["counts"]), said


SITE_COLUMNS = (later("site"), later("amounts"), later("its worst amount"))


def chain_cells(row: Mapping[str, Any]) -> tuple[str, ...]:
    """One ingredient of `site-fit --chain`."""
    counted = ", ".join(f"{numeral(amount)} {currency}" for currency, amount in sorted(row["over_cost"].items()))
    cost = counted or (_("not known") if row["no_price_at"] else _("nothing counted"))
    if row["no_price_at"]:
        cost = _("{cost} (no price at {sites})").format(cost=cost, sites=", ".join(row["no_price_at"]))
    fit = _("{outside} OUTSIDE, {unproven} not proven, of {count} sites").format(
        outside=len(row["outside"]), unproven=len(row["unproven"]), count=row["sites"]
    )
    over = _("{weight}: {cost}").format(weight=numeral(f"{row['over_kg']} kg"), cost=cost)
    under = _("{weight}; {count} doses missed").format(weight=numeral(f"{row['under_kg']} kg"), count=row["missed"])
    return visible(row["name"]), fit, over, under


CHAIN_LIMITS = later("At stated sales, standard builds only. Over and under are expectations.")
CHAIN_COLUMNS = (later("item"), later("sites"), later("a year over: money"), later("a year under: taste"))


BATCH_COLUMNS = (later("verdict"), later("what"), later("how it is measured here"), later("what it gives"))


def batch_cells(line: Mapping[str, Any]) -> tuple[str, ...]:
    """One line of `site-fit SITE --prep PREP`."""
    what = f"{visible(line['name'])}, {numeral(line['grams'])} g" if line["grams"] else f"{visible(line['name'])}, {line['each']}"
    if line["packs"]:
        packs = line["packs"]
        what = _("{what} (whole packs: {count} × {pack})").format(what=what, count=packs["count"], pack=visible(packs["name"]))
    gives = error_words(line["measure"]) if line["measure"]["gives"] is not None else ""
    return verdict_words(line["measure"]["verdict"]), what, measure_words(line), gives


def batch_words(batch: Mapping[str, Any]) -> str:
    """How much it makes, and how much its vessel takes."""
    count = batch["batches"]
    head = _n("{prep} at {site}: {count} batch, {grams}.", "{prep} at {site}: {count} batches, {grams}.", count).format(
        prep=visible(batch["prep"]["name"]),
        site=visible(batch["site"]["name"]),
        count=count,
        grams=numeral(f"{batch['yields_g']} g"),
    )
    vessel = batch["vessel"]
    if vessel is None:
        return f"{head} {_('No vessel is stated for it.')}"
    if vessel["most_batches"] is None:
        return f"{head} {_('HOW MANY FIT THE VESSEL IS NOT KNOWN: the prep states no density.')}"
    words = _("{vessel} works up to {works} and takes {least} to {most} batches of {volume}, whipped where it is whipped.")
    takes = words.format(
        vessel=visible(vessel["name"]),
        works=numeral(f"{vessel['works_ml']} ml"),
        least=vessel["least_batches"],
        most=vessel["most_batches"],
        volume=numeral(f"{vessel['batch_ml']} ml"),
    )
    return f"{head} {takes}"
