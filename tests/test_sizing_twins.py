"""Sized dimensions keep twins twins, and what is fixed to a pivot moves along."""

from pathlib import Path

import numpy as np
import pytest

import linkage
from linkage.gearing import margins
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.sizing import Layout, named_dimensions, size

EXAMPLE = Path(__file__).parents[1] / "examples" / "aileron_run.toml"


@pytest.fixture(scope="module")
def sized_example():
    return size(linkage.load(EXAMPLE), rounded=True)


def test_twins_stay_twins(sized_example):
    """Every left point of the sized example mirrors its right one across BL 0."""
    model = sized_example.system.model
    left = [name for name in model.points if "left" in name]
    assert len(left) == 6
    for name in left:
        x, y, z = model.position(name)
        assert model.position(name.replace("left", "right")) == pytest.approx((x, -y, z), abs=1e-12)


def test_example_is_sized_and_proven(sized_example):
    """Clearance of the rounded result is proven by the clearance room itself."""
    assert sized_example.ok, sized_example.verdict
    found = linkage.clearance(sized_example.system)
    assert found["ok"].astype(bool).all()
    ends = sized_example.system.sweep(roll=[-20, 20]).deflection("aileron left")
    assert -ends.min() / ends.max() == pytest.approx(1.35, abs=0.05)
    assert margins(sized_example.system)["margin"].min() >= 25
    assert sized_example.clearance is not None


def test_clearance_costs_something_here():
    """Without the clearance the pivot stays where it is drawn, and the rod rubs on the spar."""
    text = EXAMPLE.read_text(encoding="utf-8").replace("clearance = true", "clearance = false")
    found = size(System(parse_model(text)))
    assert found.ok
    assert not linkage.clearance(found.system)["ok"].astype(bool).all()

MOVED = """
length = "mm"
[mirror]
left = "right"
[body.crank]
pivot = [0, 0, 0]
axis = "vertical"
points = { "out left" = [0, -60, 0] }
[body."tube left"]
pivot = [100, -50, 20]
axis = "fore-aft"
points = { hole = { at = [100, -50, 80], bolt = "fore-aft", side = "aft", stack = [4] } }
solid.end = { kind = "box", corner = [90, -60, 10], opposite = [110, -40, 30] }
[body."arm left"]
on = "tube left"
pivot = [120, -50, 20]
axis = "lateral"
points = { tip = [120, -50, 70] }
[size.clocking.crank]
point = "crank/out left"
least = -30
greatest = 30
[size.place.tube]
point = "tube left/pivot"
along = "BL"
least = -70
greatest = -40
[size.arm.hole]
point = "tube left/hole"
least = 50
greatest = 90
"""


def test_what_is_fixed_to_a_pivot_moves_along():
    """A pivot moved 7 mm outboard takes points, solids and riders along; so does its twin's."""
    model = parse_model(MOVED)
    layout = Layout(model, named_dimensions(model))
    moved = layout.model_at([70.0, 30.0, -57.0])  # arm, clocking, place
    assert moved.position("tube left/pivot") == pytest.approx((100, -57, 20))
    assert moved.position("tube right/pivot") == pytest.approx((100, 57, 20))
    assert moved.position("arm left/tip") == pytest.approx((120, -57, 70))
    assert moved.bodies["tube left"].solids["end"].corner == pytest.approx((90, -67, 10))
    assert moved.position("tube left/hole") == pytest.approx((104, -57, 90))
    assert moved.bodies["tube left"].points["hole"].at == pytest.approx((100, -57, 90))
    turned = moved.position("crank/out left")
    assert turned == pytest.approx((30, -60 * np.cos(np.radians(30)), 0))
    assert moved.position("crank/out right") == pytest.approx((turned[0], -turned[1], 0))


@pytest.mark.parametrize(("more", "says"), [
    ('[size.arm.again]\npoint = "tube right/hole"\nleast = 40\ngreatest = 80',
     '"tube left/hole" is sized by "hole" already'),
    ('[size.place.again]\npoint = "tube left/hole"\nalong = "FS"\nleast = 40\ngreatest = 80',
     'is sized by "hole" already'),
    ('[size.place.again]\npoint = "tube right/pivot"\nalong = "BL"\nleast = 40\ngreatest = 80',
     'is sized by "tube" already')])
def test_one_thing_sized_twice_is_refused(more, says):
    model = parse_model(MOVED + more)
    with pytest.raises(linkage.LinkageError, match="sized by") as caught:
        named_dimensions(model)
    assert says.split('"')[-1] in str(caught.value)
