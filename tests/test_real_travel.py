"""The travel that the stops leave, against positions filled out from neutral.

Postures and overlaps are worked out here with code of their own: two turns as matrices, a ball
against an upright box by its nearest point, two boxes by the fifteen axes that can part them
(S. Gottschalk's test, from memory).  The fill is SciPy's labelling of a grid.
"""

import itertools

import numpy as np
import pytest
import shapely
from scipy import ndimage

import linkage
from linkage import loads, rigging
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.relief import relief_templates, relieve
from linkage.stops import judged_box, real_travel

GRID = 251, 1001  # positions along each input: in a short run, and with --full
AT = "at = [0, 0, 200]\ndiameter = 24"
BALL = (np.array([0.0, 0.0, 200.0]), 12.0)
FINGER = (np.array([-4.0, -6.0, 100.0]), np.array([4.0, 6.0, 200.0]))

STICK = """
length = "mm"
[input.pitch]
travel = [-12, 12]
[input.roll]
travel = [-15, 15]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "tube"
pivot = [0, 0, 0]
axis = "fore-aft"
input = "roll"
points = { grip = [0, 0, 300] }
"""
KNOB = """
[body.stick.solid.knob]
kind = "sphere"
at = [0, 0, 200]
diameter = 24
"""
BOX = """
[body.stick.solid.knob]
kind = "box"
corner = [-4, -6, 100]
opposite = [4, 6, 200]
"""


def system_of(shape, blocks):
    """`blocks`: {(input, side): (corner, opposite)} fixed blocks that end the travel there."""
    text = STICK + shape
    for k, ((name, side), (low, high)) in enumerate(blocks.items()):
        text += f"""
[airframe.solid.block{k}]
kind = "box"
corner = {list(low)}
opposite = {list(high)}
[stop.stop{k}]
input = "{name}"
side = "{side}"
between = ["stick/knob", "airframe/block{k}"]
"""
    return System(parse_model(text))


def turned(pitch, roll):
    """Rotation matrices (n, 3, 3): roll about -x carried by pitch about +y, by hand."""
    a, b = np.radians(pitch), np.radians(roll)
    zero, one = np.zeros_like(a), np.ones_like(a)
    about_y = np.array([[np.cos(a), zero, np.sin(a)], [zero, one, zero],
                        [-np.sin(a), zero, np.cos(a)]])
    about_x = np.array([[one, zero, zero], [zero, np.cos(b), np.sin(b)],
                        [zero, -np.sin(b), np.cos(b)]])
    return np.einsum("ijn,jkn->nik", about_y, about_x)


def ball_touches(turns, low, high):
    centre = turns @ BALL[0]
    return np.linalg.norm(centre - np.clip(centre, low, high), axis=1) <= BALL[1]


def box_touches(turns, low, high):
    """Two boxes touch when no one of fifteen axes parts them."""
    half, other = (FINGER[1] - FINGER[0]) / 2, (np.array(high) - low) / 2
    away = turns @ ((FINGER[0] + FINGER[1]) / 2) - (np.array(high) + low) / 2
    parted = np.zeros(len(turns), bool)
    axes = [np.broadcast_to(e, away.shape) for e in np.eye(3)]
    axes += [turns[:, :, k] for k in range(3)]
    axes += [np.cross(turns[:, :, j], e) for j, e in itertools.product(range(3), np.eye(3))]
    for axis in axes:
        reach = np.abs(axis) @ other + np.abs(np.einsum("ni,nij->nj", axis, turns)) @ half
        parted |= np.abs((axis * away).sum(axis=1)) > reach
    return ~parted


def filled(touches, blocks, box, count):
    """Grid of pitch and roll, and which of its positions hang together with neutral, untouched."""
    pitch, roll = (np.linspace(*box[name], count) for name in ("pitch", "roll"))
    free = np.ones(count * count, bool)
    p, r = (k.ravel() for k in np.meshgrid(pitch, roll, indexing="ij"))
    for start in range(0, len(p), 100_000):
        part = slice(start, start + 100_000)
        turns = turned(p[part], r[part])
        for low, high in blocks.values():
            free[part] &= ~touches(turns, low, high)
    free = free.reshape(count, count)
    labels = ndimage.label(free)[0]
    start = np.abs(pitch).argmin(), np.abs(roll).argmin()
    return np.stack([p, r], axis=1), (labels == labels[start]) & free


ROOM = {"pitch": (-22.0, 22.0), "roll": (-25.0, 25.0)}
ROUND = {("roll", "greatest"): ((-100, 80, 150), (100, 110, 250)),
         ("roll", "least"): ((-100, -110, 150), (100, -80, 250)),
         ("pitch", "greatest"): ((60, -150, 100), (90, 150, 260)),
         ("pitch", "least"): ((-90, -150, 100), (-60, 150, 260))}
CORNER = ROUND | {("roll", "greatest"): ((-25, 80, 150), (25, 110, 250))}
SLANT = {("roll", "greatest"): ((-30, 40, 150), (-10, 110, 250)),
         ("roll", "least"): ((5, -110, 150), (40, -62, 250)),
         ("pitch", "greatest"): ((45, -20, 100), (48, 30, 195)),
         ("pitch", "least"): ((-90, -150, 190), (-55, 150, 260))}
THIN = {("roll", "greatest"): ((-100, 60, 165), (100, 63, 250)),
        ("roll", "least"): ((-100, -63, 165), (100, -60, 250)),
        ("pitch", "greatest"): ((45, -150, 100), (47, 150, 260)),
        ("pitch", "least"): ((-90, -150, 100), (-60, 150, 260))}


@pytest.mark.parametrize(("shape", "touches", "blocks", "missed"), [
    (KNOB, ball_touches, ROUND, set()),
    (KNOB, ball_touches, CORNER, {("roll", "greatest")}),
    (KNOB, ball_touches, SLANT, None),
    (KNOB, ball_touches, THIN, set()),
    (BOX, box_touches, ROUND, set()),
    (BOX, box_touches, CORNER, {("roll", "greatest")}),
    (BOX, box_touches, SLANT, None),
    (BOX, box_touches, THIN, set()),
], ids=["ball", "ball past a corner", "ball among posts", "ball through thin pads",
        "box", "box past a corner", "box among posts", "box through thin pads"])
def test_every_position_filled_from_neutral_is_in_the_cover(shape, touches, blocks, missed, full):
    real = real_travel(system_of(shape, blocks))
    places, reached = filled(touches, blocks, ROOM, GRID[full])
    held = real.contains(places).reshape(reached.shape)
    assert reached.mean() > 0.05
    assert not (reached & ~held).any()
    # what is held beyond is a seam along the edge: at most 0.50 degrees where a box slides past an
    # edge and the overlap deepens slowly, measured on the fine grid
    step = [np.ptp(ROOM[name]) / (GRID[full] - 1) for name in ("pitch", "roll")]
    away = ndimage.distance_transform_edt(~reached, sampling=step)
    assert away[held].max() < 0.55 + max(step)
    assert max(real.fine.values()) < 0.1
    ends = {(end.input, end.side) for end in real.missed_stops}
    if missed is not None:
        assert ends == missed
    at_limit = {(name, side) for axis, name in enumerate(("pitch", "roll"))
                for side, k in (("least", 0), ("greatest", -1))
                if np.take(reached, k, axis=axis).any()}
    assert at_limit <= ends
    for end in real.missed_stops:
        assert real.contains([[end.place["pitch"], end.place["roll"]]])[0]
    assert real.ends_without_stop == ()


def test_clearance_is_judged_over_what_the_stops_leave(full):
    """A post that is clear enough within the wanted travel, and too near where the stops end it.

    Ball against ball, so that the gap of any position is worked out by hand.
    """
    post = np.array([35.0, 85.0, 165.0])
    system = system_of(KNOB + f"""
[airframe.solid.post]
kind = "sphere"
at = {post.tolist()}
diameter = 10
""", ROUND)
    row = linkage.clearance(system).set_index("pair").loc["stick/knob | airframe/post"]
    places, reached = filled(ball_touches, ROUND, ROOM, GRID[full])
    gap = np.linalg.norm(turned(*places.T) @ BALL[0] - post, axis=1) - BALL[1] - 5.0
    inside = (np.abs(places) <= [12, 15]).all(axis=1)
    real = gap[reached.ravel()].min()
    assert row["real_proven"] <= real
    assert row["real_least"] == pytest.approx(real, abs=0.5)
    assert row["proven"] <= gap[inside].min()
    assert row["least"] == pytest.approx(gap[inside].min(), abs=0.5)
    assert row["real_least"] < row["least"] - 1.0
    at = turned(*np.array([[row["real_pitch"]], [row["real_roll"]]])) @ BALL[0] - post
    assert np.linalg.norm(at) - BALL[1] - 5.0 == pytest.approx(row["real_least"], abs=1e-9)
    assert not row["ok"]
    assert row["least"] > row["required"] > row["real_least"]


def test_ends_without_stop_keep_the_wanted_travel():
    blocks = {("roll", "greatest"): ROUND["roll", "greatest"]}
    real = real_travel(system_of(KNOB, blocks))
    assert real.ends_without_stop == (("pitch", "least"), ("pitch", "greatest"),
                                      ("roll", "least"))
    assert real.box["pitch"] == (-12.0, 12.0)
    assert real.box["roll"][0] == -15.0
    low, high = real.cells({"roll"})
    assert (low[:, 0] == 0).all()
    assert (high[:, 0] == 0).all()


def test_overlap_that_opens_again_beyond_is_not_reached():
    """Past a thin pad the box is free again well within the search, yet cut off."""
    real = real_travel(system_of(BOX, THIN))
    assert not box_touches(turned(np.array([0.0]), np.array([24.5])),
                           *THIN["roll", "greatest"])[0]
    assert not real.contains([[0.0, 24.5]])[0]


def test_stops_touching_at_neutral_are_refused():
    with pytest.raises(linkage.LinkageError, match="touch at neutral"):
        real_travel(system_of(KNOB, {("roll", "greatest"): ((-5, 5, 150), (5, 20, 250))}))


PACKED = """
[airframe.solid.block]
kind = "box"
corner = [-100, 80, 150]
opposite = [100, 110, 250]
[stop.stop]
input = "roll"
side = "greatest"
between = ["stick/knob", "airframe/block"]
spacer = { on = "airframe/block", thickness = 8 }
"""


@pytest.mark.parametrize(("tolerance", "thinnest"), [
    ("[tolerance]\nspacer = 2", 6.0), ("[tolerance]\nspacer = 20", 0.0), ("", 8.0),
], ids=["thinner", "left out", "as drawn"])
def test_a_thin_spacer_lets_the_stick_further(tolerance, thinnest):
    """The ball's middle, 200 mm up the stick, meets the pad at its own radius: by hand."""
    system = System(parse_model(STICK + KNOB + PACKED + tolerance))
    met = np.degrees(np.arcsin((80.0 - thinnest - BALL[1]) / 200.0))
    end = real_travel(system, system.model.tolerance).box["roll"][1]
    assert met <= end < met + 0.1


@pytest.mark.parametrize("tolerance", [
    '[body.stick.points.top]\nat = [0, 0, 310]\ntolerance = 0.1',
    '[stop.stop.spacer]\non = "airframe/block"\nthickness = 8\ntolerance = 0.1',
], ids=["of a point", "of a spacer"])
def test_a_tolerance_of_one_point_or_spacer_is_a_tolerance(tolerance):
    text = STICK.replace("points = { grip = [0, 0, 300] }", "") + KNOB + PACKED
    if "spacer" in tolerance:
        text = text.replace(text[text.index("spacer ="):], "")
    assert not System(parse_model(text)).model.has_tolerances
    assert System(parse_model(text + tolerance)).model.has_tolerances


# Relief: the distance of a ball to a level plate is that of its middle to the flat figure (Shapely)
# and to the faces.
BOARD = "airframe/board"
COLLAR = np.array([0.0, 0.0, 100.0]), 8.0
REQUIRED = 3.0


def slotted(half, blocks=ROUND):
    """A stick through a board with a square hole, `half` mm to each side."""
    hole = [[-half, -half], [half, -half], [half, half], [-half, half]]
    return system_of(KNOB + f"""
[body.stick.solid.collar]
kind = "sphere"
at = {COLLAR[0].tolist()}
diameter = {2 * COLLAR[1]}
[clearance]
structure = {REQUIRED}
different = {REQUIRED}
[airframe.solid.board]
kind = "plate"
at = [0, 0, 100]
normal = "vertical"
u = "fore-aft"
outline = [[-90, -90], [90, -90], [90, 90], [-90, 90]]
thickness = 2
holes = [{{ outline = {hole} }}]
""", blocks)


def gaps(shape, places):
    """Distance of the collar to the board's material, by hand, mm."""
    flat = shapely.Polygon([c[:2] for c in shape.outline],
                           [[c[:2] for c in hole.outline] for hole in shape.holes])
    middle = turned(*places.T) @ COLLAR[0]
    # u aft is +x, v is +y for a normal straight up
    beside = shapely.distance(flat, shapely.points(middle[:, :2]))
    above = np.maximum(np.abs(middle[:, 2] - 100.0) - 1.0, 0.0)
    return np.hypot(beside, above) - COLLAR[1]


@pytest.mark.parametrize("half", [24.0, 38.0], ids=["missed within the wanted", "only at the stop"])
def test_relief_holds_wherever_the_stops_let_the_stick(half, full):
    system = slotted(half)
    places, reached = filled(ball_touches, ROUND, ROOM, GRID[full])
    places = places[reached.ravel()]
    before = linkage.clearance(system).set_index("pair").loc["stick/collar | airframe/board"]
    true = gaps(system.model.solids[BOARD], places).min()
    assert before["real_proven"] <= true + 1e-9
    assert before["real_least"] < REQUIRED
    assert before["real_least"] <= before["least"]
    assert (before["least"] >= REQUIRED) == (half > 30)
    found = relieve(system, BOARD)
    assert found.needed
    after = gaps(found.shape, places).min()
    assert after >= REQUIRED
    assert all(row["after"] >= REQUIRED for row in found.pairs)
    assert min(row["after"] for row in found.pairs) <= after + 1e-9
    assert (np.abs(places) > [12, 15]).any(axis=1).any()


def test_nothing_is_cut_that_only_a_position_past_the_stops_would_need():
    """Stops within the wanted travel: what they keep the stick from is left standing."""
    near = {(name, side): tuple(tuple(int(np.sign(x)) * 28 if abs(x) == 60 and k == 0 else x
                                      for k, x in enumerate(corner)) for corner in corners)
            for (name, side), corners in ROUND.items()}
    system = slotted(24.0, near)
    assert real_travel(system).box["pitch"][1] < 8
    wide, narrow = relieve(slotted(24.0), BOARD), relieve(system, BOARD)
    assert narrow.cut.removed.area < wide.cut.removed.area
    reach = shapely.bounds(narrow.swept)
    assert reach[2] < shapely.bounds(wide.swept)[2] - 5


def test_template_says_what_its_proof_covers():
    found = relieve(slotted(38.0), BOARD)
    words = relief_templates(found)[None].notes
    assert any(text.startswith("For the drawn geometry, not for every build; at every position that"
                               " the stops leave") for text in words), words


def test_loads_rod_ends_wires_and_hands_are_looked_at_up_to_the_stops(side_by_side_fixed):
    """The stops of the example leave more roll than is wanted, 21.69 against 21 degrees."""
    system = side_by_side_fixed
    box, wanted = judged_box(system), system.inputs["roll"].travel
    assert box["roll"][0] < wanted[0] - 0.5
    assert box["roll"][1] > wanted[1] + 0.5
    for table in (loads.worst_loads(system), rigging.misalignment(system)):
        places = table["roll"].dropna()
        assert ((places < wanted[0] - 1e-6) | (places > wanted[1] + 1e-6)).any()
        # loads are also worked out against the backup stops, for when the first has given way
        backup = np.isclose(places.abs(), 23.265019, atol=1e-5)
        assert places[~backup].between(*box["roll"]).all()
    ends = rigging.wire_table(system)[["least_at", "greatest_at"]].to_numpy().ravel()
    assert any(place.get("roll", 0.0) > wanted[1] or place.get("pitch", 0.0) > 17.0
               for place in ends)
