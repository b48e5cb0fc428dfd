"""The base of every page: what a template is given comes out inert."""

from __future__ import annotations

import pytest

from specctl.report.page import _environment
from specctl.report.paper import css_string

EVIL = "<b>\u202e\x1b&"
INERT = "&lt;b&gt;⟨U+202E⟩⟨U+001B⟩&amp;"


@pytest.mark.parametrize(
    ("template", "page"),
    [
        ("{{ text }}", INERT),
        ("{{ text|bdi }}", f"<bdi>{INERT}</bdi>"),
        ('<i title="{{ text }}">', f'<i title="{INERT}">'),
        ('{{ say("page.of", page=text, site="") }}', f"{INERT} · "),
    ],
)
def test_text_is_made_visible_and_escaped_whatever_the_template_does(template: str, page: str) -> None:
    assert _environment().from_string(template).render(text=EVIL) == page


def test_a_name_the_page_does_not_know_is_an_error_not_a_blank() -> None:
    from jinja2 import UndefinedError

    with pytest.raises(UndefinedError):
        _environment().from_string("{{ allergens }}").render()


def test_a_css_string_cannot_be_ended_from_inside() -> None:
    inner = css_string('a"\\}</style>\n')[1:-1]
    assert not set(inner) & set('"}<>\n') and inner.startswith("a\\22 ")
