"""What stands in for what at one site, until when, read strictly; how entries are told meanwhile is `change/standing_in.py`'s."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from specctl.change.standing_in import STATUSES as STATUSES
from specctl.change.standing_in import told as told
from specctl.site import strict


@dataclass(frozen=True, slots=True)
class StandsIn:
    """From `said` until `ends`, `name` in place of `of`; `facts` are (status, substance, group or None, name)."""

    deviation: str
    of: str
    by: str
    name: str
    checked: str
    why: str
    person: str
    role: str
    said: datetime
    ends: datetime
    facts: tuple[tuple[str, str, str | None, str], ...]
    items: tuple[tuple[str, str, tuple[str, ...]], ...]
    statement: str

    @property
    def place_of(self) -> str:
        return self.of.partition("/")[2].replace("-", " ")


def stand_ins(rows: list[Any]) -> tuple[StandsIn, ...]:
    """Reads the `deviations` of a bundle. Raises Untrusted naming the path of what is wrong."""
    found: list[StandsIn] = []
    for at, raw in enumerate(rows):
        path = f"$.deviations[{at}]"
        texts = dict.fromkeys(("deviation", "of", "by", "name", "checked", "why", "role", "person", "said", "ends", "statement"), str)
        row = strict.fields(raw, path, **texts, facts=dict, items=list)
        strict.matches(row["deviation"], f"{path}.deviation", strict.DIGEST)
        strict.matches(row["of"], f"{path}.of", strict.GOODS)
        for name in ("role", "person"):
            strict.matches(row[name], f"{path}.{name}", strict.ID)
        if any(one.deviation == row["deviation"] for one in found):
            raise strict.wrong(path, "one deviation told twice")
        lists = strict.fields(row["facts"], f"{path}.facts", **dict.fromkeys((*STATUSES, "absent"), list))
        facts = tuple((status, *_known(k, f"{path}.facts.{status}")) for status in STATUSES for k in lists[status])
        plain = {name: row[name] for name in ("deviation", "of", "by", "name", "checked", "why", "role", "person", "statement")}
        said, ends = (strict.time(row[name], f"{path}.{name}") for name in ("said", "ends"))
        items = tuple(strict_item(item, f"{path}.items[{n}]") for n, item in enumerate(row["items"]))
        found.append(StandsIn(**plain, said=said, ends=ends, facts=facts, items=items))
    return tuple(found)


def _known(raw: Any, path: str) -> tuple[str, str | None, str]:
    if len(strict.typed(raw, list, path)) != 3:
        raise strict.wrong(path, "a fact has three parts")
    group = None if raw[1] is None else strict.matches(raw[1], path, strict.ID)
    return strict.matches(raw[0], path, strict.ID), group, strict.typed(raw[2], str, path)


def strict_item(raw: Any, path: str) -> tuple[str, str, tuple[str, ...]]:
    """An item that is reached: [item, name, [choice]]."""
    if len(strict.typed(raw, list, path)) != 3:
        raise strict.wrong(path, "an item has three parts")
    choices = tuple(strict.typed(c, str, f"{path}[2]") for c in strict.typed(raw[2], list, f"{path}[2]"))
    return strict.matches(raw[0], f"{path}[0]", strict.ITEM), strict.typed(raw[1], str, f"{path}[1]"), choices
