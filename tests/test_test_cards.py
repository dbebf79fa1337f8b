"""Test cards by hand: weights, cosines, which force is pulled where, limits of what gives."""

import math

import numpy as np
import pytest
from systems.load_models import TUBED, stage, system_of

from linkage import loads
from linkage.results import Results
from linkage.units import LBF

SURFACE = 'chord = 200\nhinge = {{ at = "test", slope = "-{slope} N*mm" }}\n'


@pytest.mark.parametrize(("slope", "source"), [(1000, "air load"), (20000, "pilot force")])
def test_the_lesser_load_and_the_weight_for_each_position(slope, source):
    """14 CFR 23.683(b)(1), 1-1-14 edition: the lesser of air load and limit pilot force.

    A parallelogram: the surface turns as the stick does, and a moment M is a force of M / 400 mm at
    the grip.  A weight at the trailing edge has the arm 200 mm x cos of the deflection.
    """
    card = loads.operation_card(stage(surface=SURFACE.format(slope=slope)))
    row = card[np.isclose(card["position"], 20.0)].iloc[0]
    turned = abs(row["deflection"])
    moment = min(slope * 20.0, 167 * LBF * 400)
    assert turned == pytest.approx(20.0, abs=1e-9)
    assert (abs(row["moment"]), row["from"]) == (pytest.approx(moment, rel=1e-6), source)
    assert row["weight"] == pytest.approx(moment / (200 * math.cos(math.radians(20))), rel=1e-6)
    up = card[card["moment"] < 0]
    assert set(up["how"]) == {"inverted or pulley"}  # the trailing edge has to go up there
    assert set(card[card["moment"] > 0]["how"]) == {"weight"}
    assert (np.sign(card["moment"]) == -np.sign(card["deflection"])).all()


def test_the_pull_at_the_grip():
    """Square to the arm: at 20 degrees it points aft by cos 20, down by sin 20 when aft."""
    card = loads.limit_load_card(stage())
    row = card[(card["case"].str.startswith("pitch aft")) & np.isclose(card["pitch"].abs(), 20.0)]
    assert len(row)
    first = row.iloc[0]
    assert first["force"] == pytest.approx(167 * LBF)
    assert (first["aft"], first["up"]) == pytest.approx(
        (math.cos(math.radians(20)), -math.sin(math.radians(first["pitch"]))))
    assert (first["how"], first["held"]) == ("pulley", "elevator")
    assert "push" in first["worst_for"]


def test_a_lever_that_is_pulled_down_takes_a_weight():
    """A grip straight aft of its pivot moves down: the dead weight is the force itself."""
    system = system_of("""
        [input.pitch]
        travel = [-5, 5]
        [body.lever]
        pivot = [0, 0, 0]
        axis = "lateral"
        input = "pitch"
        points = { grip = [400, 0, 0], arm = [0, 0, -60] }
        [body.horn]
        pivot = [900, 0, 0]
        axis = "lateral"
        points = { p = [900, 0, -60] }
        [rod.push]
        ends = ["lever/arm", "horn/p"]
        [surface.elevator]
        body = "horn"
        """)
    card = loads.limit_load_card(system)
    falls = card[card["how"] == "weight"]
    assert len(falls)
    assert falls["weight"].to_numpy() * -falls["up"].to_numpy() == pytest.approx(
        falls["force"].to_numpy())


def test_the_cards_are_a_chapter():
    text = str(Results(stage(surface=SURFACE.format(slope=1000))).chapter("test-cards"))
    assert "14 CFR 23.681, 1-1-14 edition" in text
    assert "14 CFR 23.683, 1-1-14 edition" in text
    assert "inverted or pulley" in text
    assert "signature" in text


@pytest.mark.parametrize(("limit", "missed"), [(0.05, True), (5.0, False)])
def test_lost_motion_against_the_file(limit, missed):
    """Stretch of the rod by hand: P L / (E A) over a horn of 60 mm, at neutral 1 : 1."""
    system = stage(rod=TUBED, surface=f"lost_motion = {limit}")
    steel = system.model.material("4130 normalized")
    pull = 167 * LBF * 400 / 60
    stretch = pull * 900 / (steel.modulus * math.pi / 4 * (12**2 - 10**2))
    neutral = math.degrees(stretch / 60)
    verdict = Results(system, only=("loads",)).verdict
    found = [miss for miss in verdict.missed if miss.kind == "lost motion"]
    assert bool(found) == missed
    if missed:
        assert float(found[0].how_much.split("°")[0].split()[-1]) >= round(neutral, 2)
    assert not any("lost motion of elevator: no limit" in words for words in verdict.unknown)


def test_free_play_against_the_file():
    """1 mm in the rod end at a horn of 60 mm is 1 / 60 radian; with none given it is not judged."""
    system = stage(rod="play = 1.0", surface="free_play = 0.5")
    found = [m for m in Results(system, only=("loads",)).verdict.missed if m.kind == "lost motion"]
    two_ends = math.degrees(2 / 60)
    assert found[0].short == pytest.approx(two_ends - 0.5, abs=0.15)
    left = Results(stage(rod="play = 1.0"), only=("loads",)).verdict.unknown
    assert "free play of elevator: no limit in the file" in left
