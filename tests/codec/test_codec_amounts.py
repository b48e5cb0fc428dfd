"""The grammar of amounts: what is read, what is refused and with which hint."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specctl.codec import units
from specctl.codec.amounts import (
    Absent,
    Counted,
    Dosed,
    Fault,
    Measured,
    TopTo,
    Written,
    WrittenForm,
    format_amount,
    format_written_form,
    parse_amount,
    parse_money,
    parse_quantity,
    parse_written_form,
    plain,
)

TOOLS = ("scoop-amber", "jigger-metric")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("30 g", Measured(Decimal(30), "g")),
        ("92.7 g", Measured(Decimal("92.7"), "g")),
        ("0.5 ml", Measured(Decimal("0.5"), "ml")),
        ("1.5 tsp-us", Measured(Decimal("1.5"), "tsp-us")),
        ("3 each", Counted(Decimal(3))),
        ("2 scoop-amber", Dosed(Decimal(2), "scoop-amber")),
        ("top to 15 mm below rim", TopTo(Decimal(15))),
        ("none", Absent()),
        ("123456789.123456789 g", Measured(Decimal("123456789.123456789"), "g")),
    ],
)
def test_reads(text: str, value: Written) -> None:
    assert parse_amount(text, tools=TOOLS) == value


def test_bare_spoons_need_a_system() -> None:
    assert parse_amount("1.5 tsp", spoons="us-customary") == Measured(Decimal("1.5"), "tsp-us")
    assert parse_amount("2 tbsp", spoons="au") == Measured(Decimal(2), "tbsp-au")
    assert parse_amount("1 fl oz", spoons="us-label") == Measured(Decimal(1), "fl-oz-us-label")
    assert isinstance(parse_amount("1 fl oz", spoons="metric"), Fault)


# Texts that a units library was seen to read as something else, and others of
# their kind; beside each a part of the hint.
REFUSED = [
    ("1,5 ml", "1.5 ml"),
    ("1 1/2 oz", "1.5"),
    ("1/2 cup", "0.5"),
    ("30±5 ml", "tolerance"),
    ("30 ± 5 ml", "tolerance"),
    ("30+-5 ml", "tolerance"),
    ("1 000 ml", "1000 ml"),
    ("1\u00a0000 ml", "1000 ml"),
    ("1'000 ml", "1000 ml"),
    ("1_000 ml", "1000 ml"),
    ("1½ cup", "1.5"),
    ("½ cup", "0.5"),
    ("−5 ml", "without a sign"),
    ("-5 ml", "without a sign"),
    ("+5 ml", "without a sign"),
    ("30 ML", "ml"),
    ("30 G", "g"),
    ("1 Tsp", "tsp"),
    ("1 pcs", "each"),
    ("1 pinch", "weigh it"),
    ("1 dash", "weigh it"),
    ("1 drop", "weigh it"),
    ("1 shot", "exact one"),
    ("1 jigger", "tool"),
    ("1 pint", "exact one"),
    ("1 oz", "exact one"),
    ("1 fl oz", "exact one"),
    ("1 tsp", "exact one"),
    ("1 tbsp", "exact one"),
    ("1 cup", "exact one"),
    ("2 scoop", "tool"),
    ("2 pump", "tool"),
    ("", "plain number"),
    ("   ", "plain number"),
    ("9**9**9", "result"),
    ("2 * 3 g", "result"),
    ("3 x 4 g", "result"),
    ("NaN", "plain number"),
    ("nan g", "plain number"),
    ("infinity g", "plain number"),
    ("-inf g", "plain number"),
    ("∞ g", "plain number"),
    ("1e3 g", "number out"),
    ("0x1f g", "digits"),
    ("007 g", "7 g"),
    (".5 g", "0.5 g"),
    ("5. g", "5 g"),
    ("1234567890 g", "shorter"),
    ("1.1234567890 g", "shorter"),
    ("9" * 5000 + " g", "plain number"),
    ("٣ g", "0 to 9"),
    ("３ g", "0 to 9"),
    ("10-15 ml", "tolerance"),
    ("10–15 ml", "tolerance"),
    ("10 to 15 ml", "tolerance"),
    ("~30 g", "tolerance"),
    ("about 30 g", "tolerance"),
    ("30", "30 g"),
    ("g", "plain number"),
    ("30g", "30 g"),
    ("30  g", "one ordinary space"),
    ("30\u00a0g", "one ordinary space"),
    ("30\tg", "one ordinary space"),
    (" 30 g", "Remove"),
    ("30 g\n", "Remove"),
    ("0 g", "none"),
    ("0.000 g", "none"),
    ("3 min", "mass or a volume"),
    ("5 °C", "mass or a volume"),
    ("3 grams", "Write g"),
    ("2 scoop-ambr", "scoop-amber"),
    ("top up", "top to 15 mm below rim"),
    ("top to -1 mm below rim", "top to 15 mm below rim"),
    ("1,000 ml", "1.000 ml"),
    ("1.000,5 ml", "one point"),
    ("30 g of milk", "exact unit"),
    ("None", "plain number"),
    ("3 each each", "exact unit"),
]


@pytest.mark.parametrize(("text", "hint"), REFUSED)
def test_refuses_with_a_hint_of_its_own(text: str, hint: str) -> None:
    fault = parse_amount(text, tools=TOOLS)
    assert isinstance(fault, Fault)
    assert hint in fault.todo
    assert fault.what and 0 <= fault.column <= max(len(text), 80)


def test_candidates_are_listed_with_their_sizes() -> None:
    fault = parse_amount("1 oz")
    assert isinstance(fault, Fault)
    # NIST SP 811; 21 CFR 101.9; Weights and Measures Act 1985
    for size in ("28.349523125 g", "28 g", "29.5735295625 ml", "28.4130625 ml"):
        assert size in fault.what


def test_a_bare_scoop_stays_refused_even_if_a_tool_has_that_id() -> None:
    assert isinstance(parse_amount("1 scoop", tools=["scoop"]), Fault)


def test_zero_only_where_allowed() -> None:
    assert parse_amount("0 g", allow_zero=True) == Measured(Decimal(0), "g")


def test_faults_never_repeat_hostile_text_raw() -> None:
    fault = parse_amount("3 \x1b[31mred\u202e")
    assert isinstance(fault, Fault)
    assert (fault.what + fault.todo).isprintable()


numbers = st.decimals(
    min_value=0, max_value=Decimal("999999999"), allow_nan=False, allow_infinity=False, places=9
) | st.integers(0, 999_999_999).map(Decimal)
nonzero = numbers.filter(bool)
amount_units = st.sampled_from(
    [n for n, u in units.UNITS.items() if u.dimension in ("mass", "volume") and n not in units.AMBIGUOUS]
)
amounts_made = st.one_of(
    st.builds(Measured, nonzero, amount_units),
    st.builds(Dosed, nonzero, st.sampled_from(TOOLS)),
    st.builds(Counted, nonzero),
    st.builds(TopTo, numbers),
    st.just(Absent()),
)


@given(amounts_made)
def test_parse_of_format_is_the_same_value(written: Written) -> None:
    text = format_amount(written)
    assert parse_amount(text, tools=TOOLS) == written
    assert "E" not in text


@given(nonzero, amount_units, nonzero)
def test_parse_of_format_of_a_written_form(number: Decimal, unit: str, factor: Decimal) -> None:
    mass = units.UNITS[unit].dimension == "mass"
    form = WrittenForm(
        Measured(number, unit),
        units.factor(unit, "g") if mass else factor,
        "g" if mass else "g/ml",
    )
    assert parse_written_form(format_written_form(form)) == form


@given(st.text(max_size=100))
def test_never_raises_and_never_takes_more_than_the_grammar(text: str) -> None:
    for result in (parse_amount(text, tools=TOOLS, spoons="metric"), parse_written_form(text, TOOLS)):
        if isinstance(result, Fault):
            assert (result.what + result.todo).isprintable()
    parse_money(text)
    for dimension in ("mass", "volume", "density", "temperature", "duration", "length", "percent"):
        parse_quantity(text, dimension)


near = st.text(alphabet="0123456789.,- +/½±eE×−gml tspozcu\u00a0", max_size=14)


@given(near)
def test_whatever_is_read_is_spelt_exactly(text: str) -> None:
    result = parse_amount(text)
    if isinstance(result, Measured):
        number, unit = text.split(" ", 1)
        assert Decimal(number) == result.number and unit == result.unit


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("0.5 kg", "mass", "500"),
        ("2 l", "volume", "2000"),
        ("1.03 g/ml", "density", "1.03"),
        ("1030 kg/m3", "density", "1.03"),
        ("-18 °C", "temperature", "-18"),
        ("0 °C", "temperature", "0"),
        ("4 h", "duration", "14400"),
        ("30 min", "duration", "1800"),
        ("2 d", "duration", "172800"),
        ("15 mm", "length", "15"),
        ("2 in", "length", "50.8"),
        ("92 %", "percent", "92"),
        ("16 fl-oz-us", "volume", "473.176473"),  # NIST SP 811: one US pint
    ],
)
def test_quantities_in_their_base_unit(text: str, dimension: str, value: str) -> None:
    assert parse_quantity(text, dimension) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "dimension", "hint"),
    [
        ("5 l", "mass", "30 g"),
        ("−18 °C", "temperature", "-18 °C"),
        ("18 C", "temperature", "°C"),
        ("64 °F", "temperature", "exact unit"),
        ("-5 ml", "volume", "without a sign"),
        ("5 hours", "duration", "Write h"),
        ("92%", "percent", "92 %"),
        ("0.92", "percent", "92 %"),
        ("0 g", "mass", "more than zero"),
        ("1 h 30 min", "duration", "exact unit"),
        ("1.03 g per ml", "density", "exact unit"),
        ("1 cup", "volume", "exact one"),
    ],
)
def test_quantities_refused(text: str, dimension: str, hint: str) -> None:
    fault = parse_quantity(text, dimension)
    assert isinstance(fault, Fault) and hint in fault.todo


def test_money() -> None:
    assert parse_money("12.40 GBP") == (Decimal("12.40"), "GBP")
    assert parse_money("0 EUR") == (Decimal(0), "EUR")
    for text in ("£12.40", "12,40 EUR", "12.40 gbp", "12.40", "-1 GBP", "1 000 GBP", "1e9 GBP", ""):
        assert isinstance(parse_money(text), Fault), text


def test_written_forms() -> None:
    form = parse_written_form("90 ml at 1.03 g/ml")
    assert isinstance(form, WrittenForm) and form.grams() == Decimal("92.70")
    dosed = parse_written_form("2 scoop-amber at 8.4 g each", TOOLS)
    assert isinstance(dosed, WrittenForm) and dosed.grams() == Decimal("16.8")
    # granulated sugar, USDA SR28 portion weight over US customary volume: .845 g/ml
    sugar = parse_written_form("1.5 tsp-us at 0.845 g/ml")
    assert isinstance(sugar, WrittenForm) and sugar.grams() == Decimal("6.247408120078125")
    ounce = parse_written_form("1 oz-av")
    assert isinstance(ounce, WrittenForm) and ounce.grams() == Decimal("28.349523125")


@pytest.mark.parametrize(
    "text",
    [
        "90 ml",
        "90 ml at 8 g each",
        "2 scoop-amber at 1 g/ml",
        "30 g at 1 g/ml",
        "90 ml at 0 g/ml",
        "90 ml at 1,03 g/ml",
        "90 ml at 1.03 g/ml ",
        "90 ml at 1.03 g/ml at 1.03 g/ml",
        "none",
        "top to 15 mm below rim",
        "1.5 tsp at 0.845 g/ml",
    ],
)
def test_written_forms_refused(text: str) -> None:
    assert isinstance(parse_written_form(text, TOOLS), Fault)


@pytest.mark.parametrize(
    ("number", "text"),
    [("1E+3", "1000"), ("0.0", "0"), ("-0", "0"), ("92.70", "92.7"), ("1E-7", "0.0000001"), ("-1.50", "-1.5"), ("100", "100")],
)
def test_plain(number: str, text: str) -> None:
    assert plain(Decimal(number)) == text


def test_plain_refuses_what_is_not_finite() -> None:
    with pytest.raises(ValueError):
        plain(Decimal("NaN"))
