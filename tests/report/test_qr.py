"""The QR code: read back by a reader of another make (zxing-cpp), with the margin and contrast readers need."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
import zxingcpp

from specctl.report.qr import QUIET_ZONE, matrix, qr_svg

DIGEST = "8f5def84ae9da55a3afd873a0f3fad6497c06848db4df71af2ad9b01b32d0c63"
SVG = ElementTree.fromstring


def drawn(svg: str, scale: int = 4) -> tuple[list[list[int]], int]:
    """The picture's pixels in grey, by its own rectangle and bars; nothing else is in it."""
    root = SVG(svg)
    size = int(root.attrib["viewBox"].split()[2])
    rect, path = list(root)
    assert rect.attrib == {"width": str(size), "height": str(size), "fill": "#ffffff"} and path.attrib["fill"] == "#000000"
    grey = [[255] * (size * scale) for _ in range(size * scale)]
    for column, row, run in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path.attrib["d"]):
        for y in range(int(row) * scale, (int(row) + 1) * scale):
            for x in range(int(column) * scale, (int(column) + int(run)) * scale):
                grey[y][x] = 0
    return grey, size * scale


def read(svg: str) -> list[str]:
    grey, size = drawn(svg)
    pixels = memoryview(bytes(p for row in grey for p in row)).cast("B", (size, size))
    return [found.text for found in zxingcpp.read_barcodes(pixels)]


@pytest.mark.parametrize("text", [DIGEST, "0" * 64, "f" * 64])
def test_another_reader_reads_the_digest(text: str) -> None:
    assert read(qr_svg(text, "x")) == [text]


def test_the_quiet_zone_is_the_standard_s() -> None:
    """ISO/IEC 18004: four modules of light on every side."""
    rows = matrix(DIGEST)
    assert QUIET_ZONE == 4
    for edge in (rows[:4], rows[-4:], [r[:4] for r in rows], [r[-4:] for r in rows]):
        assert not any(module for row in edge for module in row)
    assert any(rows[4]) and any(row[4] for row in rows)


def test_what_is_drawn_is_the_code() -> None:
    grey, _ = drawn(qr_svg(DIGEST, "x"), scale=1)
    assert [[pixel == 0 for pixel in row] for row in grey] == [list(row) for row in matrix(DIGEST)]


def test_black_on_white_and_nothing_active() -> None:
    svg = qr_svg(DIGEST, 'a "label" <b>')
    root = SVG(svg)
    assert {e.tag for e in root.iter()} == {"svg", "rect", "path"}
    assert root.attrib["role"] == "img" and root.attrib["aria-label"] == 'a "label" <b>'
    assert not re.search(r"style|href|script|url\(|on\w+=|http", svg)
