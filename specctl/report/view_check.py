"""The end of a page: how to find out whether the page in hand is what the book gives."""

from __future__ import annotations

from specctl.report.tables import Command, Facts, Note, Section
from specctl.report.tongue import _, later

KEY = "check"
TITLE = later("Check this page")
COMMAND = "specctl report --verify FILE"
_HOW = later("To check the page in hand, save it as it came and run this in a clone of the book:")
_MEANS = later(
    "It makes the page again from the book and compares every byte. A yes means: this is the page, whole and as it was "
    "made, and its effect digest is the one a signature names today. It does not mean that anybody has signed, nor that "
    "the book's facts are true. The digest alone proves nothing of the words around it: whoever alters a page can leave "
    "the digest as it is."
)


def section(digest: str) -> Section:
    """The check, and the digest by itself, to compare with one that came by another way."""
    return Section(KEY, _(TITLE), (Note(_(_HOW)), Command(COMMAND), Note(_(_MEANS)), Facts(((_("Effect digest"), digest),))))
