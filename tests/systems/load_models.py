"""A stage of two levers and one rod, and what columns are made of."""

from pathlib import Path

import linkage
from linkage.model.file import parse_model
from linkage.motion import System

EXAMPLES = sorted([*(Path(__file__).parents[2] / "examples").glob("*.toml"),
                   *(Path(linkage.__file__).parent / "starters").glob("*.toml")])

IN = 25.4


def system_of(text):
    return System(parse_model(f'length = "mm"\n{text}'))

STAGE = """
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ grip = [0, 0, 400], arm = [0, 0, -60] }}
{stick}
[body.horn]
pivot = [900, 0, 0]
axis = "lateral"
points = {{ p = [900, 0, -60] }}
{horn}
[rod.push]
ends = ["stick/arm", "horn/p"]
{rod}
[surface.elevator]
body = "horn"
{surface}
"""


def stage(stick="", horn="", rod="", surface=""):
    """A parallelogram: stick arm and horn 60 mm, grip at 400 mm."""
    return system_of(STAGE.format(stick=stick, horn=horn, rod=rod, surface=surface))


# --- lost motion and friction ---------------------------------------------------------------------

TUBED = 'diameter = 12\nwall = 1\nmaterial = "4130 normalized"'
