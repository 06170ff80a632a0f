import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photocheck.case.lengths import (
    KG_PER,
    MM_PER,
    POSSIBLE_MM,
    exact_text,
    format_length,
    parse_length,
    parse_reading,
    parse_weight,
)
from photocheck.errors import CaseError
from photocheck.words import READINGS


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("14 1/2 in", 368.3),
        ("14½ in", 368.3),
        ("14 ½ in", 368.3),
        ("14½in", 368.3),
        ('14 1/2"', 368.3),
        ("14 1/2″", 368.3),
        ("14 1/2''", 368.3),
        ("14 1/2”", 368.3),
        ("14-1/2 inches", 368.3),
        ("14\u20111/2 inches", 368.3),
        ("14 1\u20442 in", 368.3),
        ("14.5 in", 368.3),
        ("14,5 Inch", 368.3),
        ("14.5 in.", 368.3),
        ("14.5IN", 368.3),
        ("14½ Zoll", 368.3),
        ("1 ft 2 1/2 in", 368.3),
        ("1 foot 2½ inches", 368.3),
        ("1' 2 1/2\"", 368.3),
        ("1\u20322½\u2033", 368.3),
        ("1' 2 1/2", 368.3),
        ("1 ft, 2 1/2 in", 368.3),
        ("14\u00a01/2\u202fin", 368.3),
        ("29/2 in", 368.3),
        ("⅜ in", 9.525),
        ('3/8"', 9.525),
        ("36,8 cm", 368.0),
        ("36.8cm", 368.0),
        ("368 mm", 368.0),
        ("368\u2009mm", 368.0),
        ("0,36 m", 360.0),
        ("0,368 m", 368.0),
        ("1 m 2 cm", 1020.0),
        (".5 in", 12.7),
        ("+36.8 cm", 368.0),
        ("  36.8  cm  ", 368.0),
        ("36.80 centimetres", 368.0),
    ],
)
def test_what_people_type(text, mm):
    for unit in ("cm", "in"):
        assert parse_length(text, unit)[0] == mm


@pytest.mark.parametrize(
    ("value", "unit", "mm", "own"),
    [
        ("14 1/2", "in", 368.3, "in"),
        ("14½", "in", 368.3, "in"),
        ("36,8", "cm", 368.0, "cm"),
        (14.5, "in", 368.3, "in"),
        (36, "cm", 360.0, "cm"),
        (36.8, "cm", 368.0, "cm"),
        ("36.8 cm", "in", 368.0, "cm"),
        ("14.5 in", "cm", 368.3, "in"),
        ("1 ft", "cm", 304.8, "in"),
        ("368 mm", "in", 368.0, "cm"),
    ],
)
def test_default_unit_and_the_unit_it_was_written_in(value, unit, mm, own):
    assert parse_length(value, unit) == (mm, own)


BAD = [
    ("abc", "cannot be read"),
    ("", "nothing was typed"),
    (" \u00a0 ", "nothing was typed"),
    ("-3", "negative"),
    ("\u22123", "negative"),
    (-3, "negative"),
    ("0", "zero"),
    (0, "zero"),
    ("0/4 in", "zero"),
    ("1,234.5.6", "two ways|cannot be read"),
    ("1,234", "two ways"),
    ("1.2.3", "cannot be read"),
    ("14 15", "cannot be read"),
    ("14.5 1/2", "cannot be read"),
    ("14 1/2 1/2", "cannot be read"),
    ("14 in 1/2", "more than one"),
    ("14 in 15 in", "more than one"),
    ("1 in 2 ft", "more than one"),
    ("1 ft 13 in", "mixes"),
    ("1.5 ft 2 in", "mixes"),
    ("1 ft 2 cm", "mixes"),
    ("1/0 in", "no tape"),
    ("14 3/2 in", "no tape"),
    ("14 1/1000 in", "no tape"),
    ("5 yards", "unknown unit"),
    ("5 cmm", "unknown unit"),
    ("1e3", "unknown unit"),
    ("nan", "cannot be read"),
    ("14 - 15 cm", "cannot be read"),
    ("14 x", "unknown unit"),
    ("²", "cannot be read"),
    ("--3", "cannot be read"),
    ("9" * 30, "too large"),
    ("9" * 500, "too long"),
    (10**400, "too large"),
    (1e300, "too long|too large"),
    (math.nan, "not a number"),
    (math.inf, "not a number"),
    (True, "not a length"),
    (None, "not a length"),
    ([14], "not a length"),
]


@pytest.mark.parametrize(("value", "why"), BAD)
def test_what_is_refused_and_how(value, why):
    with pytest.raises(CaseError, match=why) as caught:
        parse_length(value, "in", field="half neck")
    error = caught.value
    assert error.where == "half neck"
    assert "14 1/2 in" in error.do
    assert len(str(error)) < 200
    with pytest.raises(CaseError, match=r"36\.8 cm"):
        parse_length(value, "cm")


def test_signed_lengths():
    assert parse_length("-12 cm", "in", signed=True) == (-120.0, "cm")
    assert parse_length(0, "cm", signed=True) == (0.0, "cm")
    assert parse_length("\u22121 1/2", "in", signed=True)[0] == -38.1


# Unicode's dashes and hyphens that keyboards, phones and sheets put for a minus: hyphen-minus,
# minus, en dash, figure dash, fullwidth and small hyphen-minus, hyphen, non-breaking hyphen.
MINUS_SIGNS = "-\u2212\u2013\u2012\uff0d\ufe63\u2010\u2011"


@pytest.mark.parametrize("sign", MINUS_SIGNS)
def test_every_minus_sign_is_one(sign):
    assert parse_length(f"{sign}1", "cm", signed=True) == (-10.0, "cm")
    assert parse_length(f" {sign} 1,5 cm", "in", signed=True) == (-15.0, "cm")
    assert parse_length(f"14{sign}1/2", "in") == (368.3, "in")
    with pytest.raises(CaseError, match="negative"):
        parse_length(f"{sign}1", "cm")


def test_unknown_default_unit():
    with pytest.raises(CaseError, match="'mm'"):
        parse_length(3, "mm")
    with pytest.raises(CaseError, match="'mm'"):
        format_length(3.0, "mm")


@given(st.text(max_size=30))
def test_any_text_gives_a_length_or_a_clear_error(text):
    try:
        mm, unit = parse_length(text, "cm")
    except CaseError:
        return
    assert mm > 0
    assert unit in ("cm", "in")


@given(st.integers(1, 8 * 80))
def test_inch_eighths_round_trip(eighths):
    mm = float(Fraction(eighths, 8) * MM_PER["in"])
    assert parse_length(format_length(mm, "in"), "cm") == (mm, "in")


@given(st.integers(1, 2000))
def test_millimetres_round_trip_in_cm(mm):
    assert parse_length(format_length(float(mm), "cm"), "in") == (float(mm), "cm")


@given(st.floats(0.6, 2000.0))
def test_rounding_is_to_the_nearest(mm):
    assert abs(parse_length(format_length(mm, "cm"), "cm")[0] - mm) <= 0.5001
    if mm > 1.6:
        assert abs(parse_length(format_length(mm, "in"), "in")[0] - mm) <= 25.4 / 16 + 1e-9


@given(st.floats(1e-3, 1e6))
def test_exact_text(mm):
    assert parse_length(exact_text(mm), "in")[0] == mm


@given(st.integers(0, 80), st.integers(0, 15), st.sampled_from([2, 4, 8, 16]))
def test_every_way_of_writing_a_fraction_agrees(whole, above, below):
    above %= below
    if not (whole or above):
        return
    mm = float((whole + Fraction(above, below)) * MM_PER["in"])
    ways = [
        f"{whole} {above}/{below} in",
        f'{whole}-{above}/{below}"',
        f"{whole * below + above}/{below}",
    ]
    ways.append(f"{float(whole + Fraction(above, below))!r} in")
    for way in ways:
        assert parse_length(way, "in")[0] == mm


@pytest.mark.parametrize(
    ("mm", "cm", "inch"),
    [
        (368.3, "36.8 cm", "14 1/2 in"),
        (368.0, "36.8 cm", "14 1/2 in"),
        (25.4, "2.5 cm", "1 in"),
        (3.175, "0.3 cm", "1/8 in"),
        (0.0, "0.0 cm", "0 in"),
        (-25.4, "-2.5 cm", "-1 in"),
        (0.01, "0.0 cm", "0 in"),
        (-0.01, "0.0 cm", "0 in"),
        (1000.0, "100.0 cm", "39 3/8 in"),
    ],
)
def test_format(mm, cm, inch):
    assert format_length(mm, "cm") == cm
    assert format_length(mm, "in") == inch


def test_exact_factors():
    assert MM_PER["ft"] == 12 * MM_PER["in"] == Fraction(3048, 10)
    assert KG_PER["lb"] == 16 * KG_PER["oz"] == Fraction("0.45359237")


@pytest.mark.parametrize(
    ("value", "kg"),
    [
        ("28 kg", 28.0),
        (28, 28.0),
        ("28,5", 28.5),
        ("28000 g", 28.0),
        ("1 kg 200 g", 1.2),
        ("100 lb", 45.359237),
        ("62 lbs 8 oz", 28.349523125),
        ("62 1/2 pounds", 28.349523125),
    ],
)
def test_weights(value, kg):
    assert parse_weight(value) == kg


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("900 kg", "heavier"),
        ("28 g", "lighter"),
        ("28 cm", "unknown unit"),
        ("", "nothing"),
        ("x", "read"),
    ],
)
def test_refused_weights(value, why):
    with pytest.raises(CaseError, match=why) as caught:
        parse_weight(value)
    assert caught.value.where == "weight"
    assert "28 kg" in caught.value.do


def test_readings_beyond_any_dog():
    with pytest.raises(CaseError) as caught:
        parse_reading("half_neck", 40, "in")
    assert str(caught.value) == (
        "half neck: 40 in = 101.6 cm is longer than any dog's half neck. "
        "40 cm would be possible, so check the unit."
    )
    with pytest.raises(CaseError, match="shorter than any dog") as caught:
        parse_reading("full_length", "3", "cm")
    with pytest.raises(CaseError, match="Look at the tape again"):
        parse_reading("neck_ring", "5000 in", "in")


@pytest.mark.parametrize("name", READINGS)
def test_limits_leave_slips_to_the_judgement(name):
    # The readings of a dog with 36 cm of half neck, doubled or halved, and of a toy dog.
    usual = {"half_neck": 360, "front_length": 520, "rear_length": 360, "full_length": 870,
             "neck_ring": 720}[name]  # fmt: skip
    for factor in (0.25, 0.5, 1, 2):
        parse_reading(name, f"{factor * usual} mm", "cm")
    low, high = POSSIBLE_MM[name]
    assert parse_reading(name, f"{low} mm", "cm")[0] == low
    assert parse_reading(name, f"{high} mm", "cm")[0] == high
