"""Lengths, sizes and angles from text."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.base.errors import InputError
from carvegen.base.units import (
    MM_PER,
    angle_deg,
    length_mm,
    lengths_mm,
    size_mm,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("12", 12), ("12mm", 12), (" 1.2 cm ", 12), ("0.5in", 12.7), ("72pt", 25.4), (".5", 0.5), ("3.", 3),
        ("-4", -4), ("+4", 4), ("1e2", 100), ("0", 0),
    ],
)  # fmt: skip
def test_lengths(text, mm):
    """The inch is 25.4 mm (yard and pound agreement, 1959); the point is 1/72 inch (CSS Values 3, 6.2)."""
    assert length_mm(text) == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize("text", ["", "mm", "1,5", "12 ft", "nan", "inf", "1e999", "1 2", "--1", "0x10"])
def test_what_is_no_length(text):
    with pytest.raises(InputError) as raised:
        length_mm(text)
    assert raised.value.value == text


def test_a_number_of_lengths():
    assert lengths_mm("1 2cm, 3", 3) == (1, 20, 3)
    for text in ("1 2", "1 2 3 4", ""):
        with pytest.raises(InputError, match="needs 3 lengths"):
            lengths_mm(text, 3)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("200x150", (200, 150)), ("200 × 150", (200, 150)), ("8x6in", (203.2, 152.4)), ("20cm x 150mm", (200, 150)),
        ("200X150", (200, 150)), ("2in x 30mm", (50.8, 30)),
    ],
)  # fmt: skip
def test_sizes(text, size):
    assert size_mm(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["200", "x", "200x", "x150", "0x5", "-1x5", "nanx5", "5x1e999", "1x2x3"])
def test_what_is_no_size(text):
    with pytest.raises(InputError):
        size_mm(text)


@pytest.mark.parametrize(
    ("text", "got", "write"),
    [("60x5O", "5O", "50"), ("6Oox50mm", "6Oo", "600"), ("4x1Oin", "1Oin", "10in"), ("O.5x30", "O.5", "0.5")],
)
def test_a_letter_for_a_nought_is_shown_as_typed_and_named(text, got, write):
    with pytest.raises(InputError) as raised:
        size_mm(text)
    assert raised.value.value == got
    assert raised.value.hint == f"the letter O stands in it for a nought: write {write}"


@pytest.mark.parametrize("text", ["5ox", "3 ohm", "O"])
def test_other_letters_are_no_noughts(text):
    with pytest.raises(InputError) as raised:
        length_mm(text)
    assert "letter O" not in raised.value.hint


@pytest.mark.parametrize(("text", "deg"), [("30", 30), ("30deg", 30), ("-70°", -70), ("1e2", 100)])
def test_angles(text, deg):
    assert angle_deg(text) == deg


@pytest.mark.parametrize("text", ["", "north", "30mm", "1e999", "nan", "30 rad"])
def test_what_is_no_angle(text):
    with pytest.raises(InputError):
        angle_deg(text)


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(MM_PER)))
def test_a_length_written_out_reads_back(value, unit):
    assert length_mm(f"{value!r}{unit}") == pytest.approx(value * MM_PER[unit], rel=1e-12)


#: What a length is written with, and what is like it; Hypothesis takes four seconds to look up all of Unicode.
SIGNS = "0123456789.,+-eE infacmptx\"'°µ\t\n\0\u2212½²٣∞％\u200b\ud800"


@given(st.text(SIGNS, max_size=12))
def test_any_text_is_a_finite_length_or_an_input_error(text):
    try:
        assert math.isfinite(length_mm(text))
    except InputError as error:
        assert error.message


@pytest.mark.parametrize(
    ("text", "mm"), [("8x6in", (203.2, 152.4)), ('8"x6"', (203.2, 152.4)), ("8x6 inches", (203.2, 152.4))]
)
def test_inches_by_all_their_names(text, mm):
    assert size_mm(text) == pytest.approx(mm)


def test_a_size_smaller_than_a_stamp_is_asked_about():
    with pytest.raises(InputError, match="which unit") as raised:
        size_mm("8x6")
    assert "8x6in" in raised.value.hint
    assert size_mm("8x6mm") == (8, 6)
    assert size_mm("25x6") == (25, 6)
