"""Sticks with springs on them: one lever, and a stage of stick, rod and horn."""

from .load_models import system_of

LEVER = """
[input.pitch]
travel = [{travel}]
{pitch}
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
{stick}
points = {{ grip = [0, 0, 400], hook = [0, 0, 100], off = [30, 40, 80] }}
[airframe]
points = {{ below = [0, 0, -150], above = [0, 0, 300], aside = [260, 90, 20], aft = [200, 0, 100] }}
"""


def lever(extra="", stick="", pitch="", travel="-20, 20"):
    """A stick of 400 mm, and places to hang springs on."""
    return system_of(LEVER.format(stick=stick, pitch=pitch, travel=travel) + extra)
