"""How a plate is held on a hub or tube: by a weld, or by bolts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import LinkageError, mm
from .keys import Either, Flag, Length, ListOf, Number, Text, key
from .shapes import SIZE, Part

PLATES = Either((Text(), ListOf(Text(), 1, None, "list of plates")))
SPOT = ListOf(Length(), 2, 2, "pair [u, v]")
FLAT = 1e-6  # mm⁴ over mm⁴: welds that lie on one straight line hold nothing about it
FILLET = 0.7071  # throat over leg of a fillet of equal legs


@dataclass(frozen=True, kw_only=True)
class Fixing(Part):
    """What holds plates, each by itself: all that their rods put on them goes through it."""

    plate: str | tuple = key(PLATES, "the plate it holds, body/solid; or a list of such, all alike")

    @property
    def plates(self) -> tuple[str, ...]:
        """What it holds, body/solid each."""
        return (self.plate,) if isinstance(self.plate, str) else self.plate


@dataclass(frozen=True, kw_only=True)
class Weld(Fixing):
    """Fillet welds of a plate to its hub or tube, round the axis or along lines."""

    leg: float | None = key(SIZE, "leg of the fillet; its throat is 0.707 of it", default=None)
    throat: float | None = key(SIZE, "its throat, where it is no fillet of equal legs",
                               default=None)
    round: float | None = key(SIZE, "diameter it runs all round, about the body's axis",
                              default=None)
    lines: tuple = key(ListOf(ListOf(SPOT, 2, 2, "pair of ends")), "straight welds, each the two "
                       "ends [u, v] in the plate's own plane", default=())
    both: bool = key(Flag(), "true where it is on both faces of the plate", default=False)
    material: str | None = key(Text(), "material of the weld itself, whose ultimate shear stress "
                               "its throat is held to", default=None)
    beside: float | None = key(Number(above=0.0, what="share"), "share of its strength that what "
                               "is welded keeps beside the weld, 1 at most", default=None)

    @property
    def depth(self) -> float:
        """Throat of one face, mm."""
        return self.throat if self.throat is not None else FILLET * self.leg

    def _check(self):
        if (self.leg is None) == (self.throat is None):
            raise LinkageError("needs one of leg and throat: what the weld is thick")
        if (self.round is None) == (not self.lines):
            raise LinkageError("needs one of round and lines: where the weld runs")
        if self.beside is not None and not self.beside <= 1:
            raise LinkageError(f"has beside {self.beside:g}; what is welded keeps at most 1, all, "
                               f"of its strength")
        if self.lines:
            spread = line_spread(self.lines)[2]
            if not np.linalg.eigvalsh(spread)[0] > FLAT * np.trace(spread):
                raise LinkageError("lies on one straight line, about which it holds no moment; "
                                   "add a line beside it")


def line_spread(lines: tuple) -> tuple[float, np.ndarray, np.ndarray]:
    """Length of straight lines, their middle (2,), and the integral of r r about it (2, 2)."""
    ends = np.array(lines, dtype=float)
    ways = ends[:, 1] - ends[:, 0]
    lengths, middles = np.linalg.norm(ways, axis=1), ends.mean(axis=1)
    if not lengths.min() > 0:
        raise LinkageError("has a line whose two ends are one place; move one of them")
    centre = lengths @ middles / lengths.sum()
    off = middles - centre
    spread = np.einsum("k,ki,kj->ij", lengths, ways, ways) / 12 + np.einsum(
        "k,ki,kj->ij", lengths, off, off)
    return float(lengths.sum()), centre, spread


@dataclass(frozen=True, kw_only=True)
class Bolting(Fixing):
    """Bolts of a plate: on a circle along the body's axis, or across its tube."""

    bolt: float = key(SIZE, "diameter of each bolt")
    count: float = key(Number(least=1, what="count"), "how many")
    circle: float | None = key(SIZE, "diameter of the circle about the axis they stand on, evenly, "
                                     "along the axis", default=None)
    across: bool = key(Flag(), "true where each goes through hub and tube, across the axis",
                       default=False)
    root: float | None = key(SIZE, "diameter at the root of their thread; 0.75 of the bolt unless "
                                   "given", default=None)
    material: str | None = key(Text(), "material of the bolts", default=None)
    sleeve: float | None = key(SIZE, "wall of the hub about the tube, of bolts across it; its "
                                     "material is the plate's", default=None)

    @property
    def least(self) -> float:
        """Diameter that takes tension, mm."""
        return self.root if self.root is not None else 0.75 * self.bolt

    def _check(self):
        if self.count != int(self.count):
            raise LinkageError(f"has count {self.count:g}; give a whole number of bolts")
        if (self.circle is None) != self.across:
            raise LinkageError("needs one of circle and across = true: where the bolts stand")
        if self.circle is not None:
            self._check_circle()
        if self.sleeve is not None and not self.across:
            raise LinkageError(f"has a sleeve of {mm(self.sleeve)} and bolts on a circle; a sleeve "
                               f"goes with across = true")
        if self.root is not None and not self.root <= self.bolt:
            raise LinkageError(f"has a root of {mm(self.root)} in a bolt of {mm(self.bolt)}; make "
                               f"it smaller")

    def _check_circle(self):
        """Refuse a circle on which bolts hold no moment, or stand in each other."""
        if self.count < 3:
            raise LinkageError(f"has {self.count:g} on a circle, which tilts about the line they "
                               f"stand on; use 3 or more")
        if not self.circle * np.sin(np.pi / self.count) > self.bolt:
            raise LinkageError(f"has bolts of {mm(self.bolt)} on a circle of {mm(self.circle)}; "
                               f"make the circle larger")
