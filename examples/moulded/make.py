"""Makes the meshes and drawings that moulded.toml uses: an invented cockpit, no real aircraft.

Run it here to write them again: python make.py
"""

from pathlib import Path

import ezdxf
import numpy as np

HERE = Path(__file__).parent
BORE, TUBE_WL, BEARING_BL = 23.0, 150.0, 150.0  # radius of the bracket's bore, where the tube lies


def write_stl(name, corners):
    """A binary STL file, mm."""
    rows = np.zeros(len(corners), np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("r", "<u2")]))
    rows["c"] = corners
    (HERE / name).write_bytes(b"invented, mm".ljust(80) + np.uint32(len(corners)).tobytes()
                              + rows.tobytes())


def triangles(grid, keep=None):
    """Two triangles a quad of a grid of places, (n, 3, 3)."""
    one, two, three, four = grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]
    made = np.stack([np.stack([one, two, three], axis=2), np.stack([one, three, four], axis=2)],
                    axis=2)
    return (made if keep is None else made[keep]).reshape(-1, 3, 3)


def fuselage():
    """A moulded tub, open at its top and ends: FS 1100 to 2200, deepest amidships."""
    along, around = np.linspace(0, 1, 61)[:, None], np.linspace(0, np.pi, 71)[None]
    wide = 560 + 40 * np.sin(np.pi * along)
    deep = 800 + 25 * np.sin(np.pi * along)
    fs = 1100 + 1100 * along + 0 * around
    bl = wide * np.sign(np.cos(around)) * np.abs(np.cos(around)) ** 0.5
    wl = 650 - deep * np.sin(around) ** 0.5
    return triangles(np.stack([fs, bl, wl], axis=-1))


def seat_pan():
    """A bucket seat of the left side with a slot for the stick: FS 1390 to 1850."""
    fs = np.linspace(1390, 1850, 93)[:, None]
    bl = np.linspace(-430, -50, 77)[None]
    aft = (fs - 1390) / 460
    bucket = np.sin(np.pi * aft) ** 2 * np.sin(np.pi * (bl + 430) / 380) ** 0.7
    wl = 232 - 95 * bucket + 60 * np.clip(aft - 0.75, 0, 1) ** 2 * 8
    grid = np.stack([fs + 0 * bl, bl + 0 * fs, wl], axis=-1)
    middle = (grid[:-1, :-1] + grid[1:, 1:]) / 2
    slot = (middle[..., 0] < 1575) & (np.abs(middle[..., 1] + 240) < 95)
    return triangles(grid, ~slot)


def bracket():
    """A cast pillow block about the left bearing of the cross tube, closed: a ring on a foot."""
    turn = np.linspace(0, 2 * np.pi, 121)
    out = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    # the outline is the ring above, and runs down to a foot below
    reach = np.where(out[:, 1] > -0.35, 38.0, 38.0 + 60.0 * np.clip(-out[:, 1] - 0.35, 0, 1))
    rim = out * reach[:, None]
    hole = out * BORE
    rim[-1], hole[-1] = rim[0], hole[0]

    def raised(flat, bl):
        return np.stack([1500 + flat[:, 0], np.full(len(flat), bl), TUBE_WL + flat[:, 1]], axis=1)

    low, high = -BEARING_BL - 14, -BEARING_BL + 14
    rows = [raised(hole, low), raised(rim, low), raised(rim, high), raised(hole, high),
            raised(hole, low)]
    return triangles(np.stack(rows))


def drawing(name, outline, holes):
    """A DXF of a plate, mm: its outline with bulges, circles and slots on the layer CUT."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 4
    document.layers.add("CUT")
    space = document.modelspace()
    space.add_lwpolyline(outline, format="xyb", close=True, dxfattribs={"layer": "CUT"})
    for hole in holes:
        if len(hole) == 3:
            space.add_circle(hole[:2], hole[2], dxfattribs={"layer": "CUT"})
        else:
            x, y, long, wide = hole
            space.add_lwpolyline([(x - long, y - wide, 0), (x + long, y - wide, 1),
                                  (x + long, y + wide, 0), (x - long, y + wide, 1)],
                                 format="xyb", close=True, dxfattribs={"layer": "CUT"})
    document.saveas(HERE / name)


def drawings():
    """The arm of the elevator, which points aft, and the floor that its rod passes through."""
    drawing("arm.dxf", [(-30, -26, 0), (0, -30, 0), (125, -14, 0), (130, -14, 1), (130, 14, 0),
                        (125, 14, 0), (0, 30, 0), (-30, 26, 0)], [(130, 0, 4)])
    drawing("floor.dxf", [(-160, -120, 0), (160, -120, 0), (160, 120, 0), (-160, 120, 0)],
            [(0, 0, 40, 30)])


if __name__ == "__main__":
    write_stl("fuselage.stl", fuselage())
    write_stl("pan_left.stl", seat_pan())
    write_stl("bracket_left.stl", bracket())
    drawings()
