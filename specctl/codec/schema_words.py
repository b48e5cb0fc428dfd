"""Our words for a failed schema rule, at the place of the value.

Promises: a stray key is reported at the key, a missing one at its map, any
other rule at the value; of the data only a short cleaned scalar is repeated.
Takes the failed rule as the validator describes it (rule, path, schema) and
never its text. Leaves the validating to `schema`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from typing import Any

from specctl.codec.node import MAP, SCALAR, Node
from specctl.problem import Problem

_SHOWN = 40
_TYPES = {
    "object": "a map",
    "array": "a list",
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "null": "nothing",
}


def anchored(pattern: str) -> str:
    """The pattern with every bare `$` as the end of the text proper."""
    return re.sub(r"(\\.|\[(?:\\.|[^\]])*\])|\$", lambda m: m[1] or r"\Z", pattern)


def explain(error: Any, root: Node, file: str) -> Iterator[Problem]:
    """Our words for one failed rule."""
    path = list(error.absolute_path)
    node = root.find(tuple(path)) or root
    rule = error.validator
    where = _where(path)
    if "propertyNames" in error.absolute_schema_path and isinstance(error.instance, str):
        yield from _bad_name(error, node, where, file)
        return
    say = _WORDS.get(rule)
    if say is not None:
        yield from say(error, node, where, file)
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
    patterns = [anchored(p) for p in schema.get("patternProperties", {})]
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
    say = _WORDS.get(inner.validator)
    if say is not None:
        yield from say(inner, target, words, file)


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
