"""Equality is by value: the same quantity in another unit or spelling is no change of a fact."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from little_book import demo, demo_files, little

from specctl.change.facts import diff, facts
from specctl.codec.load import load
from specctl.codec.meaning import base_form, meaning


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("30 g", "0.03 kg"),
        ("30 g", "30.0 g"),
        ("30 g", "30000 mg"),
        ("2 l", "2000 ml"),
        ("48 h", "2 d"),
        ("48 h", "172800 s"),
        ("1.03 g/ml", "1030 kg/m3"),
        ("1.03 g/ml", "1.030 kg/l"),
        ("15 mm", "1.5 cm"),
        ("5 %", "5.0 %"),
        ("3 each", "3.0 each"),
        ("-18 °C", "-18.0 °C"),
        ("1 lb", "453.59237 g"),  # international yard and pound agreement, 1959
        ("1 cup-us", "236.5882365 ml"),  # NIST SP 811
        ("1 pint-imp", "568.26125 ml"),  # Weights and Measures Act 1985
    ],
)
def test_one_value(one: str, other: str) -> None:
    assert base_form(one) == base_form(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("30 g", "30 ml"),
        ("30 g", "30.01 g"),
        ("30 g", "30 each"),
        ("3 each", "3 %"),
        ("1 tsp", "1 tsp-metric"),  # a bare spoon is no unit
        ("1 oz", "28.349523125 g"),
        ("top to 15 mm below rim", "top to 1.5 cm below rim"),
        ("30  g", "30 g"),
        ("030 g", "30 g"),
        ("1 d", "1 D"),
    ],
)
def test_two_values(one: str, other: str) -> None:
    assert base_form(one) != base_form(other)


@pytest.mark.parametrize("amount", ["30 g", "0.03 kg", "30.0 g", "30000 mg"])
def test_another_spelling_is_no_change_of_a_book(amount: str) -> None:
    one, other = (load(little(a, "1.03 g/ml")).nodes["preps/some.yaml"] for a in ("30 g", amount))
    assert diff(facts(meaning(one)), facts(meaning(other))) == ()


def test_a_comment_is_no_fact() -> None:
    files = little("30 g", "1 g/ml")
    more = {**files, "preps/some.yaml": b"# said at the bench\n" + files["preps/some.yaml"]}
    one, other = (load(f).nodes["preps/some.yaml"] for f in (files, more))
    assert facts(meaning(one)) == facts(meaning(other))


@pytest.mark.parametrize("key", ["name", "why", "note", "do", "caution", "source", "document"])
def test_words_for_people_are_no_quantities(key: str) -> None:
    """A drink named "2 d" is not named "172800 s"."""
    data = f"{key}: 2 d\n".encode()
    from specctl.codec import yamltext

    node, _ = yamltext.read(data, "x.yaml")
    assert node is not None and meaning(node) == {key: "2 d"}


@given(st.text(max_size=30))
def test_no_text_raises_and_base_forms_stay(text: str) -> None:
    assert base_form(base_form(text)) == base_form(text)


@given(st.decimals(0, 9999, places=3, allow_nan=False), st.sampled_from(["g", "kg", "ml", "l", "h", "d", "cup-us", "%"]))
def test_trailing_zeros_say_nothing(number: Decimal, unit: str) -> None:
    plain = f"{number:f}"
    assert base_form(f"{plain} {unit}") == base_form(f"{plain}00 {unit}")


def test_the_demo_book_means_the_same_by_any_way_in() -> None:
    again = load(demo_files())
    for path, node in demo().nodes.items():
        assert meaning(node) == meaning(again.nodes[path])
