"""The travel that the checker takes from a certificate holds all that the stops leave, and no less.

Where a stop is met is asked of the oracle (tests/oracle), whose closure and distances are code of
its own; its reading of the file is kin to the checker's.
"""

import copy
import functools
from pathlib import Path

import numpy as np
import pytest
from test_checker import checked

import linkage
from linkage.certificate import certificate
from linkage.checker.directions import Directions
from linkage.checker.leaves import Book
from linkage.checker.rates import Rates
from linkage.checker.reading import Refused, read
from linkage.checker.travel import Travel

ROOT = Path(__file__).parents[1]
ELEVONS, TANDEM = (ROOT / "examples" / f"{name}.toml" for name in ("elevons", "tandem"))


@functools.cache
def proven(file):
    system = linkage.load(file)
    return certificate(system, file, linkage.clearance(system))


def travel_of(file, made):
    return Travel(Book(read(file.read_text(), file.parent)), made)


def changed(made, **more):
    return copy.deepcopy(made) | more


def cover_of(made, name):
    return next(c for c in made["covers"] if name in c["inputs"])


@pytest.mark.parametrize("file", [ELEVONS, TANDEM], ids=lambda file: file.stem)
def test_it_ends_just_past_where_the_faces_of_the_stops_meet(file):
    """By no more than 0.02 degrees, the spacers on; and it holds what the wanted travel has."""
    system, travel = linkage.load(file), travel_of(file, proven(file))
    ends = travel.root()[travel.names.index("roll")]
    found = linkage.find_stops(system)
    for angle in found[found["governs"]]["angle"]:
        end = ends[int(angle > 0)]
        assert 0 < (end - angle) * np.sign(angle) < 0.02
    assert not travel.outside(travel.root())
    assert travel.holds([0.0] * len(travel.names))


def test_a_stop_without_its_witness_ends_nothing(tmp_path):
    made = changed(proven(ELEVONS))
    cover = cover_of(made, "roll")
    cover["tree"], cover["past"] = ["k" if w == "p" else w for w in cover["tree"]], []
    travel = travel_of(ELEVONS, made)
    assert travel.root()[travel.names.index("roll")] == (-28.0, 28.0)
    assert travel.open_ends()[1] == ["roll least", "roll greatest"]
    assert not checked(ELEVONS, made, tmp_path).holds  # its cells cover less than that


def test_an_end_before_the_stop_is_met_is_refused():
    made = changed(proven(ELEVONS))
    cover = cover_of(made, "roll")
    for word in cover["tree"]:
        if isinstance(word, list):
            word[1] *= 0.99
    with pytest.raises(Refused, match="it is not shown to be past stop"):
        travel_of(ELEVONS, made)


def test_a_spacer_that_is_told_of_no_face_is_left_out():
    """Without it the faces meet later: a point in it is in none of their pieces."""
    made = changed(proven(ELEVONS))
    for told in made["stops"].values():
        del told["at"]
    with pytest.raises(Refused, match="a point met lies in no piece"):
        travel_of(ELEVONS, made)


def test_a_stop_ends_nothing_unless_it_is_shown_to_be_apart_at_neutral(tmp_path):
    """Solids that touch at neutral touch wherever one likes: they would leave no travel to prove.

    The library refuses such a file; a forged certificate has to be refused too.
    """
    with pytest.raises(Refused, match="apart at neutral"):
        travel_of(ELEVONS, changed(proven(ELEVONS), stops={}))
    text = PEGS.replace("[[36, 40, 230], [-30, 52, 230]]", "[[36, 2, 230], [-30, 2, 230]]")
    (tmp_path / "touching.toml").write_text(text)
    book = Book(read(text))
    tree = [[1, 0.01], [1, -0.01], "p", "k", "p"]
    past = [["right", 0, [0, [0.5, 0.5]], [0, [0.5, 0.5]]]] * 2
    for way in ([0.0, 1.0, 0.0], [1.0, 0.0, 0.0]):
        with pytest.raises(Refused, match="apart at neutral"):
            Travel(book, {"stops": {"right": {"way": way}}, "covers": [
                {"inputs": ["pitch", "roll"], "tree": tree, "past": past}]})


@pytest.mark.parametrize("at", [0.0, 3.0, -15.0])
def test_a_face_told_from_afar_or_at_the_other_end_is_refused(at):
    made = changed(proven(ELEVONS))
    made["stops"]["roll right"]["at"] = at
    with pytest.raises(Refused, match="face of a spacer"):
        travel_of(ELEVONS, made)


@pytest.mark.parametrize("change", ["far", "gone", "no touch"])
def test_a_face_that_is_only_passed_nearby_takes_no_spacer(change):
    """Told of where no contact follows, a spacer would end the travel before its stop does."""
    made = changed(proven(ELEVONS))
    told = made["stops"]["roll right"]
    if change == "far":
        told["soon"][0] += 2.5
    elif change == "gone":
        told["soon"] = [told["soon"][0]]
    else:
        told["soon"][0] = told["at"]
    with pytest.raises(Refused, match="not told where its stop meets"):
        travel_of(ELEVONS, made)


def test_covers_are_of_every_input_once():
    made = proven(TANDEM)
    for covers in (made["covers"][1:], [*made["covers"], made["covers"][0]]):
        with pytest.raises(Refused, match="covers"):
            travel_of(TANDEM, changed(made, covers=covers))


def test_a_position_past_the_stops_shows_no_least(tmp_path):
    made = changed(proven(ELEVONS))
    told = next(k for k in made["pairs"] if k.get("least") is not None)
    told["place"] = [0.0, 25.0]
    verdict = checked(ELEVONS, made, tmp_path)
    assert "lies outside the travel" in verdict.sentence


def test_leaves_are_left_out_beyond_the_travel_only(tmp_path):
    made = changed(proven(ELEVONS))
    told = next(k for k in made["pairs"] if k["claim"] is not None)
    told["tree"], told["planes"] = "x", ""
    assert "it is not shown to stay" in checked(ELEVONS, made, tmp_path).sentence


PEGS = """
length = "mm"
input.pitch.travel = [-10, 10]
input.roll.travel = [-10, 10]
[body.tube]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
[body.stick]
on = "tube"
pivot = [0, 0, 20]
axis = "fore-aft"
input = "roll"
points = { top = [0, 0, 300] }
solid.shaft = { kind = "tube", along = ["pivot", "top"], diameter = 16 }
solid.knob = { kind = "sphere", at = [0, 0, 320], diameter = 30 }
[airframe.solid.post]
kind = "tube"
along = [[36, 40, 230], [-30, 52, 230]]
diameter = 8
[airframe.solid.shelf]
kind = "box"
corner = [-80, 80, 250]
opposite = [80, 90, 420]
[stop.right]
input = "roll"
side = "greatest"
between = ["stick/shaft", "airframe/post"]
"""


def test_a_slanted_stop_of_two_inputs(tmp_path):
    """Cells about a slanted edge: each position that is free and hangs together is in one."""
    file = tmp_path / "pegs.toml"
    file.write_text(PEGS)
    made = proven(file)
    travel = travel_of(file, made)
    (at, cells), = travel.groups
    assert len(cells) > 3
    system = linkage.load(file)
    pitch, roll = (k.ravel() for k in np.meshgrid(np.linspace(-10, 10, 41), np.linspace(0, 20, 81)))
    gap = linkage.gaps(system.sweep(pitch=pitch, roll=roll), ["stick/shaft | airframe/post"])
    free = next(iter(gap.values())) > 0
    assert 0.2 < free.mean() < 0.8
    ahead = np.ones(41, bool)
    for k in range(81):  # free all the way from neutral
        ahead &= free.reshape(81, 41)[k]
        for p in pitch[:41][ahead]:
            assert travel.holds([float(p), float(roll.reshape(81, 41)[k, 0])])
    assert checked(file, made, tmp_path).holds


def test_directions_are_those_of_the_trade(tmp_path):
    """Stick aft raises elevons, stick right the right one: FAA-H-8083-25, ch. 6, from memory."""
    made = proven(ELEVONS)
    assert checked(ELEVONS, made, tmp_path).directions == (
        "pitch to its positive end: elevon left trailing edge up, elevon right trailing edge up",
        "roll to its positive end: elevon left trailing edge down, elevon right trailing edge up")


def test_a_surface_that_an_input_hardly_moves_goes_no_way(tmp_path):
    """Roll twists the tandem's elevator run by less than a thousandth, one way and the other."""
    sweep = linkage.load(TANDEM).sweep(pitch=np.linspace(-15, 18, 9)[:, None],
                                       roll=np.linspace(-20, 20, 9))
    moved = sweep.gearing("elevator")["roll"]
    assert moved.min() < 0 < moved.max() < 1e-3
    assert "elevator less than 0.01° per degree" in checked(
        TANDEM, proven(TANDEM), tmp_path).directions[1]


@pytest.mark.parametrize("change", ["sign", "hardly", "gone", "tree", "twice"])
def test_a_direction_that_is_not_so_is_refused(change, tmp_path):
    made = changed(proven(ELEVONS))
    told = made["directions"]
    if change == "sign":
        told[0]["sign"] *= -1
    elif change == "hardly":
        told[0]["sign"] = 0
    elif change == "tree":
        told[0]["tree"] = "x"
    else:
        made["directions"] = told[1:] if change == "gone" else [*told, told[0]]
    assert "direction" in (said := checked(ELEVONS, made, tmp_path).sentence) or "one way" in said


@pytest.mark.parametrize("name", ["elevons", "tandem", "side_by_side"])
def test_rates_of_joints_are_held_all_over_a_cell(name):
    """Against the library's exact rates, sampled in each cell; those are checked elsewhere."""
    file, rng = ROOT / "examples" / f"{name}.toml", np.random.default_rng(5)
    book, system = Book(read(file.read_text(), file.parent)), linkage.load(file)
    surfaces, held = book.machine.surfaces, 0
    for _ in range(4):
        cell = [(m - h, m + h) for m, h in zip(rng.uniform(-8, 8, len(book.motion.names)),
                                               rng.uniform(0.05, 2, len(book.motion.names)),
                                               strict=True)]
        share = rng.uniform(-1, 1, (12, len(cell)))
        at = {n: (a + b) / 2 + (b - a) / 2 * share[:, k]
              for k, (n, (a, b)) in enumerate(zip(book.motion.names, cell, strict=True))}
        gearing = {s: system.sweep(**at).gearing(s) for s in surfaces}
        rates = Rates(book.motion)
        for (surface, n), k in [((s, n), k) for s in surfaces
                                for k, n in enumerate(book.motion.names) if n in gearing[s]]:
            rate = rates.joint(surfaces[surface], tuple(cell))[0, k]
            sign = Directions(book, None).hinge(surfaces[surface])
            for true in gearing[surface][n]:
                off = abs(true * sign - float(rate.mid()))
                assert off <= float(rate.rad()) + 1e-9, (surface, n)
                held += 1
    assert held >= 48
