"""Holds a node against the schema of its kind, and says in our words what fails.

Promises: only schemas of our own folder are ever opened; a reference to
anything else stops. Every failed rule becomes a `Problem` at the line of the
value (a stray key: the key; a missing key: the map), and never repeats more of
the data than a short cleaned scalar. Leaves ids, references between files and
amounts to `decode`. The only module that knows jsonschema, imported when first
needed.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from functools import lru_cache
from pathlib import Path as Folder
from typing import Any

from specctl.codec.node import MAP, SCALAR, Node
from specctl.errors import Damaged, NotFound
from specctl.problem import Problem
from specctl.resources import schema_folder

MOST_PROBLEMS = 50
_SHOWN = 40
_KIND = re.compile(r"[a-z]+(?:-[a-z]+)*")
_TYPES = {
    "object": "a map",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}


def validate(kind: str, node: Node, file: str, folder: Folder | None = None) -> list[Problem]:
    """The problems of a record against `<kind>.schema.json`, at most 50.

    NotFound if there is no such kind; Damaged if a schema of ours is unusable.
    """
    validator = _validator(kind, folder or schema_folder())
    found: list[Problem] = []
    try:
        for error in validator.iter_errors(node.plain()):
            for problem in _explain(error, node, file):
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
    if not re.search(_anchored(pattern), instance):
        yield ValidationError("pattern")


def _anchored(pattern: str) -> str:
    """The pattern with every bare `$` as the end of the text proper."""
    return re.sub(r"(\\.|\[(?:\\.|[^\]])*\])|\$", lambda m: m[1] or r"\Z", pattern)


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
            content = json.loads(path.read_bytes())
        except ValueError:
            raise Damaged(f"the schema {path.name} is not JSON", "Install specctl again.") from None
        by_name[path.name] = content
        resource = Resource.from_contents(content, default_specification=DRAFT202012)
        resources.append((path.name, resource))
        if isinstance(content, dict) and "$id" in content:
            resources.append((content["$id"], resource))
    registry: Any = Registry(retrieve=refuse).with_resources(resources)
    return registry, by_name


def _explain(error: Any, root: Node, file: str) -> Iterator[Problem]:
    """Our words for one failed rule."""
    path = list(error.absolute_path)
    node = root.find(tuple(path)) or root
    rule = error.validator
    where = _where(path)
    if "propertyNames" in error.absolute_schema_path and isinstance(error.instance, str):
        yield from _bad_name(error, node, where, file)
        return
    explain = _WORDS.get(rule)
    if explain is not None:
        yield from explain(error, node, where, file)
        return
    yield Problem(
        "schema-value", node.place(file), f"{where} does not fit the rule {str(rule)[:30]}",
        "See the schema of this kind of record.",
    )


def _where(path: list[Any]) -> str:
    return ".".join(_clean(str(p)) for p in path) if path else "the record"


def _clean(text: str) -> str:
    cut = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in text[:_SHOWN])
    return cut + ("…" if len(text) > _SHOWN else "")


def _shown(node: Node) -> str:
    if node.kind != SCALAR:
        return "a map" if node.kind == MAP else "a list"
    value = node.value
    if isinstance(value, bool):
        return "true" if value else "false"
    return _clean(str(value)) if isinstance(value, int | Decimal) else f'"{_clean(str(value))}"'


def _literal(value: Any) -> str:
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


def _missing(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    there = {item.key for item in node.items} if node.kind == MAP else set()
    for key in error.validator_value:
        if key in there:
            continue
        # iter_errors gives one error a key; each names its own.
        if not error.message.startswith(repr(key)):
            continue
        what = f"{where} lacks {key}" if where != "the record" else f"{key} is missing"
        yield Problem("schema-missing", node.place(file), what, f"Add {key}{_hint(error.schema, key)}.")


def _hint(schema: Any, key: str) -> str:
    rule = schema.get("properties", {}).get(key, {}) if isinstance(schema, dict) else {}
    title = rule.get("title") if isinstance(rule, dict) else None
    return f" ({title})" if isinstance(title, str) else ""


def _unknown(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    if node.kind != MAP:
        return
    schema = error.schema
    known = list(schema.get("properties", {}))
    patterns = [_anchored(p) for p in schema.get("patternProperties", {})]
    for item in node.items:
        if item.key in known or any(re.search(p, item.key) for p in patterns):
            continue
        place = item.key_node.place(file)
        close = difflib.get_close_matches(item.key[:64], known, n=1)
        inside = "" if where == "the record" else f" in {where}"
        if close:
            todo = f"Did you mean {close[0]}?"
        elif known:
            todo = f"Known here: {', '.join(sorted(known)[:20])}."
        else:
            todo = "Remove it."
        yield Problem("schema-unknown-key", place, f"unknown key {_clean(item.key)}{inside}", todo)


def _bad_name(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    item = node.item(error.instance)
    place = item.key_node.place(file) if item else node.place(file)
    inside = "" if where == "the record" else f" in {where}"
    if error.validator == "enum":
        close = difflib.get_close_matches(error.instance[:64], list(map(str, error.validator_value)), n=1)
        todo = f"Did you mean {close[0]}?" if close else f"Use one of: {_listing(error.validator_value)}."
    else:
        todo = f"Write {_described(error.schema, 'small letters, digits and single hyphens')}."
    yield Problem("schema-key", place, f"the key {_clean(error.instance)}{inside} is not a name that fits here", todo)


def _described(schema: Any, otherwise: str) -> str:
    for word in ("title", "description"):
        if isinstance(schema, dict) and isinstance(schema.get(word), str):
            return str(schema[word]).rstrip(".")
    return otherwise


def _listing(values: Any) -> str:
    shown = [_literal(v) for v in values]
    return ", ".join(shown[:20]) + (" …" if len(shown) > 20 else "")


def _type(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    wanted = error.validator_value
    names = [wanted] if isinstance(wanted, str) else list(wanted)
    words = " or ".join(_TYPES.get(n, n) for n in names)
    todo = f"Write {_described(error.schema, words)}."
    if names == ["string"] and node.kind == SCALAR:
        todo = f'Write it in quotes: "{_clean(str(_literal(node.value)))}".'
    yield Problem("schema-type", node.place(file), f"{where} is {_shown(node)}, not {words}", todo)


def _choice(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    allowed = error.validator_value if error.validator == "enum" else [error.validator_value]
    todo = f"Use one of: {_listing(allowed)}." if len(allowed) > 1 else f"Write {_listing(allowed)}."
    if node.kind == SCALAR and isinstance(node.value, str):
        close = difflib.get_close_matches(node.value[:64], [a for a in allowed if isinstance(a, str)], n=1)
        if close and len(allowed) > 1:
            todo = f"Did you mean {close[0]}? Allowed: {_listing(allowed)}."
    yield Problem("schema-value", node.place(file), f"{where} is {_shown(node)}, which is not allowed here", todo)


def _shape(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    wanted = _described(error.schema, "")
    todo = f"Write {wanted}." if wanted else "Write it in the form the schema of this record describes."
    yield Problem("schema-pattern", node.place(file), f"{where} is {_shown(node)}, which is not in the form asked for", todo)


def _bound(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    word = {
        "minimum": "at least", "maximum": "at most",
        "exclusiveMinimum": "more than", "exclusiveMaximum": "less than",
        "multipleOf": "a multiple of",
    }[error.validator]
    yield Problem("schema-range", node.place(file), f"{where} is {_shown(node)}", f"Write a number that is {word} {error.validator_value}.")


def _size(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    limit = error.validator_value
    word, unit = {
        "minItems": ("at least", "entries"), "maxItems": ("at most", "entries"),
        "minProperties": ("at least", "entries"), "maxProperties": ("at most", "entries"),
        "minLength": ("at least", "characters"), "maxLength": ("at most", "characters"),
    }[error.validator]
    count = len(node.items) if node.kind != SCALAR else len(str(node.value))
    unit = {"entries": "entry", "characters": "character"}[unit] if limit == 1 else unit
    yield Problem("schema-size", node.place(file), f"{where} has {count}", f"It must have {word} {limit} {unit}.")


def _repeat(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    seen: list[Any] = []
    for inner in node.items:
        value = inner.plain()
        if value in seen:
            yield Problem("schema-repeat", inner.place(file), f"{_shown(inner)} stands twice in {where}", "Keep one.")
        seen.append(value)


def _either(error: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    """anyOf: what each branch asks for. If just one branch takes this kind of
    value, what is wrong inside that branch says more than the choice does."""
    by_branch: dict[int, list[Any]] = {}
    for inner in error.context:
        by_branch.setdefault(inner.relative_schema_path[0], []).append(inner)
    fitting = [
        errors for errors in by_branch.values()
        if not any(e.validator == "type" and not e.relative_path for e in errors)
    ]
    if len(fitting) == 1 and any(e.relative_path or e.validator not in ("const", "enum") for e in fitting[0]):
        for inner in fitting[0]:
            yield from _explain_inner(inner, node, where, file)
        return
    words = " or ".join(dict.fromkeys(_branch(b) for b in error.validator_value))
    yield Problem("schema-value", node.place(file), f"{where} is {_shown(node)}, which does not fit here", f"It must be {words}.")


def _explain_inner(inner: Any, node: Node, where: str, file: str) -> Iterator[Problem]:
    path = list(inner.relative_path)
    target = node.find(tuple(path)) or node
    words = ".".join([where, *(_clean(str(p)) for p in path)]) if path else where
    if "propertyNames" in inner.relative_schema_path and isinstance(inner.instance, str):
        yield from _bad_name(inner, target, words, file)
        return
    explain = _WORDS.get(inner.validator)
    if explain is not None:
        yield from explain(inner, target, words, file)


def _branch(schema: Any) -> str:
    if isinstance(schema, dict):
        if isinstance(schema.get("title"), str):
            return str(schema["title"])
        kind = schema.get("type")
        if isinstance(kind, str):
            return _TYPES.get(kind, kind)
        if "const" in schema:
            return _literal(schema["const"])
        if "enum" in schema:
            return "one of " + _listing(schema["enum"])
        if isinstance(schema.get("$ref"), str):
            return "a " + schema["$ref"].rsplit("/", 1)[-1].replace("_", " ")
    return "another value"


_Explain = Callable[[Any, Node, str, str], Iterator[Problem]]
_WORDS: Mapping[str, _Explain] = {
    "required": _missing,
    "additionalProperties": _unknown,
    "unevaluatedProperties": _unknown,
    "type": _type,
    "enum": _choice,
    "const": _choice,
    "pattern": _shape,
    "format": _shape,
    "minimum": _bound,
    "maximum": _bound,
    "exclusiveMinimum": _bound,
    "exclusiveMaximum": _bound,
    "multipleOf": _bound,
    "minItems": _size,
    "maxItems": _size,
    "minProperties": _size,
    "maxProperties": _size,
    "minLength": _size,
    "maxLength": _size,
    "uniqueItems": _repeat,
    "anyOf": _either,
    "oneOf": _either,
}
