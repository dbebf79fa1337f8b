"""Advice and what is not checked: grips however drawn, links without load, ends of the sequence."""

from pathlib import Path

import pandas as pd
import pytest

import linkage
from linkage.model.file import parse_model
from linkage.motion import System
from linkage.results import Results
from linkage.results.questions import clamps_apart
from linkage.results.sequence import rigging_sequence
from linkage.rigging import grip_table
from linkage.rigging.loops import length_needed

EXAMPLES = Path(__file__).parents[1] / "examples"
GRIP = """
length = "mm"
[input.pitch]
travel = [-10, 18]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400] }
solid.shaft = { kind = "tube", along = [ALONG], diameter = 25.4 }
[body.stick.grip]
along = [[0, 0, 300], "grip"]
bore = BORE
"""


@pytest.mark.parametrize("along", [
    "[0, 0, 0], [0, 0, 300]", "[0, 0, 300], [0, 0, 0]", "[0, 0, 0], [0, 0, 400]",
    "[0, 0, 400], [0, 0, 0]", "[0, 0, 10], [0, 0, 350]", "[0.5, 0, 10], [0.5, 0, 350]"])
@pytest.mark.parametrize(("bore", "ok"), [(20, False), (25.4, True)])
def test_a_shaft_is_the_grips_however_its_tube_is_drawn(along, bore, ok):
    """A 25.4 mm shaft goes into no 20 mm bore, to the grip's foot or up inside it."""
    text = GRIP.replace("ALONG", along).replace("BORE", str(bore))
    row = grip_table(System(parse_model(text))).iloc[0]
    assert (row["shaft"], bool(row["ok"])) == (25.4, ok)


@pytest.mark.parametrize("along", ["[0, 0, 300], [0, 0, 400]", "[0, 40, 0], [0, 40, 300]"])
def test_no_shaft_is_said_as_not_checked(along):
    """The grip's own solid, or a tube beside it, is no shaft: nothing is judged, and it says so."""
    text = GRIP.replace("ALONG", along).replace("BORE", "20")
    verdict = Results(System(parse_model(text)), only=("wires",)).verdict
    assert any(left.startswith("grip of stick: no bore, or no shaft")
               for left in verdict.not_looked_at)
    assert not any("grip" in met for met in verdict.met)


def _stops(system, angle, governs):
    return pd.DataFrame([{"stop": name, "input": stop.input, "governs": governs,
                          "angle": angle if stop.side == "greatest" else -angle}
                         for name, stop in system.model.stops.items()])


@pytest.mark.parametrize("governs", [True, False])
def test_no_end_is_asked_for_past_a_stop(governs):
    """A stop that meets before the wanted travel ends the step there, whether it governs or not."""
    system = System(linkage.read_model(EXAMPLES / "side_by_side.toml"))
    steps = rigging_sequence(system, _stops(system, 3.0, governs))["do"]
    ends = [step for step in steps if "; read " in step]
    stopped = {(stop.input, stop.side) for stop in system.model.stops.values()}
    assert len({step.split(";")[0] for step in ends if "3.0°" in step}) == len(stopped)
    for step in ends:
        assert ("against" in step) == ("3.0°" in step)


def test_no_position_is_asked_for_twice_and_none_is_neutral():
    """A travel that begins at neutral is read with the stick pinned, and not again."""
    text = (EXAMPLES / "side_by_side.toml").read_text(encoding="utf-8")
    ends = []
    for travel in ("[-21, 21]", "[0, 21]"):
        assert "travel = [-21, 21]" in text
        system = System(parse_model(text.replace("travel = [-21, 21]", f"travel = {travel}")))
        ends.append([step for step in rigging_sequence(system)["do"] if "; read " in step])
        assert len(set(ends[-1])) == len(ends[-1])
        assert not any("neutral," in step for step in ends[-1])
    assert [step for step in ends[0] if "21.0° left" not in step] == ends[1] != ends[0]


@pytest.mark.parametrize(("least", "bend", "told"), [(64, 40, True), (80, 40, False)])
def test_clamps_too_near_for_any_but_a_wide_loop_are_to_be_moved(least, bend, told):
    """By hand: 64 mm apart, radius 40: a = asin(32 / 40), the arcs 80 a = 74.2, less than
    79, and 80 (pi - a) = 177.1."""
    needed = length_needed((least, least), 15.0, bend)
    assert needed == pytest.approx(177.14, abs=0.01) if told else needed == least + 15
    row = {"least": least, "greatest": least, "bend_limit": bend, "needed": needed}
    assert ("move the clamps apart" in clamps_apart(row, "mm")) == told
