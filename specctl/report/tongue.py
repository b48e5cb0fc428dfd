"""The language a page is being written in: sentences by their English, from the catalogues in `report/locale`.

Whoever renders says `with speaking("de"):`; inside it `_` and `_n` give that
language, else the English they were asked with. English loads no catalogue.
Keys of JSON, digests, entries and what was signed are never passed through here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from specctl.errors import Usage
from specctl.report.catalogue import LANGUAGE

if TYPE_CHECKING:
    from gettext import NullTranslations

_ENGLISH = "en"
# Languages whose usual script runs from right to left (Unicode CLDR, layout of characters; from memory).
_RIGHT_TO_LEFT = frozenset(("ar", "ckb", "dv", "fa", "he", "ps", "sd", "ug", "ur", "yi"))


@dataclass(frozen=True, slots=True)
class _Tongue:
    language: str
    words: NullTranslations | None = None


_SILENT = _Tongue(LANGUAGE)
_spoken: ContextVar[_Tongue] = ContextVar("spoken", default=_SILENT)


def _(text: str) -> str:
    """`text`, an English sentence with named places, in the language being spoken."""
    words = _spoken.get().words
    return words.gettext(text) if words and text else text


def _n(one: str, many: str, number: int) -> str:
    """The form that goes with `number`; `one` and `many` are the English ones."""
    words = _spoken.get().words
    if words:
        return words.ngettext(one, many, number)
    return one if number == 1 else many


def later(text: str) -> str:
    """`text` as it is, for tables read at import: the catalogue learns it here, `_` says it when it is used."""
    return text


def later_n(one: str, many: str) -> tuple[str, str]:
    """Both forms as they are, for `_n` to say when they are used."""
    return one, many


@contextmanager
def speaking(language: str, words: NullTranslations | None = None) -> Iterator[None]:
    """Inside, pages are written in `language` (BCP 47), from `words` or else the catalogue shipped for it.

    Raises `Usage` for a language that is not shipped.
    """
    chosen = _Tongue(language, words or _catalogue(_primary(language)))
    token = _spoken.set(chosen)
    try:
        yield
    finally:
        _spoken.reset(token)


def chosen(asked: str, markets: Iterable[str]) -> str:
    """The language to write in: what was asked for, else the one that all `markets` share, else English.

    `markets` are the languages of the markets a page is for. Markets that share
    no more than English, or a language there are no words for, are written to in
    British English. Raises `Usage` for a language asked for that is not shipped.
    """
    if asked:
        tag = _tag(asked)
        _catalogue(_primary(tag))
        return LANGUAGE if tag == _ENGLISH else tag
    tags = {_tag(market) for market in markets}
    primaries = {_primary(tag) for tag in tags}
    if len(primaries) != 1 or not primaries <= set(shipped()):
        return LANGUAGE
    (primary,) = primaries
    return tags.pop() if len(tags) == 1 else LANGUAGE if primary == _ENGLISH else primary


_TAG = re.compile("[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8}){0,3}")


def _tag(text: str) -> str:
    """As BCP 47 advises to write it: `de-AT`."""
    if not _TAG.fullmatch(text):
        raise Usage("that is no language", f"Write it like en-GB. Languages: {', '.join(shipped())}.")
    first, *rest = text.split("-")
    return "-".join((first.lower(), *(part.upper() if len(part) == 2 else part for part in rest)))


def translates() -> bool:
    """Whether anything but the English in the code is being said."""
    return _spoken.get().words is not None


def language() -> str:
    """What is being spoken, as BCP 47 names it: `en-GB`."""
    return _spoken.get().language


def direction() -> str:
    """`ltr` or `rtl`, as HTML's `dir` takes it."""
    return "rtl" if _primary(language()) in _RIGHT_TO_LEFT else "ltr"


def shipped() -> tuple[str, ...]:
    """The languages there are words for, English first."""
    found = (place.name for place in files("specctl.report").joinpath("locale").iterdir() if place.is_dir())
    return (_ENGLISH, *sorted(found))


def _primary(tag: str) -> str:
    return tag.split("-")[0].lower()


@cache
def _catalogue(primary: str) -> NullTranslations | None:
    if primary == _ENGLISH:
        return None
    known = shipped()
    if primary not in known:
        raise Usage(f"there are no words in the language {primary}", f"Languages: {', '.join(known)}.")
    from gettext import GNUTranslations

    place = files("specctl.report").joinpath("locale", primary, "LC_MESSAGES", "specctl.mo")
    with place.open("rb") as file:
        return GNUTranslations(file)
