"""Two drinks of the demo book, with all they need, at four sites of three franchises."""

from __future__ import annotations

from functools import cache
from typing import Any

from specctl import resources
from specctl.analysis.ways import ingredients_in
from specctl.change.entry import uses_of
from specctl.codec.load import load
from specctl.codec.rewrite import rewrite

DRINKS = ("hazelnut-frost", "pear-sage-fizz")
SITES = ("northsands-quay", "harbour-row", "marram-strand", "breakwater")
LISTS = ("eu-annex-ii", "uk-annex-ii", "us-falcpa")


@cache
def _small() -> dict[str, bytes]:
    root = resources.demo_book()
    every = {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*.yaml")}
    loaded = load(every)
    book = loaded.book
    assert book is not None
    goods: set[str] = set()
    preps: set[str] = set()
    waiting = [use for drink in DRINKS for use in uses_of(book.drinks[drink])]
    while waiting:
        use = waiting.pop()
        goods |= ingredients_in(book, use)
        if use in book.preps and use not in preps:
            preps.add(use)
            waiting += uses_of(book.preps[use])
    keep = {
        "drinks": set(DRINKS), "sites": set(SITES), "ingredients": goods | {"oat-drink-skerry"}, "preps": preps, "lists": set(LISTS),
        "scoop-checks": {c.id for c in book.scoop_checks.values() if c.site in SITES and c.ingredient in goods},
    }  # fmt: skip
    found = {}
    for path, data in every.items():
        head, _, rest = path.partition("/")
        if head in keep and rest.removesuffix(".yaml") not in keep[head]:
            continue
        if head == "prices":
            record: Any = loaded.nodes[path].plain()
            for part, names in (("packs", keep["ingredients"]), ("menu", keep["drinks"]), ("cups_a_week", keep["drinks"])):
                record[part] = {k: v for k, v in record[part].items() if k in names}
            data = rewrite(data, record, path)
        found[path] = data
    return found


def small_files() -> dict[str, bytes]:
    return dict(_small())
