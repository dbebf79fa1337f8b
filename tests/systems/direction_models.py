"""Models of pitch, roll, yaw and flap whose directions are told by hand."""

from pathlib import Path

from linkage.gearing import (
    directions,
    find,
)
from linkage.model.file import parse_model
from linkage.motion import System

HERE = Path(__file__).parents[1]


# One crank, one rod, one surface.  All arms hang down (WL -60) but the horn of a surface marked
# up.  By hand: a hand that goes aft on top sends the arm below forward; the rod takes the horn
# along; a horn below the hinge that goes forward turns the trailing edge down, one above it up.
PITCH = """
length = "mm"
[input.pitch]
travel = [-15, 15]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ grip = [0, 0, 400], arm = [0, 0, -60] }}
[body.s]
pivot = [3000, 0, 0]
axis = "lateral"
points = {{ horn = [3000, 0, {horn}] }}
[rod.push]
ends = ["stick/arm", "s/horn"]
[surface."{name}"]
body = "s"
{more}
"""


# A stick that goes right on top sends its arm below left.  A vertical crank in the wing turns
# that: its arm ahead of the pivot (FS -60) goes left too, so it turns anticlockwise seen from
# above, and its other arm to the left (BL -60) goes aft, to the right (BL +60) forward.
ROLL = """
length = "mm"
[input.roll]
travel = [-15, 15]
[body.stick]
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = {{ grip = [0, 0, 400], arm = [0, 0, -60] }}
[body.crank]
pivot = [60, {bl}, -60]
axis = "vertical"
points = {{ in = [0, {bl}, -60], out = [60, {out}, -60] }}
[body.s]
pivot = [900, {out}, 0]
axis = "lateral"
points = {{ horn = [900, {out}, {horn}] }}
[rod.link]
ends = ["stick/arm", "crank/in"]
[rod.drive]
ends = ["crank/out", "s/horn"]
[surface."{name}"]
body = "s"
{more}
"""


# A foot bar: right foot forward turns it anticlockwise seen from above (aft is x, right is y), so
# its right arm goes forward.  A horn on the right of the rudder post that goes forward turns the
# post anticlockwise: its aft edge goes to the right.
YAW = """
length = "mm"
[input.yaw]
travel = [-15, 15]
[body.bar]
pivot = [0, 0, 0]
axis = "vertical"
input = "yaw"
points = {{ "pedal right" = [0, 150, 0], arm = [0, 60, 0] }}
[body.s]
pivot = [{post}, 0, 0]
axis = "vertical"
points = {{ horn = [{post}, {horn}, 0] }}
[rod.push]
ends = ["bar/arm", "s/horn"]
[surface."{name}"]
body = "s"
{more}
"""


def made(text):
    return System(parse_model(text))


def pitch(name="elevator", horn=60, more=""):
    return made(PITCH.format(name=name, horn=horn, more=more))


def roll(name="aileron right", bl=900, out=840, horn=-60, more=""):
    return made(ROLL.format(name=name, bl=bl, out=out, horn=horn, more=more))


def yaw(name="rudder", post=4000, horn=60, more=""):
    return made(YAW.format(name=name, post=post, horn=horn, more=more))


def outcomes(system):
    return [each.outcome for each in directions(system)]


def misses(system):
    return [finding.text for finding in find(system) if finding.miss]


# --- the rules --------------------------------------------------------------------------------

FLAP = """
length = "mm"
[input.flap]
travel = {travel}
{more}
[body."flap lever"]
pivot = [0, 0, 0]
slide = "{slide}"
input = "flap"
points = {{ arm = [0, 0, 0], "arm other" = [0, 20, 0] }}
[body."flap left"]
pivot = [1000, -500, 0]
axis = "lateral"
points = {{ horn = [1000, -500, {left}] }}
[body."flap right"]
pivot = [1000, 500, 0]
axis = "lateral"
points = {{ horn = [1000, 500, {right}] }}
[rod.left]
ends = ["flap lever/arm", "flap left/horn"]
[rod.right]
ends = ["flap lever/arm other", "flap right/horn"]
[surface."flap left"]
body = "flap left"
[surface."flap right"]
body = "flap right"
"""
