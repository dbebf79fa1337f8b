"""Model files with every key, twins across BL 0, and what a file may hold."""

from pathlib import Path

import jsonschema
from hypothesis import settings
from hypothesis import strategies as st

from linkage.model.file import (
    schema,
)

SOME = settings(max_examples=60, deadline=None, derandomize=True)

ROOT = Path(__file__).parents[2]

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

MM = st.floats(-9e5, 9e5, allow_subnormal=False)


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


# --- JSON Schema ------------------------------------------------------------------------------

VALIDATOR = jsonschema.Draft202012Validator(schema())

# A lever each side with an input of its own, invented; the right one may be written out.
LEVERS = """
length = "mm"
mirror = { left = "right" }
input."left lever".travel = [-10, 30]
input."right lever".travel = [-10, 30]
[body."left lever"]
pivot = [0, -200, 0]
axis = "fore-aft"
input = "left lever"
points.top = [0, -200, 100]
solid.arm = { kind = "tube", along = ["pivot", "top"], diameter = 10 }
[airframe]
solid."block left" = { kind = "box", corner = [-10, -160, 60], opposite = [10, -140, 90] }
[stop."left in"]
input = "left lever"
side = "greatest"
between = ["left lever/arm", "airframe/block left"]
[rig_pin.left]
holes = ["left lever/top"]
input = { "left lever" = 5 }
"""
RIGHT_LEVER = """
[body."right lever"]
pivot = [0, 200, 0]
axis = [1, 0, 0]
input = "right lever"
points.top = [0, 200, 100]
solid.arm = { kind = "tube", along = ["pivot", "top"], diameter = 10 }
"""
# What is added to it, and which way the right lever then goes for the mirror image.
LEVER_WRITTEN_OUT = [("", 1), (RIGHT_LEVER, 1), (RIGHT_LEVER.replace("= [1", "= [-1"), -1)]

# An arm written for both sides, whose axis may run either way on the right, and a wheel coupled.
COUPLED = """
length = "mm"
mirror = { left = "right" }
input.trim.travel = [-10, 40]
[body."arm left"]
pivot = [0, -200, 0]
axis = "fore-aft"
[body."arm right"]
pivot = [0, 200, 0]
axis = AXIS
[body."wheel left"]
pivot = [0, -300, 0]
axis = "fore-aft"
[coupling."link left"]
bodies = ["arm left", "wheel left"]
ratio = 2
[servo."motor left"]
body = "arm left"
torque = "2 N*m"
travel = [-10, 40]
"""
