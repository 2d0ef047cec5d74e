"""Lengths and angles with their units."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bedwatch.bed import angle_deg, length_mm

# exact by definition: the international yard and pound agreement of 1959 (1 in = 25.4 mm, 1 ft = 12 in)
PER_UNIT_MM = {"mm": "1", "cm": "10", "m": "1000", "in": "25.4", "ft": "304.8"}


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("420 mm", 420.0),
        ("420mm", 420.0),
        (" 42.0 cm ", 420.0),
        ("0.42 m", 420.0),
        (".42 m", 420.0),
        ("16.5 in", 419.1),
        ("1.4 ft", 426.72),
        ("0 mm", 0.0),
        ("-5 mm", -5.0),
        ("+5 mm", 5.0),
    ],
)
def test_lengths(text: str, mm: float) -> None:
    assert length_mm(text) == mm


@given(
    st.decimals(min_value=-10000, max_value=10000, places=3),
    st.sampled_from(sorted(PER_UNIT_MM)),
    st.sampled_from(["", " ", "  "]),
)
def test_a_length_is_the_nearest_float_to_the_exact_value(number: Decimal, unit: str, gap: str) -> None:
    assert length_mm(f"{number:f}{gap}{unit}") == float(number * Decimal(PER_UNIT_MM[unit]))


@given(st.decimals(min_value=-720, max_value=720, places=4))
def test_degrees_and_radians(number: Decimal) -> None:
    assert angle_deg(f"{number:f} deg") == float(number)
    assert angle_deg(f"{number:f} rad") == pytest.approx(math.degrees(float(number)), rel=1e-15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("420", "without a unit"),
        ("420,5 mm", "not a comma"),
        ("5 ft 3 in", "one number and one unit"),
        ("16 1/2 in", "one number and one unit"),
        ("mm 420", "one number and one unit"),
        ("nan mm", "one number and one unit"),
        ("inf mm", "one number and one unit"),
        ("1e3 mm", "one number and one unit"),
        ("", "one number and one unit"),
        ("420 MM", 'unit "MM"'),
        ("420 px", 'unit "px"'),
        ("30 deg", 'unit "deg"'),
        ("٤٢٠ mm", "one number and one unit"),
        ("9" * 5000 + " mm", "5003 letters"),
    ],
)
def test_what_is_no_length_is_refused_with_the_reason(text: str, says: str) -> None:
    with pytest.raises(ValueError, match="expected a length such as") as caught:
        length_mm(text)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["30", "30 mm", "30 grad", "1,5 rad", "inf deg"])
def test_what_is_no_angle_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="expected an angle such as"):
        angle_deg(text)


@given(st.text(max_size=60))
def test_any_text_is_a_number_or_a_one_line_reason(text: str) -> None:
    for read in (length_mm, angle_deg):
        try:
            said = f"{read(text):f}"
        except ValueError as error:
            said = str(error)
        assert said.isprintable()
        assert said not in ("inf", "-inf", "nan")
