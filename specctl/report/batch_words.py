"""One batch of a prep in words: mass, volume, and how high its foam stands in the cups."""

from __future__ import annotations

from specctl.analysis.batch_yield import BatchYield, Portion
from specctl.domain.amount import plain
from specctl.report.clean import visible
from specctl.report.plain import heading, wrap

ESTIMATE = "Estimated, not measured."
FOAM = "Foam drains as it stands, which is not modelled: weigh one cup of mix and one of foam."


def batch_lines(batch: BatchYield, width: int) -> list[str]:
    """Lines at most `width` columns wide."""
    lines = heading("One batch, estimated", width)
    lines += wrap(volume_words(batch), width)
    for portion in batch.portions:
        lines += wrap(portion_words(portion), width, "- ")
    return [*lines, *wrap(f"{ESTIMATE} {FOAM}" if batch.overrun else ESTIMATE, width)]


def volume_words(batch: BatchYield) -> str:
    """`272 g: 257 ml before air, about 642 ml ± 64 ml with an overrun of 150 %.`"""
    if batch.ml is None or batch.flat_ml is None or batch.doubt_ml is None:
        return f"{plain(batch.grams)} g; its volume is not known: {visible(batch.why)}."
    doubt = f"± {max(1.0, batch.doubt_ml):.0f} ml"
    if not batch.overrun:
        return f"{plain(batch.grams)} g, about {batch.ml:.0f} ml {doubt}."
    share = plain(batch.overrun * 100)
    return f"{plain(batch.grams)} g: {batch.flat_ml:.0f} ml before air, about {batch.ml:.0f} ml {doubt} with an overrun of {share} %."


def portion_words(portion: Portion) -> str:
    """What one size takes, how high it stands, how many portions a batch holds."""
    where = f"{visible(portion.name)}, {visible(portion.size_name)}, in {visible(portion.vessel_name)}"
    high = f", about {portion.mm:.0f} mm high" if portion.mm is not None else ""
    return f"{where}: {portion.grams:.0f} g{high}; a whole batch holds {portion.portions}."
