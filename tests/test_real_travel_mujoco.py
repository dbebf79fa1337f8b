"""The travel that the stops leave, against positions filled out from neutral by MuJoCo's distances.

MuJoCo carries the finger and measures it against the blocks; SciPy labels what hangs together.
"""

import mujoco
import numpy as np
import pytest
from scipy import ndimage
from test_real_travel import BALL, BOX, CORNER, FINGER, KNOB, ROOM, SLANT, THIN, system_of

from linkage.stops import real_travel

GRID = 61, 1001  # positions along each input: in a short run, and with --full
FAR = 1e3  # mm up to which a distance is asked for


def words(values):
    return " ".join(f"{value:.12g}" for value in values)


def box(low, high):
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    return f'<geom type="box" pos="{words((low + high) / 2)}" size="{words((high - low) / 2)}"/>'


def machine(finger, blocks):
    """Pitch about +y carries roll about -x, as the stick of `test_real_travel`."""
    return mujoco.MjModel.from_xml_string(
        '<mujoco><compiler angle="radian"/><worldbody><body>'
        '<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/><joint type="hinge" axis="0 1 0"/>'
        f'<body><joint type="hinge" axis="-1 0 0"/>{finger}</body></body>'
        + "".join(box(*corners) for corners in blocks.values()) + "</worldbody></mujoco>")


def filled(model, count):
    """Positions (n, 2), and which hang together with neutral, untouched (count, count)."""
    data, sides = mujoco.MjData(model), [np.linspace(*ROOM[n], count) for n in ("pitch", "roll")]
    moving = int(np.flatnonzero(model.geom_bodyid == model.nbody - 1)[0])
    fixed = np.flatnonzero(model.geom_bodyid == 0)
    places = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 2)
    free = np.empty(len(places), bool)
    for k, place in enumerate(np.radians(places)):
        data.qpos[:] = place
        mujoco.mj_kinematics(model, data)
        free[k] = all(mujoco.mj_geomDistance(model, data, moving, int(block), FAR, None) > 0
                      for block in fixed)
    free = free.reshape(count, count)
    labels = ndimage.label(free)[0]
    return places, free & (labels == labels[tuple(np.abs(side).argmin() for side in sides)])


@pytest.mark.parametrize(("shape", "finger"), [
    (KNOB, f'<geom type="sphere" pos="{words(BALL[0])}" size="{BALL[1]}"/>'),
    (BOX, box(*FINGER))], ids=["ball", "box"])
@pytest.mark.parametrize("blocks", [CORNER, SLANT, THIN], ids=["corner", "slant", "thin"])
def test_every_position_that_mujoco_leaves_free_is_in_the_cover(shape, finger, blocks, full):
    places, reached = filled(machine(finger, blocks), GRID[full])
    assert reached.mean() > 0.05
    assert real_travel(system_of(shape, blocks)).contains(places)[reached.ravel()].all()
