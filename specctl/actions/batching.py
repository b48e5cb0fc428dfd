"""`site-fit SITE --prep PREP`: whole batches of a prep in a site's vessels and tools."""

from __future__ import annotations

from typing import Any

from specctl.actions.fit_json import told
from specctl.actions.source import Source
from specctl.actions.tracing import loaded_book
from specctl.analysis.batch import Room, room_for, scale
from specctl.analysis.serving import bench_of
from specctl.domain.amount import Grams, plain
from specctl.domain.book import Book
from specctl.domain.place import Site
from specctl.domain.recipe import Prep
from specctl.errors import NotFound, Refused

MOST_WITHOUT_VESSEL = 1


def scale_prep(source: Source, site_id: str, prep_id: str, batches: int | None) -> dict[str, Any]:
    """The scaled batch as JSON. Refused where the vessel does not take so many, or needs more."""
    book = loaded_book(source)
    site, prep = book.sites.get(site_id), book.preps.get(prep_id)
    if site is None:
        raise NotFound(f"there is no site {site_id}", "See the folder sites/.")
    if prep is None:
        raise NotFound(f"there is no prep {prep_id}", "See the folder preps/.")
    room = _room(book, site, prep)
    count = batches if batches is not None else (room.most if room and room.most else MOST_WITHOUT_VESSEL)
    if room is not None:
        _holds(prep, room, count)
    lines = scale(prep, count, book, bench_of(book, site))
    return {
        "batch": 1,
        "site": {"id": site.id, "name": site.name},
        "prep": {"id": prep.id, "name": prep.name},
        "batches": count,
        "yields_g": plain(prep.yields * count),
        "vessel": {
            "id": room.vessel.id,
            "name": room.vessel.name,
            "works_ml": plain(room.works),
            "batch_ml": plain(room.ml) if room.ml is not None else None,
            "least_batches": room.least,
            "most_batches": room.most,
        }
        if room
        else None,
        "lines": [
            {
                "path": line.path,
                "of": book.path_of(line.use),
                "name": item.name if (item := book.item(line.use)) is not None else line.use,
                "grams": plain(line.amount.value) if isinstance(line.amount, Grams) else "",
                "each": None if isinstance(line.amount, Grams) else plain(line.amount.count),
                "rule": None,
                "measure": told(line.measure, book),
                "packs": {"name": line.packs[0], "count": line.packs[1]} if line.packs else None,
            }
            for line in lines
        ],
    }


def _room(book: Book, site: Site, prep: Prep) -> Room | None:
    if prep.vessel is None:
        return None
    vessel = book.vessels.get(prep.vessel)
    if vessel is None or vessel.id not in site.vessels:
        raise Refused(f"{site.name} lacks the vessel {prep.vessel} of {prep.name}", "Give it one, or name another in the prep.")
    return room_for(prep, vessel, book)


def _holds(prep: Prep, room: Room, count: int) -> None:
    if room.most is not None and count > room.most:
        fits = f"at most {room.most}" if room.most else "not even one"
        raise Refused(
            f"{room.vessel.name} takes {fits} of {prep.name} at once: one comes to {room.ml} ml at its largest, "
            f"and it works up to {plain(room.works)} ml",
            "Make fewer, one after the other, or state the working volume of the vessel.",
        )
    if count < room.least:
        raise Refused(
            f"{room.vessel.name} needs at least {room.least} batches of {prep.name} to reach its blade or whisk",
            f"Make {room.least}, or use a smaller vessel.",
        )
