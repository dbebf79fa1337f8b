"""Every key of the model file: the checker verifies it, reads over it, or refuses it by name.

The keys are taken from the classes that the file is read by, so that a new one has to be told of
here.  What is read over is shown to bear on no clearance: without it the table stays the same.
"""

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit

import linkage
from linkage.certificate import certificate, packed
from linkage.checker import check
from linkage.checker.formats import FORMATS, KINDS
from linkage.checker.lengths import Refused
from linkage.checker.reading import read
from linkage.checker.solids import pieces_of
from linkage.model import fittings, parts, shapes, solids, springs, whole
from linkage.model.keys import file_keys

FILE = Path(__file__).parent / "every_key.toml"
TEXT = FILE.read_text()
CLASSES = {"input": parts.Input, "body": parts.Body, "airframe": parts.Airframe, "rod": parts.Rod,
           "coupling": parts.Coupling, "stop": parts.Stop, "spacer": parts.Spacer,
           "pair": parts.PairRule, "rod_end": fittings.RodEnd, "point": shapes.Point,
           "grip": parts.Grip, "fitted": fittings.Fitted, "sphere": solids.Sphere,
           "tube": solids.Tube, "pipe": solids.Pipe, "box": solids.Box, "plate": solids.Plate,
           "washer": solids.Washer, "hole": solids.Hole, "clearance": parts.Clearance,
           "tolerance": parts.Tolerance, "spring": springs.Spring}
CLASSES |= {"surface": parts.Surface, "file": whole.Model}
REFUSED = {"input": {"grip"}}
READ_OVER = {kind: set(words.split()) for kind, (_, words) in FORMATS.items()}
# of each key that is verified: what stands in the file, and what is written in its place;
# ¶ ends a line
CHANGED = """
travel = [-12, 15] -> travel = [-12, 16]
"5 mm"] -> "6 mm"]
"along axis" -> "against axis"
through = [0.0, 50.0 -> through = [1.0, 50.0
pivot = [300.0, 0.0 -> pivot = [301.0, 0.0
axis = "lateral"¶points = { horn -> axis = "vertical"¶points = { horn
on = "airframe" -> on = "lever"
slide = "fore-aft" -> slide = "vertical"
input = "knob"¶points -> input = "lever"¶points
horn = [300.0, 40.0 -> horn = [300.0, 41.0
bearings = [[0.0, -30.0 -> bearings = [[0.0, -31.0
¶joint = 24.0 -> ¶joint = 25.0
tolerance = 0.15 -> tolerance = 0.16
along = [[0.0, 0.0, 180.0] -> along = [[0.0, 1.0, 180.0]
clocking = 5.0 -> clocking = 6.0
corner = [-30, -40, 190] -> corner = [-31, -40, 190]
at = [0.0, 20.0, -60.0] -> at = [0.0, 20.0, -61.0]
bolt = "lateral", side -> bolt = "vertical", side
side = "right" -> side = "left"
{ ball = 6.0 } -> { ball = 7.0 }
[2.0, { ball -> [3.0, { ball
tolerance = 0.2 } -> tolerance = 0.3 }
diameter = 22, -> diameter = 23,
clearance = "far" } -> clearance = "same" }
along = ["pivot", "top"] -> along = ["pivot", "low"]
along = [[80, 90, 0] -> along = [[81, 90, 0]
diameter = 10, wall -> diameter = 11, wall
opposite = [360, 60 -> opposite = [361, 60
at = "rim", -> at = "pivot",
diameter = 12, -> diameter = 13,
at = "tip" -> at = "pivot"
normal = "lateral", outside -> normal = "vertical", outside
outside = 20 -> outside = 21
inside = 8 -> inside = 9
thickness = 3 -> thickness = 4
at = [0.0, 20.0, 0.0] -> at = [0.0, 21.0, 0.0]
normal = "lateral", u -> normal = "vertical", u
u = "fore-aft" -> u = "vertical"
[15, 15, 4.0] -> [15, 15, 3.0]
thickness = 4.0 -> thickness = 5.0
{ at = [0, 0], diameter = 6 } -> { at = [0, 1], diameter = 6 }
diameter = 6 } -> diameter = 5 }
slot = [[-8, -8] -> slot = [[-7, -8]
outline = [[-9, 6] -> outline = [[-10, 6]
bodies = ["flap", "wheel"] -> bodies = ["wheel", "flap"]
ratio = -1.5 -> ratio = 1.5
ends = ["lever/out", "flap/horn"]¶length -> ends = ["lever/top", "flap/horn"]¶length
length = 300.5 -> length = 300.6
diameter = 12¶wall -> diameter = 13¶wall
tolerance = 0.1¶play -> tolerance = 0.2¶play
joint = 30.0 -> joint = 31.0
clearance = "far"¶fitted -> clearance = "same"¶fitted
engaged = 12 }, -> engaged = 10 },
redundant = true¶ ->
6¶fitted = [{ rod_end = "end" -> 6¶fitted = [{ rod_end = "other"
shank = 30 -> shank = 31
sphere = 14 -> sphere = 60
surface.flap]¶body = "flap" -> surface.flap]¶body = "wheel"
input = "lever"¶side -> input = "knob"¶side
side = "greatest" -> side = "least"
between = ["lever/horn", -> between = ["lever/shaft",
search = 40 -> search = 30
on = "airframe/post" -> on = "lever/horn"
thickness = 2, stock -> thickness = 3, stock
stock = [1, 2], tolerance = 0.1 -> stock = [1, 2], tolerance = 0.2
corner = [-40, 10, -40] -> corner = [-41, 10, -40]
points = { clamp = [150.0 -> points = { clamp = [151.0
between = ["lever/shaft", "airframe/wall"] -> between = ["lever/horn", "airframe/wall"]
require = 2.0 -> require = 2.5
waive = true -> require = 1.0
static = 3 -> static = 4
same = 3¶ -> same = 4¶
different = 6 -> different = 7
structure = 12 -> structure = 13
joined = 0.5 -> joined = 0.6
wire = 12 -> wire = 13
class = { far = 20 } -> class = { far = 21 }
hardpoint = 0.1 -> hardpoint = 0.2
rod = 0.2 -> rod = 0.3
[tolerance]¶hardpoint = 0.1¶rod = 0.2¶spacer = 0.1 -> [tolerance]¶spacer = 0.2
left = "right" -> gear = "right"
length = "mm" -> length = "in"
""".strip().split("\n")


def kinds_of(table):
    """Every table of a model, with its kind: (kind, table)."""
    for kind in ("input", "body", "rod", "coupling", "stop", "rod_end", "spring"):
        for part in table.get(kind, {}).values():
            yield kind, part
            yield from [("grip", part["grip"]), (part["grip"]["hand"]["kind"],
                                                 part["grip"]["hand"])] if "grip" in part else ()
            yield from [("spacer", part["spacer"])] if "spacer" in part else ()
            yield from (("fitted", k) for k in part.get("fitted", ()))
    for home in (*table["body"].values(), table["airframe"]):
        for solid in home.get("solid", {}).values():
            yield solid["kind"], solid
            yield from (("hole", k) for k in solid.get("holes", ()))
        yield from (("point", k) for k in home.get("points", {}).values() if isinstance(k, dict))
    yield from (("pair", k) for k in table["pair"])
    yield from ((kind, table[kind]) for kind in ("airframe", "clearance", "tolerance"))
    yield from (("surface", k) for k in table["surface"].values())
    yield "file", table


def stripped():
    """The model without what the checker reads over."""
    table = tomllib.loads(TEXT)
    for kind, part in list(kinds_of(table)):
        for word in READ_OVER[kind]:
            part.pop(word, None)
        # what the file needs is changed instead
        part |= {"reason": "another"} if kind == "pair" else {}
        part |= {"ball": 8, "race": 6} if kind == "rod_end" and "sphere" in part else {}
    table.pop("spring")  # which holds nothing that is verified
    return table


@pytest.mark.parametrize("kind", CLASSES)
def test_every_key_is_known_or_refused_by_name(kind):
    verified, read_over = set(KINDS[kind]), READ_OVER[kind]
    assert not verified & read_over
    keys = set(file_keys(CLASSES[kind]))
    assert keys - verified - read_over == REFUSED.get(kind, set())
    assert (verified | read_over) - keys <= {"kind", "hardpoints"}


def test_a_unit_that_is_not_known_is_refused_by_name():
    with pytest.raises(Refused, match='does not know the unit "cm"'):
        read(re.sub('^length = "[a-z]+"', 'length = "cm"', TEXT, flags=re.M))


def test_the_file_holds_every_key():
    table = tomllib.loads(TEXT)
    for kind, part_class in CLASSES.items():
        if kind == "surface":  # which no solid of a pair is
            continue
        words = {word for k, part in kinds_of(table) if k == kind for word in part}
        assert set(file_keys(part_class)) - REFUSED.get(kind, set()) <= words, kind


def same_tables(one, other, **how):
    tables = [linkage.clearance(system, **how) for system in (one, other)]
    numbers = [t.select_dtypes("number").to_numpy() for t in tables]
    assert tables[0]["pair"].tolist() == tables[1]["pair"].tolist()
    assert np.array_equal(*numbers, equal_nan=True)


def test_what_is_read_over_bears_on_no_clearance(tmp_path, full):
    other = tmp_path / "stripped.toml"
    other.write_text(tomlkit.dumps(stripped()))
    systems = linkage.load(FILE), linkage.load(other)
    same_tables(*systems)
    if full:
        same_tables(*systems, built=True)


@pytest.mark.parametrize("change", CHANGED)
def test_what_is_verified_changes_what_the_checker_has(change):
    here, there = change.replace("¶", "\n").split("->")
    here, there = here.removesuffix(" "), there.removeprefix(" ")
    assert TEXT.count(here) >= 1
    try:
        made = repr(read(TEXT.replace(here, there, 1)))
    except (Refused, KeyError):
        return
    assert made != repr(read(TEXT))


def test_its_proof_holds(tmp_path):
    system = linkage.load(FILE)
    proof = tmp_path / "proof.json.gz"
    proof.write_bytes(packed(certificate(system, FILE, linkage.clearance(system))))
    verdict = check(FILE, proof)
    assert verdict.holds, verdict.sentence


@pytest.mark.parametrize(("here", "there", "word"), [
    ('ways = [', 'grip = "lever/top"\nways = [', "grip"),
    ('u = "lateral", outline', 'u = "lateral", drawing = "a.dxf", outline', "drawing"),
    ('u = "lateral", outline', 'u = "lateral", layer = "a", outline', "layer"),
    ('u = "lateral", outline', 'u = "lateral", unit = "mm", outline', "unit"),
    ('kind = "sphere"', 'kind = "mesh"', "mesh"), ('kind = "sphere", ', "", "None"),
    ("bow = 0.5", "bend = 0.5", "bend"), ("[rig_pin.one]", "[cable.one]", "cable"),
    ("engaged = 12,", "engaged = 12, depth = 1,", "depth"), ("search = 40", "seek = 40", "seek"),
    ("[play]", "[clearance.more]\nfar = 1\n[play]", "more"), ("tolerance = 0.2 }", "off = 0.2 }",
                                                             "off"),
    ("thickness = 2, stock", "thickness = 2, faces = 2, stock", "faces"),
    ('length = 300.5', 'length = "1 ft"', "1 ft"), ("ratio = 0.8", "ratio = 0.8\nphase = 2",
                                                   "phase")])
def test_what_the_checker_has_no_word_for_is_refused_by_it(here, there, word):
    assert here in TEXT
    with pytest.raises(Refused, match=re.escape(word)):
        read(TEXT.replace(here, there, 1))


TWINS = """
length = "mm"
mirror = { left = "right" }
input.pitch.travel = [-10, 10]
[body."stick left"]
pivot = [0, -100, 0]
axis = "lateral"
points.clip = { at = [0, -90, 50], bolt = "lateral", side = "left", stack = [4, 2] }
grip.along = [[0, -100, 100], [0, -100, 160]]
grip.clocking = 30.0
grip.hand = { kind = "box", corner = [10, -105, 100], opposite = [60, -95, 150] }
"""


def test_a_stack_and_a_clocked_hand_lie_mirrored_in_their_twins():
    """Across BL 0 a place keeps its FS and WL: corners of both hands, and both clips."""
    machine = read(TWINS)
    assert machine.points["stick left/clip"] == (0, -96, 50)
    assert machine.points["stick right/clip"] == (0, 96, 50)
    left, right = (sorted((x, abs(y), z) for piece in pieces_of(machine.solids[f"stick {k}/hand"])
                          for x, y, z in piece.corners) for k in ("left", "right"))
    assert np.allclose(left, right, atol=1e-9)
    assert max(y for _, y, _ in left) > 120 or min(y for _, y, _ in left) < 80
