"""The pages a site opens before opening: made at the site, from its verified bundle alone.

`make_pages` is pure: same bundle, same times, same bytes. It writes in the
language the bundle names where there are words for it, else in English.
`write_pages` puts them into a folder, each file whole or not at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from specctl.errors import Damaged
from specctl.report.clean import file_name
from specctl.report.page import render
from specctl.report.tongue import chosen, speaking
from specctl.site import durable
from specctl.site.bundle import Bundle
from specctl.site.pages_card import Card
from specctl.site.pages_masthead import Times
from specctl.site.pages_text import cards_text, changed_text, index_text, sheet_text
from specctl.site.pages_view import View, view_of


def make_pages(bundle: Bundle | bytes, times: Times) -> dict[str, bytes]:
    """File name to bytes: index, cards, preps, allergens, changed as `.html` and `.txt`.

    Bytes are parsed first and raise Untrusted when they do not hold. `times`
    are aware.
    """
    held = Bundle.parse(bundle) if isinstance(bundle, bytes) else bundle
    with speaking(chosen("", (held.language,) if held.language else ())):
        view = view_of(held, times)
        pages = {f"{name}.html": text for name, text in _html(view).items()}
        pages |= {f"{name}.txt": text for name, text in _text(view).items()}
    return {name: text.encode() for name, text in sorted(pages.items())}


def write_pages(folder: Path, files: Mapping[str, bytes]) -> None:
    """Writes each file beside its old version and puts it in its place in one step.

    All names are checked before the first byte is written. Raises Refused for a
    name that will not do, Damaged when the folder cannot be written.
    """
    names = [file_name(name) for name in files]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in names:
            durable.write(folder / name, files[name])
    except OSError as error:
        raise Damaged(
            f"the pages could not be written: {error.strerror}",
            "Make room or allow writing there, then pull again.",
        ) from None


def _alarms(view: View) -> list[tuple[Card, str]]:
    return [(card, words) for card in (*view.drinks, *view.preps) for words in card.alarms]


def _html(view: View) -> dict[str, str]:
    contexts: dict[str, dict[str, object]] = {
        "index": {"view": view, "alarms": _alarms(view)},
        "cards": {"cards": view.drinks},
        "preps": {"cards": view.preps},
        "allergens": {"sheet": view.sheet},
        "changed": {"view": view},
    }
    return {
        page: render(
            f"site/{page}.html",
            footer=view.masthead.footer,
            page=page,
            masthead=view.masthead,
            **context,
        )
        for page, context in contexts.items()
    }


def _text(view: View) -> dict[str, str]:
    head = view.masthead
    return {
        "index": index_text(view, _alarms(view)),
        "cards": cards_text(head, "cards", view.drinks),
        "preps": cards_text(head, "preps", view.preps),
        "allergens": sheet_text(head, view.sheet),
        "changed": changed_text(view),
    }


__all__ = ["Times", "make_pages", "write_pages"]
