"""The catalogues hold what the code says, whole; and a page says which language it is in.

Babel reads the `.po`, extracts the sentences and makes the `.mo` that ours must equal.
"""

from __future__ import annotations

import re
from gettext import NullTranslations

import pytest
from report.words_catalogue import languages, mo_bytes, po_of, read, said

from specctl.errors import Usage
from specctl.report.tongue import _, _n, direction, language, shipped, speaking

PLACE = re.compile(r"\{[a-z_]+\}")


def _forms(text: object) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text)  # type: ignore[arg-type]


@pytest.mark.parametrize("tag", languages())
def test_a_catalogue_holds_what_is_said_and_nothing_else(tag: str) -> None:
    spoken = {m.id for m in said() if m.id}
    assert len(spoken) > 10
    assert {m.id for m in read(tag) if m.id} == spoken


@pytest.mark.parametrize("tag", languages())
def test_every_form_is_translated_and_keeps_its_places(tag: str) -> None:
    catalog = read(tag)
    for message in (m for m in catalog if m.id):
        assert not message.fuzzy, message.id
        forms = _forms(message.string)
        assert len(forms) == (catalog.num_plurals if message.pluralizable else 1), message.id
        for form in forms:
            assert form.strip(), message.id
            assert set(PLACE.findall(form)) in [set(PLACE.findall(english)) for english in _forms(message.id)], message.id


@pytest.mark.parametrize("tag", languages())
def test_the_compiled_catalogue_is_made_from_the_source(tag: str) -> None:
    assert po_of(tag).with_suffix(".mo").read_bytes() == mo_bytes(read(tag))


def test_english_is_said_as_written_and_german_only_inside() -> None:
    one, many = "take {count} card away", "take {count} cards away"
    assert (_("the new cards"), _n(one, many, 1), _n(one, many, 0)) == ("the new cards", one, many)
    with speaking("de"):
        assert _("the new cards") == "die neuen Karten"
        assert _n(one, many, 1) == "{count} Karte entfernen"
        assert _n(one, many, 2) == "{count} Karten entfernen"
        assert _("") == ""
        with speaking("en-IE"):
            assert (language(), _("the new cards")) == ("en-IE", "the new cards")
    assert (language(), _("the new cards")) == ("en-GB", "the new cards")


def test_a_language_without_words_is_refused_by_name() -> None:
    assert shipped() == ("en", "de")
    with pytest.raises(Usage) as refused, speaking("xx"):
        pass
    assert "xx" in str(refused.value)


def test_the_direction_follows_the_language() -> None:
    assert direction() == "ltr"
    with speaking("ar", NullTranslations()):
        assert direction() == "rtl"
