"""A digest as a QR code (ISO/IEC 18004) inside a page; the only segno.

Black modules on white with the standard's quiet zone of four modules, whatever
the colours around it. Inline SVG: no script, no style, no request, and the text
it holds is its description.
"""

from __future__ import annotations

import html

QUIET_ZONE = 4
_LEVEL = "m"  # a seventh of the code may be smudged or folded


def qr_svg(text: str, label: str) -> str:
    """`text` as one `<svg>` element; `label` says what it is to who cannot see it."""
    rows = matrix(text)
    size = len(rows)
    bars = "".join(_bars(number, row) for number, row in enumerate(rows))
    name = html.escape(label, quote=True)
    return (
        f'<svg class="code" role="img" aria-label="{name}" width="{4 * size}" height="{4 * size}" '
        f'viewBox="0 0 {size} {size}" shape-rendering="crispEdges">'
        f'<rect width="{size}" height="{size}" fill="#ffffff"/><path fill="#000000" d="{bars}"/></svg>'
    )


def matrix(text: str) -> tuple[tuple[bool, ...], ...]:
    """The modules row by row, dark is True, the quiet zone around them."""
    import segno

    code = segno.make_qr(text, error=_LEVEL, boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in code.matrix_iter(border=QUIET_ZONE))


def _bars(number: int, row: tuple[bool, ...]) -> str:
    """One row's dark runs as closed bars of a path."""
    runs, start = [], None
    for column, dark in enumerate((*row, False)):
        if dark and start is None:
            start = column
        elif not dark and start is not None:
            runs.append(f"M{start} {number}h{column - start}v1h-{column - start}z")
            start = None
    return "".join(runs)
