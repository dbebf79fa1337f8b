"""Lengths, quantities and built-up points as shops write them, against exact definitions."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from systems.model_files import MM, SOME

import linkage
from linkage.model.file import (
    parse_model,
)
from linkage.units import file_length, length_mm, quantity, said_deflection, shown_length

# --- units ------------------------------------------------------------------------------------

# By definition: 1 in = 25.4 mm, 1 ft = 12 in.
@pytest.mark.parametrize(("text", "inches"), [
    ("1/8 in", Fraction(1, 8)), ("1-1/8 in", Fraction(9, 8)), ("1 1/8 in", Fraction(9, 8)),
    ("-1/2 in", Fraction(-1, 2)), ("-2-3/16 in", Fraction(-35, 16)), ("3/64in", Fraction(3, 64)),
    ("0.437 in", Fraction(437, 1000)), ("12 1/2 inch", Fraction(25, 2)), ("2 ft", Fraction(24)),
    ("25.4 mm", Fraction(1)), ("2.54 cm", Fraction(1)), ("1e1 in", Fraction(10)),
    ("  7/16  in ", Fraction(7, 16)), ("+3 in", Fraction(3)),
])
def test_shop_lengths(text, inches):
    for unit in ("in", "mm"):
        assert math.isclose(length_mm(text, unit), float(inches * Fraction("25.4")), rel_tol=1e-15)


@SOME
@given(st.integers(0, 99), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]),
       st.sampled_from(["-", " "]), st.sampled_from(["", "-"]))
def test_any_shop_fraction(whole, top, bottom, between, sign):
    exact = (whole + Fraction(top, bottom)) * Fraction("25.4") * (-1 if sign else 1)
    found = length_mm(f"{sign}{whole}{between}{top}/{bottom} in", "mm")
    assert math.isclose(found, float(exact), rel_tol=1e-15)


def test_bare_numbers_are_in_the_files_unit():
    assert length_mm(2, "in") == 50.8
    assert length_mm(2, "mm") == 2.0


# Exact definitions: pound 0.45359237 kg, standard gravity 9.80665 m/s2, inch 25.4 mm.
@pytest.mark.parametrize(("text", "kind", "value"), [
    ("1 lbf", "force", 0.45359237 * 9.80665), ("67 lbf", "force", 67 * 0.45359237 * 9.80665),
    ("120 in*lbf", "moment", 120 * 25.4 * 0.45359237 * 9.80665),
    ("1 psi", "stress", 0.45359237 * 9.80665 / 25.4**2), ("70 GPa", "stress", 70e3),
    ("0.284 lb/in**3", "density", 0.284 * 0.45359237 / 25.4**3), ("2 lb", "mass", 0.90718474),
    ("12 deg", "angle", 12.0), ("1 kN", "force", 1000.0),
])
def test_quantities_in_house_units(text, kind, value):
    assert math.isclose(quantity(text, kind), value, rel_tol=1e-13)


@pytest.mark.parametrize("text", [
    "", " ", "3", "mm 3", "5 parsnips", "5 kg", "1,5 mm", "1..2 mm", "3 mm 4 mm", "1/0 in",
    "nan mm", "1e999 mm", "-inf in", "(3 mm", "3 mm)", "3 mm'", "3; 4 mm", "3 mm\n4", "? mm",
    "3 mm ± 1", "3 - 1/8 in", "[3] mm", "lambda: 3", "'''", "3 mm \\", "3 mm #", "mm",
])
def test_what_is_no_length_is_refused(text):
    with pytest.raises(linkage.LinkageError) as caught:
        length_mm(text, "mm")
    assert "is no length" in str(caught.value)


@SOME
@given(st.text("0123456789./-+ inmft()'\"*#;,[]{}\\\n", max_size=12))
def test_any_text_is_a_finite_length_or_refused(text):
    try:
        found = length_mm(text, "mm")
    except linkage.LinkageError:
        return
    assert math.isfinite(found)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(MM, st.sampled_from(["in", "mm"]))
def test_lengths_read_back_to_the_last_bit(mm, unit):
    assert length_mm(file_length(mm, unit), unit) == mm


@pytest.mark.parametrize(("mm", "unit", "written"), [
    (25.4, "in", 1.0), (61 * 25.4, "in", 61.0), (3.175, "in", 0.125), (0.032 * 25.4, "in", 0.032),
    (0.1, "mm", 0.1), (-12.7, "in", -0.5), (0.0, "in", 0.0),
])
def test_round_numbers_stay_round(mm, unit, written):
    assert file_length(mm, unit) == written


def test_lengths_and_deflections_as_people_say_them():
    assert shown_length(31.75, "in") == "1.250 in"
    assert shown_length(31.756, "mm") == "31.76 mm"
    assert said_deflection(-12.43, ("TEU", "TED")) == "12.4° TEU"
    assert said_deflection(12.46, ("TEU", "TED")) == "12.5° TED"
    assert said_deflection(3.0, ("TER", "TEL"), 0) == "3° TEL"
    assert said_deflection(-0.04, ("TEU", "TED")) == "0.0°"
    assert said_deflection(math.nan, ("TEU", "TED")) == "out of reach"


# --- built-up points --------------------------------------------------------------------------

# Sums by hand, inches; a ball and a plate count half.
@pytest.mark.parametrize(("bolt", "side", "stack", "way"), [
    ('"lateral"', "right", '["1/8 in", "1/16 in", { ball = "0.437 in" }]', (0, 0.406, 0)),
    ('"lateral"', "left", '["1/8 in", "1/16 in", { ball = "0.437 in" }]', (0, -0.406, 0)),
    ('"lateral"', "left", "[{ plate = 0.125 }, 0.063, { ball = 0.437 }]", (0, -0.344, 0)),
    ('"fore-aft"', "forward", "[0.5]", (-0.5, 0, 0)),
    ('"fore-aft"', "aft", "[0.5]", (0.5, 0, 0)),
    ('"vertical"', "down", '["6.35 mm", 0.25]', (0, 0, -0.5)),
    ("[0, -2, 0]", "right", "[0.5]", (0, 0.5, 0)),
    ("[0, 3, -4]", "up", "[1.0]", (0, -0.6, 0.8)),
    ("[0, 3, 4]", "down", "[1.0]", (0, -0.6, -0.8)),
])
def test_built_up_point(bolt, side, stack, way):
    model = parse_model(f"""
length = "in"
[body.stick]
pivot = [61, 0, 9]
axis = "lateral"
points.link = {{ at = [61.0, 1.5, 5.2], bolt = {bolt}, side = "{side}", stack = {stack} }}
""")
    expected = 25.4 * np.add((61.0, 1.5, 5.2), way)
    np.testing.assert_allclose(model.position("stick/link"), expected, rtol=1e-14, atol=1e-12)
    motion = linkage.System(model).sweep()
    np.testing.assert_allclose(motion.point("stick/link"), expected, rtol=1e-14, atol=1e-12)
