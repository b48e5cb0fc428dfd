"""One batch of a prep in words: mass, volume, and how high its foam stands in the cups."""

from __future__ import annotations

from specctl.analysis.batch_yield import BatchYield, Portion
from specctl.domain.amount import plain
from specctl.report.clean import visible
from specctl.report.numerals import numeral
from specctl.report.plain import heading, wrap
from specctl.report.tongue import _, later

ESTIMATE = later("Estimated, not measured.")
FOAM = later("Foam drains as it stands, which is not modelled: weigh one cup of mix and one of foam.")


def batch_lines(batch: BatchYield, width: int) -> list[str]:
    """Lines at most `width` columns wide."""
    lines = heading(_("One batch, estimated"), width)
    lines += wrap(volume_words(batch), width)
    for portion in batch.portions:
        lines += wrap(portion_words(portion), width, "- ")
    return [*lines, *wrap(f"{_(ESTIMATE)} {_(FOAM)}" if batch.overrun else _(ESTIMATE), width)]


def volume_words(batch: BatchYield) -> str:
    """`272 g: 257 ml before air, about 642 ml ± 64 ml with an overrun of 150 %.`"""
    grams = numeral(f"{plain(batch.grams)} g")
    if batch.ml is None or batch.flat_ml is None or batch.doubt_ml is None:
        return _("{grams}; its volume is not known: {why}.").format(grams=grams, why=visible(batch.why))
    volume = f"{batch.ml:.0f} ml ± {max(1.0, batch.doubt_ml):.0f} ml"
    if not batch.overrun:
        return _("{grams}, about {volume}.").format(grams=grams, volume=volume)
    words = _("{grams}: {flat} before air, about {volume} with an overrun of {share}.")
    share = numeral(f"{plain(batch.overrun * 100)} %")
    return words.format(grams=grams, flat=f"{batch.flat_ml:.0f} ml", volume=volume, share=share)


def portion_words(portion: Portion) -> str:
    """What one size takes, how high it stands, how many portions a batch holds."""
    if portion.mm is None:
        words = _("{drink}, {size}, in {vessel}: {grams}; a whole batch holds {portions}.")
    else:
        words = _("{drink}, {size}, in {vessel}: {grams}, about {high} high; a whole batch holds {portions}.")
    return words.format(
        drink=visible(portion.name),
        size=visible(portion.size_name),
        vessel=visible(portion.vessel_name),
        grams=f"{portion.grams:.0f} g",
        high="" if portion.mm is None else f"{portion.mm:.0f} mm",
        portions=portion.portions,
    )
