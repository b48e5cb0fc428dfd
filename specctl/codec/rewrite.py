"""Makes a file mean something else by the smallest edits of its text.

Used where a merge settled what a file should hold: keys are added, removed and
set in place, so comments survive. Lists are sets; a mapping whose common keys
stand in another order is written anew. The result is read again and its
meaning compared before it is handed out.
"""

from __future__ import annotations

from typing import Any

from specctl.codec import spans, yamltext
from specctl.codec.node import Node
from specctl.errors import Damaged, Stop


def rewrite(text: bytes, target: dict[str, Any], file: str) -> bytes:
    """The text edited so that it means `target`. Raises Stop if it cannot be done."""
    tree, problems = yamltext.read(text, file)
    if tree is None or problems:
        raise Damaged(f"{file} cannot be read", "Run specctl check.")
    edits = list(_edits(tree.plain(), target, ()))
    return spans.apply(text.decode("utf-8"), edits).encode("utf-8") if edits else text


def draft(text: bytes, target: dict[str, Any], tree: Node) -> bytes | None:
    """The text, whose tree is at hand, edited as `rewrite` does but not read again: the caller must, and compare.

    None where the edits cannot be made in one go.
    """
    try:
        edits = _edits(tree.plain(), target, ())
        made = spans.made_at_once(text.decode("utf-8"), tree, edits)
    except Stop:
        return None
    return None if made is None else made.encode("utf-8")


def _edits(now: Any, target: Any, path: tuple[str | int, ...]) -> list[spans.Edit]:
    if isinstance(now, dict) and isinstance(target, dict):
        return _map_edits(now, target, path)
    if isinstance(now, list) and isinstance(target, list):
        return _set_edits(now, target, path)
    if isinstance(now, (dict, list)) or isinstance(target, (dict, list)):
        return [spans.replace_value(path, target)]
    same = now == target and isinstance(now, bool) == isinstance(target, bool)
    return [] if same else [spans.set_scalar(path, target)]


def _map_edits(now: dict[str, Any], target: dict[str, Any], path: tuple[str | int, ...]) -> list[spans.Edit]:
    common_now = [k for k in now if k in target]
    common_target = [k for k in target if k in now]
    if common_now != common_target or not common_now:
        return [spans.replace_value(path, target)] if now != target or list(now) != list(target) else []
    edits: list[spans.Edit] = []
    for key in common_now:
        edits += _edits(now[key], target[key], (*path, key))
    # Adding before removing: a mapping must never stand empty in between.
    before = ""
    for key in target:
        if key not in now:
            edits.append(spans.insert_key(path, key, target[key], before))
        before = key
    edits += [spans.delete_key((*path, key)) for key in now if key not in target]
    return edits


def _set_edits(now: list[Any], target: list[Any], path: tuple[str | int, ...]) -> list[spans.Edit]:
    if not target or not now:
        return [spans.replace_value(path, target)] if now != target else []
    edits: list[spans.Edit] = [spans.add_item(path, member) for member in target if member not in now]
    for index in reversed(range(len(now))):
        if now[index] not in target:
            edits.append(spans.remove_item(path, index))
    return edits
