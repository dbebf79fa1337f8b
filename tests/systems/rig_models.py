"""One run to an elevator with bought rod ends, and errors planted in it."""

from pathlib import Path

import numpy as np

import linkage
from linkage.rigging.lengths import with_lengths

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))

RUN = """
title = "One run to an elevator (invented)"
length = "mm"
[input.pitch]
travel = [-15, 18]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
level = ["pivot", "front"]
points = { grip = [0, 0, 500], arm = [0, 0, -60], front = [90, 0, 20], hole = [0, 5, 40] }
[body.idler]
pivot = [800, 0, 10]
axis = "lateral"
points = { in = [795, 0, -60], out = [803, 20, -75] }
[body.elevator]
pivot = [1700, 0, 60]
axis = "lateral"
level = ["pivot", "edge"]
points = { horn = [1690, 30, -10], edge = [2000, 0, 65] }
[airframe]
points = { hole = [0, 9, 40] }
[rod.front]
ends = ["stick/arm", "idler/in"]
thread = "M6"
fitted = { rod_end = "male", engaged = 14, least = 9, witness = 10 }
[rod.rear]
ends = ["idler/out", "elevator/horn"]
fitted = [
  { rod_end = "male", engaged = 14, witness = 10, hardware = ["M6 bolt", "nut"] },
  { rod_end = "left", engaged = 13, witness = 10 },
]
[rod_end.male]
shank = 36
most = 20
thread = "M6"
[rod_end.left]
shank = 34
most = 20
thread = "M6 LH"
misalignment = 12
[surface.elevator]
body = "elevator"
chord = 300
[rig_pin.stick]
holes = ["stick/hole", "airframe/hole"]
within = 0.5
"""


def by_name(path):
    return path.stem


# --- as built -----------------------------------------------------------------------------------

def planted(system, changes, zeros, way="surface angle", steps=9):
    """Rows of a table read on an aircraft with these rods and instrument zeros."""
    for name, surfaces in (("pitch", ["elevator"]),
                           ("roll", ["aileron left", "aileron right"])):
        if name not in system.inputs:
            continue
        x = np.linspace(*system.inputs[name].travel, steps)
        motion = system.sweep_with(with_lengths(system, changes),
                                   **{name: x + zeros.get(name, 0.0)})
        for surface in surfaces:
            read = motion.deflection(surface)
            if way == "surface level":
                read = linkage.gearing.level_reading(motion, surface)
            for stick, angle in zip(x, read + zeros.get(surface, 0.0), strict=True):
                yield {"input": name, "stick angle": repr(float(stick)), "surface": surface,
                       way: repr(float(angle))}

RODS = ("elevator drive", "aileron drive left", "aileron drive right")
