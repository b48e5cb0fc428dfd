"""The PDF: the same bytes, nothing active, every text whole; read back by pypdf."""

from __future__ import annotations

import io
import json
import re
import sys
from dataclasses import replace
from datetime import UTC, datetime

import pypdf
import pytest
import typst
from make_impact import HOSTILE, NOW, chain, hostile, quiet, rich

from specctl.change.impact import Impact
from specctl.errors import Refused
from specctl.report import pdf
from specctl.report.pdf import A4, LETTER, paper_of, render_pdf
from specctl.report.view import view_of

IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet}
DAY = datetime(2026, 11, 25, tzinfo=UTC)


def made(impact: Impact, paper: str = A4) -> bytes:
    view = view_of(impact, now=NOW)
    return render_pdf(view, paper=paper, day=DAY, stamp=view.stamp)


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b]", "", text)


def read(data: bytes) -> str:
    return squeezed("".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages))


@pytest.mark.parametrize("name", IMPACTS)
def test_the_same_bytes_and_every_text(name: str) -> None:
    view = view_of(IMPACTS[name](), now=NOW)
    data = made(IMPACTS[name]())
    assert data == made(IMPACTS[name]())
    text = read(data)
    for point in view.points:
        assert squeezed(point.text)[:40] in text
    assert text.count(view.digest) >= 3
    info = pypdf.PdfReader(io.BytesIO(data)).metadata
    assert info is not None and info.creation_date == DAY and info.title == view.title


def test_paper_by_market() -> None:
    """A4 is 210 × 297 mm (ISO 216), Letter 8.5 × 11 in (ANSI/ASME Y14.1), a point 1/72 in."""
    box = pypdf.PdfReader(io.BytesIO(made(rich(), A4))).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.1)
    box = pypdf.PdfReader(io.BytesIO(made(rich(), LETTER))).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((612, 792), abs=0.1)
    assert paper_of(frozenset(("us",))) == LETTER
    assert paper_of(frozenset(("us", "gb"))) == paper_of(frozenset()) == A4


def test_hostile_text_means_only_itself() -> None:
    markup = '#panic("x") = head *bold* _i_ $x$ `raw` @ref <tag> \\u{41} #read("/etc/passwd") // gone /* gone */ https://evil.example'
    impact = replace(hostile(), title=markup, why=" ".join(HOSTILE))
    data = made(impact)
    text = read(data)
    assert squeezed(markup) in text
    assert "⟨U+202E⟩" in text and "⟨U+001B⟩" in text and "\u202e" not in text
    for active in (b"/URI", b"/JS", b"/JavaScript", b"/Launch", b"/SubmitForm", b"/EmbeddedFile", b"/AcroForm"):
        assert active not in data


def test_only_the_fonts_inside_and_all_of_them_embedded() -> None:
    fonts = set()
    for page in pypdf.PdfReader(io.BytesIO(made(rich()))).pages:
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            fonts.add(str(inner["/BaseFont"]).partition("+")[2])
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(inner["/FontDescriptor"].get_object())
    assert fonts and all(f.startswith(("LibertinusSerif", "DejaVuSansMono")) for f in fonts)


def test_a_letter_without_a_shape_is_told_not_drawn_as_a_box() -> None:
    text = read(made(rich(why="\u6d77\u8001 prawn")))
    assert "⟨U+6D77⟩⟨U+8001⟩prawn" in text and "HTMLformshowsthem" in text
    assert "HTMLformshowsthem" not in read(made(rich()))


def test_every_letter_taken_as_drawn_has_a_shape_in_typst_s_fonts() -> None:
    """typst draws all that lack a shape alike; no letter of ours may look like that one."""
    letters = [chr(n) for n in range(0x21, 0x2800) if pdf._DRAWN.fullmatch(chr(n))]
    source = (
        '#set page(width: auto, height: auto)\n#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"), fallback: false)\n'
        "#for c in json(bytes(sys.inputs.data)) [#box[#c]\\ ]"
    )
    glyphs = []
    for some in (["\u6f22"], letters):
        compiler = typst.Compiler(source.encode(), ignore_system_fonts=True, sys_inputs={"data": json.dumps(some)})
        svg = compiler.compile(format="svg")
        assert isinstance(svg, bytes)
        glyphs.append(re.findall(r'<use xlink:href="#(\w+)"', svg.decode()))
    [lacking], drawn = glyphs
    assert len(drawn) >= len(letters) - 20, "spaces of one kind or another draw nothing"
    assert lacking not in drawn


def test_without_typst_it_says_which_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(Refused, match="extra 'pdf'"):
        made(rich())
