"""Seeing that only scalars were written over gives what reading the whole text gives, or no answer.

The judge is the reader itself (`yamltext`, `schema`): a text that is taken for
the base with other scalars must read without a problem, pass its schema and
hold exactly those scalars.
"""

from __future__ import annotations

import copy
import json
import re
from decimal import Decimal
from typing import Any

from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from little_book import demo_files

from specctl.codec import schema, yamltext
from specctl.codec.leaves import MOST_QUANTITY, MOST_WORDS, MOST_WRITTEN, WORDS, Leaves, leaves_of
from specctl.codec.paths import record_at
from specctl.resources import schema_folder

FILES = {p: d.decode() for p, d in demo_files().items() if p.startswith(("drinks/", "preps/", "ingredients/", "sites/", "vessels/"))}
KNOWN: dict[str, tuple[Leaves, Any]] = {}
# What has fooled readers of YAML, and what a person may type for an amount or a sentence.
TEXTS = [
    "1 g", "30 g", "30.5 g", "0.25 g", "007 g", "1e3 g", "-5 g", ".5 g", "30", "30 kg", "30  g", "30 g ", "30 g # more", "30 g, 40 g",
    "38 ml at 1.1 g/ml", "2 scoop-amber at 6.5 g each", "90 %", "4 h", "no", "Yes", "~", "null", "true", "1:30", "2026-11-25", "a: b",
    "a:", "a :b", "a:b", "x #y", "x#y", "[x", "x]", "{x}", "x, y", "- x", "? x", "x ? y", "'x'", '"x"', "&x", "*x", "!x", "%x", "@x",
    "Gut", "Über", "U\u0308ber", "x\u200by", "x\ty", "x\ry", "x\u2028y", "x\u0085y", "x" * 41, "x" * 500, "", " ", "(x)", "x\\y", "0x1F", "12_000",
]


def known(path: str) -> tuple[Leaves, Any]:
    if path not in KNOWN:
        node, problems = yamltext.read(FILES[path].encode(), path)
        assert node is not None and not problems
        KNOWN[path] = leaves_of(node, FILES[path]), node.plain()
    return KNOWN[path]


def held(path: str, text: str) -> None:
    """Whatever is answered for a text is what reading it gives."""
    leaves, plain = known(path)
    over = leaves.written_over(text)
    if over is None:
        return
    wanted = copy.deepcopy(plain)
    for where, leaf in over.items():
        here = wanted
        for step in where[:-1]:
            here = here[step]
        here[where[-1]] = leaf.text
    kind = record_at(path)
    assert kind is not None
    node, problems = yamltext.read(text.encode(), path)
    assert node is not None and not problems, (text, problems)
    assert node.plain() == wanted
    assert schema.validate(kind[0], node, path) == []
    assert leaves.with_over({p: leaf.text for p, leaf in over.items()}) == text


@st.composite
def spliced(draw: st.DrawFn) -> tuple[str, str]:
    """A demo record with other text at up to three of its leaves."""
    path = draw(st.sampled_from(sorted(FILES)))
    leaves, _ = known(path)
    if not leaves.by_path:
        return path, FILES[path]
    texts = st.one_of(
        st.sampled_from(TEXTS),
        st.text("aZ9. :#-?,'[]{}&*!|>%@\\~é\u0301", max_size=12),
        st.decimals(0, 99999, places=2).map(lambda n: f"{n} g"),
    )
    over = draw(st.dictionaries(st.sampled_from(sorted(leaves.by_path)), texts, min_size=1, max_size=3))
    text = leaves.with_over(over)
    assert text is not None
    return path, text


@given(spliced())
@examples(max_examples=250, deadline=None)
def test_scalars_written_over_read_as_they_are_seen(made: tuple[str, str]) -> None:
    held(*made)


def test_every_text_at_a_leaf_of_every_sort() -> None:
    """Each of the texts above where a sentence stands, a name in braces, an amount, and an amount as it was measured."""
    sorts: dict[tuple[bool, bool, bool], tuple[str, tuple[str, ...]]] = {}
    for path in sorted(FILES):
        leaves, _ = known(path)
        for where, leaf in leaves.by_path.items():
            sorts.setdefault((leaf.words, "{" in leaves.lines[leaf.line], " at " in leaf.text), (path, where))
    assert len(sorts) >= 5
    for path, where in sorts.values():
        for text in TEXTS:
            over = known(path)[0].with_over({where: text})
            assert over is not None
            held(path, over)


@given(st.sampled_from(sorted(FILES)), st.data())
@examples(max_examples=150, deadline=None)
def test_anything_else_typed_anywhere_is_seen_or_not_answered(path: str, data: st.DataObject) -> None:
    text = FILES[path]
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text)))
        gone = data.draw(st.integers(0, 3))
        text = text[:at] + data.draw(st.sampled_from(["", "1", ".", " ", "#", "x", ":", "\n", "-", '"', "{", "é", " #"])) + text[at + gone :]
    held(path, text)


def test_every_leaf_can_be_found_again() -> None:
    """Without this the laws above might hold because nothing is ever answered."""
    seen = 0
    for path in FILES:
        leaves, _ = known(path)
        for where, leaf in leaves.by_path.items():
            other = re.sub(r"^[0-9.]+", "3", leaf.text) if not leaf.words else "Other words"
            over = leaves.written_over(leaves.with_over({where: other}) or "")
            assert over is not None and set(over) == ({where} if other != leaf.text else set()), (path, where)
            seen += 1
    assert seen > 300


def test_no_schema_tells_two_amounts_of_one_unit_or_two_sentences_apart() -> None:
    """What lets a scalar be written over without asking the schema again: no form, no list and no length stands against it."""
    amounts = ["0 g", "12.5 g", "99999.9999 g", "3 h", "15 %", "4 °C", "38 ml at 1.2295 g/ml", "2 scoop-amber at 6 g each"]

    def strings(rule: Any, key: str) -> Any:
        if isinstance(rule, dict):
            yield key, rule
            for name, inner in rule.items():
                for found, one in strings(inner, name):
                    yield found, one
        elif isinstance(rule, list):
            for inner in rule:
                yield from strings(inner, key)

    looked = 0
    for file in sorted(schema_folder().glob("*.schema.json")):
        if file.name.removesuffix(".schema.json") in ("report", "changes", "settled", "collisions", "deviation"):
            continue  # what the tool writes, never what an author does
        for key, rule in strings(json.loads(file.read_bytes(), parse_float=Decimal), ""):
            form = rule.get("pattern")
            if isinstance(form, str):
                assert not any(re.search(form, amount) for amount in amounts), (file.name, key)
                assert key not in WORDS, (file.name, key)
            for value in [*rule.get("enum", ()), rule.get("const")] if isinstance(rule.get("enum", ()), list) else ():
                assert value not in amounts and key not in WORDS, (file.name, key)
            if rule.get("type") == "string" and "maxLength" in rule and form is None and "enum" not in rule and "const" not in rule:
                looked += 1
                if key == "day_starts":
                    continue  # a time of day, which decoding holds to HH:MM: no amount stands there in a book without errors
                assert rule["maxLength"] >= (MOST_WORDS if key in WORDS else MOST_QUANTITY), (file.name, key)
                if key in ("written", "sized-written"):
                    assert rule["maxLength"] >= MOST_WRITTEN
    assert looked > 50
