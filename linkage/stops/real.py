"""The travel that the stops really leave: every stick position that can be reached, and few more.

Stick positions are covered by cells.  A cell is left out when the faces of one stop are proven to
touch all over it, in every build in question; of the others only those are kept that hang together
with neutral's, since the faces of a stop can pass through each other and part again far beyond.
Cells that are not decided are halved, so that the cover is a little larger than the truth, never
smaller.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Travel
from ..errors import LinkageError
from ..motion import System
from .covering import Cover, MissedStop
from .faces import meeting

if TYPE_CHECKING:
    from numpy.typing import ArrayLike
    
    from ..model.parts import Tolerance


@dataclass(frozen=True, eq=False)
class RealTravel:
    """The stick positions that the stops leave, as cells that hold every one.

    Attributes
    ----------
    travel : Travel
        The cells, over every input that drives something.
    fine : dict
        ``{input: degrees (mm)}``: widest cell along it that is kept though a stop of that input is
        not decided there, 0 where nothing bounds the cover but the wanted travel.  Where the
        overlap deepens slowly a few of them lie one behind another, so that the cover is larger
        than the truth by more than one.
    ends_without_stop : tuple of (str, str)
        ``(input, "least" or "greatest")`` that have no stop, where the wanted travel stands.
    missed_stops : tuple of MissedStop
    past : tuple of (tuple of str, ndarray (n, inputs), ndarray (n, inputs))
        Of each group of inputs that stops tie together: ends of the cells that are left out.
    """

    travel: Travel
    fine: dict
    ends_without_stop: tuple[tuple[str, str], ...]
    missed_stops: tuple[MissedStop, ...]
    past: tuple = ()

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of the inputs."""
        return self.travel.names

    @property
    def box(self) -> dict:
        """``{input: (least, greatest)}`` that holds every position."""
        return self.travel.box

    def cells(self, moves: np.ndarray | Iterable[str]) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the cells as seen along some inputs, ``{input}`` or a row of bool."""
        if not isinstance(moves, np.ndarray):
            moves = np.array([name in moves for name in self.inputs])
        return self.travel.seen_along(moves)

    def contains(self, positions: ArrayLike) -> np.ndarray:
        """Whether positions (n, inputs) lie in the cover: bool (n,)."""
        return self.travel.holds(np.atleast_2d(np.asarray(positions, dtype=float)),
                                 np.ones(len(self.inputs), bool))


def real_travel(system: System, tolerances: Tolerance | None = None) -> RealTravel:
    """Work out the travel that the stops leave.

    Parameters
    ----------
    system : System
    tolerances : Tolerance, optional
        Build tolerances: a position is then left out only where no build within them reaches it.

    Returns
    -------
    RealTravel

    Raises
    ------
    LinkageError
        When the faces of a stop touch at neutral, or a spacer is thicker than their gap.
    """
    return system.kept(("real travel", tolerances), lambda: _worked_out(system, tolerances))


def judged_box(system: System) -> dict:
    """Ends that hold every stick position the stops leave, where something is searched over them.

    Parameters
    ----------
    system : System

    Returns
    -------
    dict
        ``{input: (least, greatest)}``; the wanted travel where a stop leaves none at all, which
        the search for the stops tells.
    """
    try:
        return real_travel(system).box
    except LinkageError:
        return system.travel_box()


def judged_travel(system: System, tolerances: Tolerance | None = None) -> Travel:
    """The cells of the same; the whole wanted travel where a stop leaves none at all."""
    try:
        return real_travel(system, tolerances).travel
    except LinkageError:
        return Travel.of_box(system.travel_box())


def _worked_out(system, tolerances) -> RealTravel:
    made = [meeting(system, name) for name in system.model.stops]
    for m in made:
        m.check_neutral(m.thickness)
    box = _searched(system, made)
    covers, fine, missed, past = [], dict.fromkeys(box, 0.0), [], []
    for names, stops in _groups(box, made):
        cover = Cover(system, {name: box[name] for name in names}, stops, tolerances)
        cells = cover.worked()
        covers.append((names, cells.merged()))
        fine |= cover.fine()
        missed += cover.missed(cells)
        past.append((names, *cover.past.ends()))
    stopped = {(m.stop.input, m.stop.side) for m in made}
    return RealTravel(_product(tuple(box), covers), fine,
                      tuple((name, side) for name in box for side in ("least", "greatest")
                            if (name, side) not in stopped), tuple(missed), tuple(past))


def _searched(system, made) -> dict:
    """Ends of each input: where its stops are looked for, or the wanted travel."""
    box = {name: [min(low, 0.0), max(high, 0.0)]
           for name, (low, high) in system.travel_box().items()}
    for m in made:
        end = int(m.stop.side == "greatest")
        box[m.stop.input][end] = (max if end else min)(m.limit, box[m.stop.input][end])
    return {name: tuple(ends) for name, ends in box.items()}


def _groups(box, made):
    """Inputs that stops tie together, and the stops of each group."""
    groups = [({name}, []) for name in box]
    for m in made:
        needed = {m.stop.input, *m.pair.inputs} & set(box)
        tied = [group for group in groups if group[0] & needed]
        groups = [group for group in groups if group not in tied]
        names, stops = zip(*tied, strict=True)
        groups.append((set().union(*names), [*itertools.chain(*stops), m]))
    return [(tuple(name for name in box if name in names), stops) for names, stops in groups]


def _product(names, covers) -> Travel:
    """All combinations of the cells of covers of different inputs."""
    low, high = np.zeros((1, 0)), np.zeros((1, 0))
    order = []
    for some, cells in covers:
        one, other = cells.ends()
        low = np.hstack([np.repeat(low, len(one), axis=0), np.tile(one, (len(low), 1))])
        high = np.hstack([np.repeat(high, len(other), axis=0), np.tile(other, (len(high), 1))])
        order += some
    place = [order.index(name) for name in names]
    return Travel(names, low[:, place], high[:, place])
