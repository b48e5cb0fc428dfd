"""Holds a node against the schema of its kind, and says in our words what fails.

Promises: only schemas of our own folder are ever opened; a reference to
anything else stops. Every failed rule becomes a `Problem` at the line of the
value, in the words of `schema_words`. Leaves ids, references between files and
amounts to the decoding modules. The only module that knows jsonschema,
imported when first needed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from decimal import Decimal
from functools import lru_cache
from pathlib import Path as Folder
from typing import Any

from specctl.codec.node import Node
from specctl.codec.schema_words import anchored, explain
from specctl.errors import Damaged, NotFound
from specctl.problem import Problem
from specctl.resources import schema_folder

MOST_PROBLEMS = 50
_KIND = re.compile(r"[a-z]+(?:-[a-z]+)*")


def validate(kind: str, node: Node, file: str, folder: Folder | None = None) -> list[Problem]:
    """The problems of a record against `<kind>.schema.json`, at most 50.

    NotFound if there is no such kind; Damaged if a schema of ours is unusable.
    """
    validator = _validator(kind, folder or schema_folder())
    found: list[Problem] = []
    try:
        for error in validator.iter_errors(node.plain()):
            for problem in explain(error, node, file):
                if problem not in found:
                    found.append(problem)
            if len(found) >= MOST_PROBLEMS:
                break
    except RecursionError:
        raise Damaged(f"the schema of {kind} never ends", "Install specctl again.") from None
    except Exception as error:
        if type(error).__module__.split(".")[0] in ("referencing", "jsonschema", "re"):
            raise Damaged(f"the schema of {kind} cannot be used", "Install specctl again.") from None
        raise
    found.sort(key=lambda p: (p.place, p.code, p.what))
    return found[:MOST_PROBLEMS]


def kinds(folder: Folder | None = None) -> tuple[str, ...]:
    """The kinds of record there are schemas for, sorted."""
    where = folder or schema_folder()
    return tuple(sorted(p.name.removesuffix(".schema.json") for p in where.glob("*.schema.json")))


@lru_cache(maxsize=64)
def _validator(kind: str, folder: Folder) -> Any:
    from jsonschema import Draft202012Validator
    from jsonschema.validators import extend

    path = folder / f"{kind}.schema.json"
    if not _KIND.fullmatch(kind) or not path.is_file():
        raise NotFound(f"there is no schema for {kind[:40]}", "Check the kind of the record.")
    registry, by_name = _registry(folder)
    checker = Draft202012Validator.TYPE_CHECKER.redefine_many(
        {
            "number": lambda _, value: _is_number(value),
            "integer": lambda _, value: isinstance(value, int) and not isinstance(value, bool),
        }
    )
    strict = extend(Draft202012Validator, {"pattern": _pattern}, type_checker=checker)
    return strict(by_name[path.name], registry=registry)


def _is_number(value: object) -> bool:
    if isinstance(value, Decimal):
        return value.is_finite()
    return isinstance(value, int) and not isinstance(value, bool)


def _pattern(validator: Any, pattern: str, instance: Any, schema: Any) -> Iterator[Any]:
    """`pattern`, but `$` never matches before a line break at the end."""
    from jsonschema.exceptions import ValidationError

    if not isinstance(instance, str):
        return
    if not re.search(anchored(pattern), instance):
        yield ValidationError("pattern")


@lru_cache(maxsize=4)
def _registry(folder: Folder) -> tuple[Any, dict[str, Any]]:
    from referencing import Registry, Resource
    from referencing.exceptions import NoSuchResource
    from referencing.jsonschema import DRAFT202012

    def refuse(uri: str) -> Any:
        raise NoSuchResource(ref=uri)

    by_name: dict[str, Any] = {}
    resources: list[tuple[str, Any]] = []
    for path in sorted(folder.glob("*.schema.json")):
        try:
            # Bounds as decimals: 0.1 as a float is a little more than 0.1.
            content = json.loads(path.read_bytes(), parse_float=Decimal)
        except ValueError:
            raise Damaged(f"the schema {path.name} is not JSON", "Install specctl again.") from None
        by_name[path.name] = content
        resource = Resource.from_contents(content, default_specification=DRAFT202012)
        resources.append((path.name, resource))
        if isinstance(content, dict) and "$id" in content:
            resources.append((content["$id"], resource))
    registry: Any = Registry(retrieve=refuse).with_resources(resources)
    return registry, by_name
