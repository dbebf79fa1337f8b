"""Model files: what is written reads back, units, built-up points, twins, tables and the schema.

What stands outside: Python's own TOML reader and fractions, unit definitions (international inch
and pound, standard gravity: exact), sums by hand, the JSON Schema validator. Models are invented.
"""

import copy
import math
import string
import tomllib
from fractions import Fraction
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import linkage
from linkage.model import (
    AIRFRAME,
    Airframe,
    Body,
    Clearance,
    Coupling,
    Input,
    Material,
    Model,
    PairRule,
    Place,
    Play,
    Point,
    Require,
    Rod,
    Size,
    Spacer,
    Stop,
    Surface,
    Target,
    Tolerance,
    Wire,
)
from linkage.model import shapes as sh
from linkage.model.file import (
    format_model,
    parse_model,
    read_hardpoints,
    read_model,
    schema,
    write_model,
)
from linkage.units import file_length, length_mm, quantity, said_deflection, shown_length

SOME = settings(max_examples=60, deadline=None, derandomize=True)
ROOT = Path(__file__).parents[1]
SHIPPED = sorted([*ROOT.glob("examples/*.toml"), *ROOT.glob("linkage/starters/*.toml")])

RICH = """
title = "Every key once (invented)"
length = "in"

[input.pitch]
travel = [-4.5, "150 mm"]
grip = "stick/grip"
positive = "along axis"
force = { most = "167 lbf", least = "445 N" }
[input.trim]
travel = ["-20 mm", "30 mm"]

[body.tube]
pivot = [61.0, 0.0, 9.0]
axis = "lateral"
input = "pitch"
friction = "3 in*lbf"
bearings = [[61, -10, 9], [61, "300 mm", 9]]
tube = { diameter = "1-1/2 in", wall = "1/16 in", material = "4130 normalized" }
[body.stick]
on = "tube"
pivot = [61.0, -10.5, 9.0]
axis = [-1, 0.01, 0]
level = ["pivot", "grip"]
solid.ball = { kind = "sphere", at = "grip", diameter = 1.5, clearance = "tight" }
solid.tube = { kind = "tube", along = ["pivot", [59.4, -10.5, 27.5]], diameter = 1.0 }
solid.bend = { kind = "pipe", along = ["pivot", [60, -10.5, 12], "grip"], diameter = "1/2 in" }
solid.pad = { kind = "box", corner = [60, -11, 5], opposite = [61, -10, 6] }
[body.stick.points]
grip = [59.4, -10.5, 27.5]
top = [59.4, -10.5, "700 mm"]
[body.stick.points.arm]
at = [61.0, -10.5, 5.2]
bolt = "lateral"
side = "right"
stack = ["1/8 in", "1/16 in", { ball = "0.437 in" }, { plate = 0.1 }]
[body.stick.solid.arm]
kind = "plate"
at = "arm"
normal = "lateral"
u = [1, 0, 0]
outline = [[0, 0], [1, 0, 0.25], [1, 2], [0, 2]]
thickness = 0.1
holes = [{ at = [0.5, 0.5], diameter = 0.25 }, { slot = [[0.2, 1], [0.4, 1]], diameter = 0.1 },
         { outline = [[0.6, 1.5], [0.8, 1.5], [0.7, 1.8, 0.05]] }]
[body.horn]
pivot = [100, -10, 9]
through = [100, 10, 9.5]
points = { p = { at = [100, -9, 5], tolerance = 0.003 } }
tolerance = 0.01
play = 0.004
[body.horn.grip]
along = ["pivot", "p"]
bore = 1
clocking = -12
hand = { kind = "sphere", at = "p", diameter = 2, clearance = "tight" }
[body.horn.solid.washer]
kind = "washer"
at = "p"
normal = [0, 1, 0]
outside = 0.6
inside = 0.2
thickness = 0.063
[body.rudder]
pivot = [200, 0, 20]
axis = "vertical"
[body.nut]
slide = [0, 0, 2]
points = { p = [90, 0, 9] }
input = "trim"
friction = "2 lbf"

[rod.push]
ends = ["stick/arm", "horn/p"]
length = 39.1
diameter = 0.5
wall = 0.049
thread = "1/4-28"
material = "steel"
fixity = 1.5
strength = "9 kN"
fitting = 1.15
bearing = 3.33
friction = "0.5 in*lbf"
tolerance = 0.01
play = 0.001
clearance = "different"
[[rod.push.fitted]]
rod_end = "male"
engaged = 0.6
least = 0.4
witness = 0.43
adjustable = false
bolt = [0, 1, 0.1]
hardware = ["bolt"]
[[rod.push.fitted]]
rod_end = "measured"
[rod.spare]
ends = ["stick/grip", "horn/p"]
redundant = true
fitted = { rod_end = "measured" }
[rod_end.male]
thread = "1/4-28 LH"
shank = 1.5
most = 0.9
misalignment = 12.5
hardware = ["jam nut"]
[rod_end.measured]
ball = 0.437
race = 0.337
sphere = 0.59
shoulder = 0.41
[rig_pin.aft]
holes = ["stick/arm", "airframe/bracket"]
input = { pitch = 3, trim = -2.5 }
direction = [0, 1, 0]
within = "0.4 mm"

[coupling.cable]
bodies = ["nut", "rudder"]
ratio = -0.4

[surface.elevator]
body = "horn"
chord = 9.25
require = { up = 20, down = 12, within = 0.5, input = "pitch" }
hinge = { at = "90 kt", neutral = "-12 in*lbf", slope = "-4.5 in*lbf" }
[surface.rudder]
body = "rudder"
require = [{ left = 20, right = 21 }, { left = 1, input = "pitch" }]

[airframe]
points = { bracket = [80, 0, 12] }
solid.bracket = { kind = "sphere", at = "bracket", diameter = 1 }

[stop.aft]
input = "pitch"
side = "greatest"
between = ["stick/ball", "airframe/bracket"]
search = 35
[stop.aft.spacer]
on = "airframe/bracket"
thickness = 0.125
stock = [0.032, "1/8 in"]
tolerance = 0.005

[clearance]
static = 0.1
same = 0.11
different = 0.25
structure = 0.5
class = { tight = 0.05 }

[[pair]]
between = ["stick/ball", "push/tube"]
waive = true
reason = "they share a bracket"
[[pair]]
between = ["stick/tube", "airframe/bracket"]
require = "3 mm"
reason = "switch wires"

[tolerance]
hardpoint = 0.02
rod = 0.01
spacer = 0.005
[play]
pivot = 0.002
rod_end = "0.02 mm"

[material.steel]
modulus = "29e6 psi"
yield = "75e3 psi"
ultimate = "95e3 psi"
density = "0.284 lb/in**3"
shear = "11e6 psi"
source = "invented"

[factor]
safety = 1.6
hinge = 1.3
fitting = 1.2
bearing = 2

[wire.switch]
clamps = ["stick/top", "airframe/bracket"]
exit = "stick/grip"
diameter = 0.2
length = 30
slack = 0.5
bend = 3
sag = [0, 0, 1]

[size]
over-centre = 25
clearance = true
arm."stick arm" = { point = "stick/arm", least = 2, greatest = "4 in", step = "1/8 in" }
clocking.horn = { point = "horn/p", least = -20, greatest = 25, step = 5 }
place.pivot = { point = "horn/pivot", along = "WL", least = 8.5, greatest = 10, step = 0.063 }
rod.push = { rod = "push", least = 38, greatest = 41, step = 0.1 }
[size.target.gearing]
surface = "elevator"
gearing = 1.1
within = 0.1
input = "pitch"
[size.target.differential]
surface = "elevator"
differential = 1.4

[mirror]
port = "starboard"
"""


# --- round trips --------------------------------------------------------------------------------

@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_files_round_trip(path):
    model = read_model(path)
    assert parse_model(format_model(model)) == model


def test_every_key_round_trips():
    model = parse_model(RICH)
    assert model.inputs["pitch"].travel == (-4.5 * 25.4, 150.0)
    again = parse_model(format_model(model))
    assert again == model
    assert format_model(again) == format_model(model)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_round_trip_in_the_other_unit(unit):
    """The model is the same whichever unit its file is written in."""
    text = RICH.replace('length = "in"', f'length = "{unit}"')
    model = parse_model(text)
    assert parse_model(format_model(model)) == model


def test_what_was_left_out_stays_left_out():
    text = 'length = "mm"\n[body.stick]\npivot = [0, 0, 0]\naxis = "lateral"\n'
    written = tomllib.loads(format_model(parse_model(text)))
    assert written == {"length": "mm", "body": {"stick": {"pivot": [0.0, 0.0, 0.0],
                                                         "axis": "lateral"}}}


def test_write_then_read(tmp_path):
    model = parse_model(RICH)
    write_model(model, tmp_path / "rich.toml")
    assert read_model(tmp_path / "rich.toml") == model


@pytest.mark.parametrize("encode", [lambda t: b"\xef\xbb\xbf" + t.encode(),
                                    lambda t: t.replace("\n", "\r\n").encode()])
def test_files_from_other_editors_read_the_same(tmp_path, encode):
    """A byte-order mark and carriage returns, as some editors write them."""
    path = tmp_path / "rich.toml"
    path.write_bytes(encode(RICH))
    assert read_model(path) == parse_model(RICH)


NAMES = st.text(string.ascii_letters + string.digits + " .-_'\"\\äµ°#=[]", min_size=1,
                max_size=12).filter(lambda s: s == s.strip() and s not in (AIRFRAME, "pivot"))
MM = st.floats(-9e5, 9e5, allow_subnormal=False)
SIZE = st.floats(1e-3, 9e5)
POSITION = st.tuples(MM, MM, MM)
AXIS = st.one_of(st.sampled_from(["lateral", "fore-aft", "vertical"]),
                 st.tuples(*[st.floats(-5, 5)] * 3).filter(lambda v: math.hypot(*v) > 1e-3))
MAYBE_SIZE = st.none() | SIZE
LAYER = st.one_of(SIZE, st.builds(sh.Layer, ball=SIZE), st.builds(sh.Layer, plate=SIZE))
POINT = st.one_of(
    st.builds(Point, at=POSITION),
    st.sampled_from([("lateral", "left"), ("fore-aft", "forward"), ((0.1, 0.2, -3.0), "up")])
    .flatmap(lambda way: st.builds(Point, at=POSITION, bolt=st.just(way[0]), side=st.just(way[1]),
                                   stack=st.lists(LAYER, min_size=1, max_size=3).map(tuple))))
CORNERS = st.lists(st.tuples(MM, MM) | st.tuples(MM, MM, SIZE), min_size=3, max_size=5).map(tuple)
HOLE = st.one_of(st.builds(sh.Hole, at=st.tuples(MM, MM), diameter=SIZE),
                 st.builds(sh.Hole, slot=st.tuples(st.tuples(MM, MM), st.tuples(MM, MM)),
                           diameter=SIZE), st.builds(sh.Hole, outline=CORNERS))


def solids(points):
    place = st.sampled_from(points) | POSITION if points else POSITION
    square = st.sampled_from([("lateral", (1.0, 0.0, 2.0)), ((1.0, 1.0, 0.0), "vertical")])
    pipe = st.lists(place, min_size=3, max_size=5).map(tuple)
    return st.one_of(
        st.builds(sh.Sphere, at=place, diameter=SIZE),
        st.builds(sh.Tube, along=st.tuples(place, place), diameter=SIZE),
        st.builds(sh.Pipe, along=pipe, diameter=SIZE),
        st.builds(sh.Box, corner=st.tuples(SIZE, SIZE, SIZE),
                  opposite=st.tuples(SIZE, SIZE, SIZE).map(lambda p: tuple(-x for x in p))),
        square.flatmap(lambda way: st.builds(
            sh.Plate, at=place, normal=st.just(way[0]), u=st.just(way[1]), outline=CORNERS,
            thickness=SIZE, holes=st.lists(HOLE, max_size=2).map(tuple))),
        st.builds(sh.Washer, at=place, normal=AXIS, outside=st.floats(10, 20),
                  inside=st.floats(0, 9), thickness=SIZE))


@st.composite
def bodies(draw, earlier, driver):
    points = draw(st.dictionaries(NAMES, POINT, max_size=3))
    kinds = {"axis": AXIS, "slide": AXIS, "through": POSITION}
    way = draw(st.sampled_from(list(kinds)))
    pivot = draw(POSITION)
    value = draw(kinds[way].filter(lambda v: way != "through" or math.dist(v, pivot) > 1))
    level = ("pivot", draw(st.sampled_from(list(points)))) if points else None
    return Body(on=draw(st.sampled_from([AIRFRAME, *earlier])), pivot=pivot, points=points,
                level=level if draw(st.booleans()) else None, input=driver,
                solids=draw(st.dictionaries(NAMES, solids([*points, "pivot"]), max_size=3)),
                **{way: value})


@st.composite
def models(draw):
    found = {}
    inputs = {"drive": Input(travel=(-draw(st.floats(0, 90)), draw(st.floats(0.1, 90))))}
    for name in draw(st.lists(NAMES, min_size=2, max_size=4, unique=True)):
        first = not found
        found[name] = draw(bodies(list(found), None))
        if first and not found[name].slides:
            found[name] = Body(**{**vars(found[name]), "input": "drive"})
    names = list(found)
    fixed = draw(st.dictionaries(NAMES, POINT, max_size=2))
    airframe = Airframe(points=fixed, solids=draw(
        st.dictionaries(NAMES, solids(list(fixed)), max_size=2)))
    turning = [name for name, body in found.items() if not body.slides]
    spots = {f"{n}/{p}": b.points[p].position for n, b in found.items() for p in b.points}
    spots |= {f"{n}/pivot": b.pivot for n, b in found.items()}
    rods = {}
    if len(names) > 1 and math.dist(*(spots[f"{n}/pivot"] for n in names[:2])) > 1e-3:
        rods["rod of " + names[0]] = Rod(
            ends=tuple(f"{n}/pivot" for n in names[:2]), length=draw(MAYBE_SIZE),
            redundant=draw(st.booleans()), diameter=draw(MAYBE_SIZE), material=draw(
                st.sampled_from([None, "steel"])),
            thread=draw(st.sampled_from([None, "1/4-28", "M6x1 LH"])),
            tolerance=draw(MAYBE_SIZE), play=draw(MAYBE_SIZE),
            clearance=draw(st.sampled_from([None, "tight", "same"])))
    shapes = [f"{n}/{s}" for n, b in found.items() for s in b.solids]
    stops, pairs = {}, ()
    if len(shapes) > 1:
        stops["stop"] = Stop(input="drive", side=draw(st.sampled_from(["least", "greatest"])),
                             between=tuple(shapes[:2]), search=draw(st.none() | st.floats(1, 90)),
                             spacer=draw(st.none() | st.builds(
                                 Spacer, on=st.just(shapes[1]), thickness=SIZE, tolerance=SIZE,
                                 stock=st.lists(SIZE, max_size=3).map(tuple))))
        pairs = (PairRule(between=tuple(shapes[:2]), require=draw(SIZE), reason=draw(NAMES)),
                 PairRule(between=tuple(shapes[:2]), waive=True, reason="measured"))
    word = {n: ("left", "right") if abs(found[n].direction[2]) > abs(found[n].direction[1])
            else ("up", "down") for n in turning}
    surfaces = {n: Surface(body=n, chord=draw(MAYBE_SIZE), require=tuple(
        Require(within=draw(st.floats(0, 5)), **{word[n][0]: draw(st.floats(0, 90))})
        for _ in range(draw(st.integers(0, 2))))) for n in turning}
    stress = st.floats(1e-3, 1e6)
    return Model(
        title=draw(NAMES), length=draw(st.sampled_from(["in", "mm"])), inputs=inputs,
        bodies=found, rods=rods, airframe=airframe, surfaces=surfaces, stops=stops, pairs=pairs,
        couplings={"gear": Coupling(bodies=tuple(names[:2]), ratio=draw(st.floats(0.1, 9)))},
        clearance=draw(st.builds(Clearance, same=SIZE, named=st.just({"tight": 1.25}))),
        tolerance=draw(st.builds(Tolerance, hardpoint=SIZE, rod=SIZE)),
        play=draw(st.builds(Play, pivot=SIZE, rod_end=SIZE)),
        materials={"steel": draw(st.builds(Material, modulus=stress, yield_stress=stress,
                                           density=st.none() | st.floats(1e-7, 1e-4),
                                           source=NAMES))},
        wires={"wire": draw(st.builds(Wire, clamps=st.just(tuple(f"{n}/pivot" for n in names[:2])),
                                      diameter=SIZE, length=MAYBE_SIZE, slack=SIZE,
                                      bend=MAYBE_SIZE))},
        size=Size(places={names[0]: draw(sized(f"{names[0]}/pivot"))}, targets={
            n: Target(surface=n, gearing=draw(SIZE)) for n in surfaces}, clearance=draw(
                st.booleans()), over_centre=draw(st.none() | st.floats(1, 89))))


def sized(point):
    return st.builds(lambda least, span, along: Place(
        point=point, along=along, least=least, greatest=least + span),
        st.floats(-1e4, 1e4), st.floats(0.1, 1e3), st.sampled_from(["FS", "BL", "WL"]))


@settings(SOME, max_examples=40)
@given(models())
def test_any_model_reads_back_equal_and_fits_the_schema(model):
    text = format_model(model)
    assert parse_model(text) == model
    VALIDATOR.validate(tomllib.loads(text))
    # Python's own reader finds each pivot in the file's unit.
    per = {"in": 25.4, "mm": 1.0}[model.length]
    for name, body in tomllib.loads(text)["body"].items():
        for written, mm in zip(body["pivot"], model.bodies[name].pivot, strict=True):
            got = float(written.removesuffix(" mm")) if isinstance(written, str) else written * per
            assert got == mm


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


# --- twins --------------------------------------------------------------------------------------

TWINS = """
length = "mm"
[input.pitch]
travel = [-15, 15]
[input.roll]
travel = [-20, 20]
[input.trim]
travel = ["-5 mm", "5 mm"]
[airframe]
points = { "bracket left" = [10, -20, 30], keel = [0, 0, 0] }
solid."bracket left" = { kind = "box", corner = [10, -20, 30], opposite = [12, -25, 33] }
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { "arm left" = [5, -40, -60], "arm mid" = [0, 0, -60] }
solid."cheek left" = { kind = "tube", along = ["arm left", [5, -40, 0]], diameter = 12 }
[body.shaft]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
[body.knob]
slide = [0, 1, 0.5]
pivot = [0, 0, 300]
input = "trim"
[body."crank left"]
pivot = [300, -400, -60]
axis = [0.1, -0.2, 1]
level = ["pivot", "out left"]
[body."crank left".points]
in = [230, -410, -60]
"out left" = { at = [310, -480, -50], bolt = [0.1, 1, 0], side = "left", stack = [3, 5] }
up = { at = [310, -480, -50], bolt = "vertical", side = "up", stack = [3] }
[body."crank left".solid]
ball = { kind = "sphere", at = "out left", diameter = 20 }
pipe = { kind = "pipe", along = ["in", "pivot", [1, 2, 3]], diameter = 9 }
disc = { kind = "washer", at = [1, 2, 3], normal = [1, 2, 3], outside = 20, thickness = 2 }
[body."crank left".solid.plate]
kind = "plate"
at = "in"
normal = [0, 0.6, 0.8]
u = [0, 0.8, -0.6]
outline = [[0, 0], [60, 5], [20, 40, 3]]
thickness = 3
holes = [{ at = [15, 10], diameter = 6 }]
[body."idler left"]
on = "crank left"
pivot = [320, -420, -40]
through = [321, -423, 0]
[body."slider left"]
slide = [0.9, -0.3, 0.1]
points = { p = [600, -700, -40] }
[body."shoe left"]
on = "slider left"
pivot = [600, -700, -40]
axis = "fore-aft"
[body."fin left"]
pivot = [900, -300, 50]
axis = "vertical"
[rod."front left"]
ends = ["tube/arm left", "crank left/in"]
length = 381
diameter = 10
[rod.mid]
ends = ["tube/arm mid", "airframe/bracket left"]
redundant = true
[coupling."cable left"]
bodies = ["shoe left", "fin left"]
ratio = 0.5
[surface."fin left"]
body = "fin left"
require = { left = 10, right = 20 }
[stop."roll left"]
input = "roll"
side = "least"
between = ["crank left/ball", "airframe/bracket left"]
spacer = { on = "airframe/bracket left", thickness = 3 }
[stop."pitch left"]
input = "pitch"
side = "least"
between = ["crank left/ball", "airframe/bracket left"]
[stop."trim left"]
input = "trim"
side = "greatest"
between = ["crank left/ball", "airframe/bracket left"]
[wire."switch left"]
clamps = ["tube/arm left", "airframe/bracket left"]
exit = "crank left/in"
diameter = 4
[mirror]
left = "right"
"""


@pytest.fixture(scope="module")
def twins():
    return parse_model(TWINS)


def flipped(v):
    return np.multiply(v, (1, -1, 1))


def turned_over(v):
    return np.multiply(v, (-1, 1, -1))


@pytest.mark.parametrize("left", [
    "crank left/pivot", "crank left/in", "crank left/out left", "crank left/up", "idler left/pivot",
    "slider left/p", "tube/arm left", "airframe/bracket left",
])
def test_twin_points_lie_across_butt_line_0(twins, left):
    right = left.replace("left", "right")
    np.testing.assert_allclose(twins.position(right), flipped(twins.position(left)), rtol=1e-15)


@pytest.mark.parametrize("left", ["crank left", "idler left", "shoe left", "fin left"])
def test_twin_axes_turn_the_mirrored_way(twins, left):
    """Turning axis (-x, y, -z), however it was given."""
    right = twins.bodies[left.replace("left", "right")]
    np.testing.assert_allclose(right.direction, turned_over(twins.bodies[left].direction),
                               rtol=0, atol=1e-15)


def test_twin_slides_point_the_mirrored_way(twins):
    np.testing.assert_allclose(twins.bodies["slider right"].direction,
                               flipped(twins.bodies["slider left"].direction), rtol=1e-15)


def test_twin_references_are_renamed(twins):
    assert twins.bodies["idler right"].on == "crank right"
    assert twins.bodies["crank right"].level == ("pivot", "out right")
    assert set(twins.bodies["crank right"].points) == {"in", "out right", "up"}
    assert twins.bodies["crank right"].solids["ball"].at == "out right"
    assert twins.rods["front right"].ends == ("tube/arm right", "crank right/in")
    assert twins.couplings["cable right"].bodies == ("shoe right", "fin right")
    assert twins.surfaces["fin right"].body == "fin right"
    assert twins.stops["roll right"].between == ("crank right/ball", "airframe/bracket right")
    assert twins.stops["roll right"].spacer.on == "airframe/bracket right"
    assert twins.wires["switch right"].clamps == ("tube/arm right", "airframe/bracket right")
    assert twins.wires["switch right"].exit == "crank right/in"


def test_twin_keeps_its_sizes(twins):
    assert twins.rods["front right"].length == 381
    assert twins.rods["front right"].diameter == 10
    assert twins.couplings["cable right"].ratio == 0.5
    assert twins.stops["roll right"].spacer.thickness == 3
    assert twins.wires["switch right"].diameter == 4


def test_twin_grip_is_clocked_the_other_way():
    """A mirror turns right-hand turns into left-hand ones; its hand is the mirror image."""
    model = parse_model(TWINS.replace('[wire."switch left"]', '''[body."fin left".grip]
along = ["pivot", [10, -20, 400]]
clocking = 25
hand = { kind = "tube", along = [[0, -30, 300], [40, 10, 310]], diameter = 60 }
[wire."switch left"]'''))
    assert model.bodies["fin right"].grip.clocking == -25
    for one, other in zip(*(model.solids[f"fin {side}/hand"].along for side in ("left", "right")),
                          strict=True):
        np.testing.assert_allclose(other, flipped(one), atol=1e-12)


def test_unnamed_parts_get_no_twin_and_keep_what_they_name(twins):
    assert "mid" in twins.rods
    assert len(twins.rods) == 3
    assert twins.rods["mid"].ends == ("tube/arm mid", "airframe/bracket left")
    assert set(twins.bodies["tube"].points) == {"arm left", "arm right", "arm mid"}
    assert set(twins.airframe.points) == {"bracket left", "bracket right", "keel"}


def test_central_solids_get_their_twin(twins):
    cheek = twins.bodies["tube"].solids["cheek right"]
    assert cheek.along[0] == "arm right"
    np.testing.assert_allclose(cheek.along[1], (5, 40, 0))
    bracket = twins.airframe.solids["bracket right"]
    np.testing.assert_allclose(bracket.corner, (10, 20, 30))
    np.testing.assert_allclose(bracket.opposite, (12, 25, 33))


def corners(plate, at):
    """Corners and holes in space: u along the outline's first axis, normal x u along its second."""
    normal, u = (np.array(v) / np.linalg.norm(v) for v in (plate.normal, plate.u))
    flat = [corner[:2] for corner in plate.outline] + [hole.at for hole in plate.holes]
    return np.array([at + a * u + b * np.cross(normal, u) for a, b in flat])


def test_twin_plate_is_the_mirror_image_corner_by_corner(twins):
    left, right = (twins.bodies[f"crank {side}"].solids["plate"] for side in ("left", "right"))
    np.testing.assert_allclose(corners(right, twins.position("crank right/in")),
                               flipped(corners(left, twins.position("crank left/in"))), atol=1e-12)
    assert [c[2:] for c in right.outline] == [c[2:] for c in left.outline]


def test_twin_washer_and_pipe(twins):
    disc = twins.bodies["crank right"].solids["disc"]
    np.testing.assert_allclose(disc.at, (1, -2, 3))
    assert abs(abs(np.dot(disc.normal, (1, -2, 3))) - 14) < 1e-12
    pipe = twins.bodies["crank right"].solids["pipe"]
    assert pipe.along[:2] == ("in", "pivot")
    np.testing.assert_allclose(pipe.along[2], (1, -2, 3))


def test_twin_stop_ends_the_mirrored_travel(twins):
    """Mirrored, roll and a lateral slide run the other way; pitch does not."""
    assert twins.stops["roll right"].side == "greatest"
    assert twins.stops["pitch right"].side == "least"
    assert twins.stops["trim right"].side == "least"


def test_twin_rudder_swaps_left_and_right(twins):
    require = twins.surfaces["fin right"].require[0]
    assert (require.left, require.right) == (20, 10)


def test_twins_survive_a_round_trip(twins):
    assert parse_model(format_model(twins)) == twins


def test_written_twin_wins():
    model = parse_model("""
length = "mm"
[input.roll]
travel = [-9, 9]
[body."stick left"]
pivot = [0, -200, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, -200, 500] }
[body."stick right"]
pivot = [0, 210, 0]
axis = "fore-aft"
points = { grip = [0, 210, 480] }
[mirror]
left = "right"
""")
    assert model.bodies["stick right"].input is None
    assert model.position("stick right/grip") == (0, 210, 480)
    assert len(model.bodies) == 2


def test_other_words_and_both_ways():
    """A starboard part gets its port twin too; a word inside a word is none."""
    model = parse_model("""
length = "mm"
[body."horn starboard"]
pivot = [1, 2, 3]
axis = "lateral"
points = { p = { at = [1, 2, 3], bolt = "lateral", side = "left", stack = [2] } }
[body."portal"]
pivot = [4, 5, 6]
axis = "lateral"
[mirror]
port = "starboard"
""")
    assert set(model.bodies) == {"horn starboard", "horn port", "portal"}
    assert model.position("horn port/pivot") == (1, -2, 3)
    assert model.position("horn starboard/p") == (1, 0, 3)  # the ball to the left of the hole
    assert model.position("horn port/p") == (1, 0, 3)  # and to the right of the twin's


def test_no_mirror_no_twins():
    model = parse_model(TWINS.split("[mirror]")[0])
    assert not [name for name in (*model.bodies, *model.rods) if "right" in name]


# --- hardpoints from a table -------------------------------------------------------------------

HALF = """
length = "in"
hardpoints = "survey/points.csv"
[body.stick]
axis = "lateral"
points = { grip = [59, 0, 27] }
[body.horn]
pivot = [100, 0, 9]
axis = "lateral"
[airframe]
points = { keel = [0, 0, 0] }
"""
TABLE = """Name, FS, BL, WL
# measured with the plumb line
stick/pivot, 61.0, 0, 9
"stick/lower arm", 61, "1-1/8 in", 5.2

horn/p, 2540 mm, 0, 5
airframe/bracket, 80, -1, 12
"""


@pytest.mark.parametrize("encode", [lambda t: t.encode(), lambda t: b"\xef\xbb\xbf" + t.encode(),
                                    lambda t: t.replace("\n", "\r\n").encode(),
                                    lambda t: t.split("\n", 1)[1].encode()])
def test_hardpoints_from_a_table(tmp_path, encode):
    """Beside the model file, in its unit, with or without headings, as spreadsheets write it."""
    (tmp_path / "survey").mkdir()
    (tmp_path / "survey" / "points.csv").write_bytes(encode(TABLE))
    (tmp_path / "model.toml").write_text(HALF, encoding="utf-8")
    model = read_model(tmp_path / "model.toml")
    inches = {"stick/pivot": (61, 0, 9), "stick/lower arm": (61, 1.125, 5.2), "horn/p": (100, 0, 5),
              "airframe/bracket": (80, -1, 12), "stick/grip": (59, 0, 27),
              "airframe/keel": (0, 0, 0), "horn/pivot": (100, 0, 9)}
    assert set(model.points) == set(inches)
    for address, place in inches.items():
        np.testing.assert_allclose(model.position(address), np.multiply(place, 25.4), rtol=1e-15)
    assert parse_model(format_model(model)) == model


def test_read_hardpoints_gives_them_as_written(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text(TABLE, encoding="utf-8")
    assert read_hardpoints(path) == {
        "stick/pivot": [61.0, 0.0, 9.0], "stick/lower arm": [61.0, "1-1/8 in", 5.2],
        "horn/p": ["2540 mm", 0.0, 5.0], "airframe/bracket": [80.0, -1.0, 12.0]}


# --- travel said by the grip -----------------------------------------------------------------

@pytest.mark.parametrize(("unit", "travel", "mm"), [
    ("mm", "[-120, 150]", (-120, 150)), ("in", "[-5, 6.5]", (-127, 165.1)),
    ("mm", '["-4-1/2 in", "15 cm"]', (-114.3, 150)),
])
def test_travel_in_grip_movement(unit, travel, mm):
    """At the ends of the travel the grip is so far from where it was, in a straight line."""
    system = linkage.System(parse_model(f"""
length = "{unit}"
[input.pitch]
travel = {travel}
grip = "stick/knob"
[body.tube]
pivot = ["1550 mm", 0, "230 mm"]
axis = [0, 1, 0.1]
input = "pitch"
[body.stick]
on = "tube"
pivot = ["1550 mm", "-270 mm", "230 mm"]
axis = "fore-aft"
points = {{ knob = ["1510 mm", "-270 mm", "700 mm"] }}
"""))
    ends = system.inputs["pitch"].travel
    assert system.inputs["pitch"].unit == "°"
    assert ends[0] < 0 < ends[1]
    moved = system.sweep(pitch=ends).point("stick/knob") - system.model.position("stick/knob")
    np.testing.assert_allclose(np.linalg.norm(moved, axis=-1), np.abs(mm), rtol=1e-12)
    assert (np.sign(moved[:, 0]) == np.sign(mm)).all()  # aft is positive


# --- JSON Schema ------------------------------------------------------------------------------

VALIDATOR = jsonschema.Draft202012Validator(schema())


def test_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(schema())


@pytest.mark.parametrize("text", [
    RICH, TWINS, HALF, *(path.read_text(encoding="utf-8") for path in SHIPPED)],
    ids=["rich", "twins", "half", *(path.stem for path in SHIPPED)])
def test_schema_accepts_good_files(text):
    VALIDATOR.validate(tomllib.loads(text))


def tables(table, path=()):
    """Where a known key could stand: every table of the file that is not a table of names."""
    named = {"input", "body", "rod", "coupling", "surface", "stop", "material", "wire", "mirror",
             "points", "solid", "class", "arm", "clocking", "place", "target",
             "rod_end", "rig_pin"}
    if not path or path[-1] not in named or len(path) > 1 and path[-2] in named:
        yield path
    for key, value in table.items():
        if isinstance(value, dict):
            yield from tables(value, (*path, key))


@pytest.mark.parametrize("path", list(tables(tomllib.loads(RICH))), ids="/".join)
def test_schema_refuses_an_unknown_key_anywhere(path):
    """The library refuses it in the same place, and says where."""
    table = copy.deepcopy(tomllib.loads(RICH))
    inner = table
    for key in path:
        inner = inner[key]
    inner["colour"] = "red"
    assert not VALIDATOR.is_valid(table)
    import tomli_w

    with pytest.raises(linkage.LinkageError, match='unknown key "colour"'):
        parse_model(tomli_w.dumps(table))


@pytest.mark.parametrize(("old", "new"), [
    ('length = "in"', 'length = "cm"'), ("pivot = [61.0, 0.0, 9.0]", "pivot = [61.0, 0.0]"),
    ('axis = "lateral"', 'axis = "sideways"'), ("redundant = true", 'redundant = "yes"'),
    ('side = "greatest"', 'side = "aft"'), ('kind = "sphere"', 'kind = "ball"'),
    ("diameter = 0.5", "diameter = -0.5"), ('ends = ["stick/arm", "horn/p"]', ""),
    ('reason = "switch wires"', ""), ('modulus = "29e6 psi"', "modulus = 29e6"),
])
def test_schema_and_library_refuse_the_same_slip(old, new):
    assert old in RICH
    text = RICH.replace(old, new)
    assert not VALIDATOR.is_valid(tomllib.loads(text))
    with pytest.raises(linkage.LinkageError):
        parse_model(text)
