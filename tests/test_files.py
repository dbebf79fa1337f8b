"""Model files: what is written reads back, units, built-up points, twins, tables and the schema.

What stands outside: Python's own TOML reader and fractions, unit definitions (international inch
and pound, standard gravity: exact), sums by hand, the JSON Schema validator. Models are invented.
"""

import math
import string
import tomllib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from systems.model_files import HALF, MM, RICH, SHIPPED, SOME, VALIDATOR

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
from linkage.model import solids as solid_kinds
from linkage.model.file import (
    format_model,
    parse_model,
    read_hardpoints,
    read_model,
    write_model,
)

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

HOLE = st.one_of(st.builds(solid_kinds.Hole, at=st.tuples(MM, MM), diameter=SIZE),
                 st.builds(solid_kinds.Hole, slot=st.tuples(st.tuples(MM, MM), st.tuples(MM, MM)),
                           diameter=SIZE), st.builds(solid_kinds.Hole, outline=CORNERS))


def solids(points):
    place = st.sampled_from(points) | POSITION if points else POSITION
    square = st.sampled_from([("lateral", (1.0, 0.0, 2.0)), ((1.0, 1.0, 0.0), "vertical")])
    pipe = st.lists(place, min_size=3, max_size=5).map(tuple)
    return st.one_of(
        st.builds(solid_kinds.Sphere, at=place, diameter=SIZE),
        st.builds(solid_kinds.Tube, along=st.tuples(place, place), diameter=SIZE),
        st.builds(solid_kinds.Pipe, along=pipe, diameter=SIZE),
        st.builds(solid_kinds.Box, corner=st.tuples(SIZE, SIZE, SIZE),
                  opposite=st.tuples(SIZE, SIZE, SIZE).map(lambda p: tuple(-x for x in p))),
        square.flatmap(lambda way: st.builds(
            solid_kinds.Plate, at=place, normal=st.just(way[0]), u=st.just(way[1]), outline=CORNERS,
            thickness=SIZE, holes=st.lists(HOLE, max_size=2).map(tuple))),
        st.builds(solid_kinds.Washer, at=place, normal=AXIS, outside=st.floats(10, 20),
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
    faces = [next((f"{n}/{s}" for s in b.solids), None) for n, b in found.items()]
    faces = [face for face in faces if face]  # one of each body: a stop's are of two parts
    if len(faces) > 1:
        stops["stop"] = Stop(input="drive", side=draw(st.sampled_from(["least", "greatest"])),
                             between=tuple(faces[:2]), search=draw(st.none() | st.floats(1, 90)),
                             spacer=draw(st.none() | st.builds(
                                 Spacer, on=st.just(faces[1]), thickness=SIZE, tolerance=SIZE,
                                 stock=st.lists(SIZE, max_size=3).map(tuple))))
    if len(shapes) > 1:
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


# --- hardpoints from a table -------------------------------------------------------------------

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
