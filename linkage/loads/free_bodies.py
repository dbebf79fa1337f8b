"""What sections of tubes, shafts and plates ask of the free bodies they are part of."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np

    from ..model import Model
    from ..motion import Posture, System


class FreeBodies(Protocol):
    """What the parts of a system carry for unit loads at n stick positions, as `Statics` has it.

    Attributes
    ----------
    count : int
        n.
    rods : tuple of str
    inner_forces : ndarray (n, loads, rods and couplings)
        N, what rods carry first.
    axes, pivots : dict
        ``{body: (n, 3)}``; pivots in mm.
    reactions : dict
        ``{body: (force, moment)}`` of its carrier at its pivot, (n, loads, 3) N and N mm.
    bearings : dict
        ``{body: (n, loads, bearings, 3)}`` N, of bodies whose bearings the file places.
    beams, shafts, plates : dict
        What is carried along them, as their own files say.
    """

    system: System
    model: Model
    posture: Posture
    count: int
    rods: tuple
    inner_forces: np.ndarray
    axes: dict
    pivots: dict
    reactions: dict
    bearings: dict
    beams: dict
    shafts: dict
    plates: dict

    def pushed(self, body: str, reactions: dict) -> list:
        """All that acts on a body but its carrier: ``[(point, force, moment)]``."""

    def force_at(self, body: str, address: str) -> np.ndarray:
        """Force on a body at one of its hardpoints, (n, loads, 3) N."""

    def way_of(self, body: str, way: np.ndarray) -> np.ndarray:
        """A direction of a body at neutral as it stands at every position, (n, 3)."""
