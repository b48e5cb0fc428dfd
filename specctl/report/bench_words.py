"""The words of scoop checks and of how a menu fits a site's tools.

Measures, verdicts and errors are said by `words`, as on cards and reports;
here is only what those never say: how sure a number is, and what to do about it.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from specctl.report.clean import visible
from specctl.report.words import date_words, error_words, measure_words, verdict_words

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
