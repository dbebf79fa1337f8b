"""The travel that the stops really leave: every stick position that can be reached, and few more.

Stick positions are covered by cells.  A cell is left out when the faces of one stop are proven to
touch all over it, in every build in question; of the others only those are kept that hang together
with neutral's, since the faces of a stop can pass through each other and part again far beyond.
Cells that are not decided are halved, so that the cover is a little larger than the truth, never
smaller.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import Travel, scene_of
from ..clearances.cell_bounds import bounds
from ..errors import LinkageError
from ..motion import System
from .cover import Cells
from .faces import meeting, stage_with
from .witness import touching

if TYPE_CHECKING:
    from ..model.parts import Tolerance

FINE = 0.05  # degrees (mm) of a cell on the edge of the cover that is not halved any more
MOST = 4000  # cells of one cover after which its edge is left as coarse as it is
FIRST = 8.0  # degrees (mm) of the cells that are looked at first
# degrees (mm) of a cell that is halved though nothing near it is past contact; as built some builds
# touch and others do not in a wide band, where halving decides nothing
ALWAYS, ALWAYS_BUILT = 0.25, 1.0


@dataclass(frozen=True)
class MissedStop:
    """An end of the travel at which the stick gets past every stop.

    Attributes
    ----------
    input, side : str
    stops : tuple of str
        The stops of that end.
    place : dict
        ``{input: degrees (mm)}``: where the cover reaches the limit of the search.
    gap : float
        Least gap of those stops' faces there, mm; above 0 they surely miss each other.
    """

    input: str
    side: str
    stops: tuple[str, ...]
    place: dict
    gap: float


@dataclass(frozen=True, eq=False)
class RealTravel:
    """The stick positions that the stops leave, as cells that hold every one.

    Attributes
    ----------
    travel : Travel
        The cells, over every input that drives something.
    fine : dict
        ``{input: degrees (mm)}``: widest cell that is kept undecided, 0 where nothing bounds the
        cover but the wanted travel.  Where the overlap deepens slowly a few of them lie one
        behind another, so that the cover is larger than the truth by more than one.
    ends_without_stop : tuple of (str, str)
        ``(input, "least" or "greatest")`` that have no stop, where the wanted travel stands.
    missed_stops : tuple of MissedStop
    """

    travel: Travel
    fine: dict
    ends_without_stop: tuple[tuple[str, str], ...]
    missed_stops: tuple[MissedStop, ...]

    @property
    def inputs(self) -> tuple[str, ...]:
        """Names of the inputs."""
        return self.travel.names

    @property
    def box(self) -> dict:
        """``{input: (least, greatest)}`` that holds every position."""
        return self.travel.box

    def cells(self, moves) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the cells as seen along some inputs, ``{input}`` or a row of bool."""
        if not isinstance(moves, np.ndarray):
            moves = np.array([name in moves for name in self.inputs])
        return self.travel.seen_along(moves)

    def contains(self, positions) -> np.ndarray:
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


def judged_travel(system: System) -> Travel:
    """The cells of the same; the whole wanted travel where a stop leaves none at all."""
    try:
        return real_travel(system).travel
    except LinkageError:
        return Travel.of_box(system.travel_box())


def _worked_out(system, tolerances) -> RealTravel:
    made = [meeting(system, name) for name in system.model.stops]
    for m in made:
        m.check_neutral(m.thickness)
    box = _searched(system, made)
    covers, fine, missed = [], dict.fromkeys(box, 0.0), []
    for names, stops in _groups(box, made):
        cover = _Cover(system, {name: box[name] for name in names}, stops, tolerances)
        cells = cover.worked()
        covers.append((names, cells.merged()))
        fine |= cover.fine()
        missed += cover.missed(cells)
    stopped = {(m.stop.input, m.stop.side) for m in made}
    return RealTravel(_product(tuple(box), covers), fine,
                      tuple((name, side) for name in box for side in ("least", "greatest")
                            if (name, side) not in stopped), tuple(missed))


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
        tied = [g for g in groups if g[0] & ({m.stop.input, *m.pair.inputs} & set(box))]
        groups = [g for g in groups if g not in tied]
        groups.append((set().union(*(g[0] for g in tied)), [*(s for g in tied for s in g[1]), m]))
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


class _Cover:
    """The cover of the inputs of one group."""

    def __init__(self, system, box, made, tolerances):
        self.system, self.names, self.made = system, tuple(box), made
        self.box, self.tolerances = np.array(list(box.values())), tolerances
        self.needs = np.array([[name in m.pair.inputs for name in box] for m in made],
                              dtype=bool).reshape(len(made), len(box))
        self.stage = stage_with(scene_of(system), [(m.pair, m.solid(m.thickness)) for m in made])
        self.widest = np.zeros(len(box))

    def worked(self) -> Cells:
        """Cells kept: halved where not decided, until fine enough or too many."""
        cells = Cells.of(self.box)
        free = np.zeros((1, len(self.made)), bool)
        if not self.made:
            return cells
        while True:
            wide = cells.widths > FIRST
            if not wide.any():
                break
            cells, parent = cells.halved(wide)
            free = free[parent]
        coarse = ALWAYS if self.tolerances is None else ALWAYS_BUILT
        neutral, out = np.zeros(len(self.names)), cells.picked(slice(0, 0))
        while True:
            free, dropped, hopeful = self._looked_at(cells, free)
            out = out.with_more(cells.picked(dropped))
            kept = np.flatnonzero(~dropped)
            kept = kept[cells.picked(kept).joined(neutral)]
            cells, free, hopeful = cells.picked(kept), free[kept], hopeful[kept]
            open_ = np.array([self.needs[~row].any(axis=0) for row in free])
            edge = hopeful | cells.meeting(out.with_more(cells.picked(hopeful)))
            self.widest = np.where(open_, cells.widths, 0.0).max(axis=0, initial=0.0)
            along = open_ & (cells.widths > np.where(edge[:, None], FINE, coarse))
            if not along.any() or len(cells.low) + along.any(axis=1).sum() > MOST:
                return cells
            cells, parent = cells.halved(along)
            free = free[parent]

    def _looked_at(self, cells, free):
        """Which stops are proven free all over each cell, which cells are left out, and nearly."""
        low, high = cells.ends()
        asked, cell_of, first = [], [], 0
        back = []
        for k, needs in enumerate(self.needs):
            todo = np.flatnonzero(~free[:, k])
            both = np.concatenate([np.where(needs, low[todo], 0.0),
                                   np.where(needs, high[todo], 0.0)], axis=1)
            unique, index = np.unique(both, axis=0, return_inverse=True)
            asked.append(unique)
            cell_of.append(np.full(len(unique), k))
            back.append((todo, index.reshape(-1) + first))
            first += len(unique)
        both, of = np.concatenate(asked), np.concatenate(cell_of)
        one, other = both[:, :len(self.names)], both[:, len(self.names):]
        open_, past, hopeful = self._decided(of, (one + other) / 2,
                                    (other - one) / 2 * (1 + 1e-14) + 1e-15 * np.abs(other))
        free, dropped, near = free.copy(), *np.zeros((2, len(low)), bool)
        for k, (todo, index) in enumerate(back):
            free[todo, k] = ~open_[index]
            dropped[todo] |= past[index]
            near[todo] |= hopeful[index]
        return free, dropped, near

    def _decided(self, of, centres, halves):
        """Whether each stop may touch in its cell, surely does (or is cut off), and does midway."""
        stage = self.stage
        which = np.flatnonzero(~stage.rough)
        cell, which = (k.ravel() for k in np.meshgrid(np.arange(len(of)), which, indexing="ij"))
        mine = stage.pair_index[which] == of[cell]
        which, cell = which[mine], cell[mine]
        cells = self.names, centres, halves
        sure, gap = touching(stage, (which, cell), cells, self.tolerances)
        open_, past, midway = np.zeros((3, len(of)), bool)
        some = np.flatnonzero((gap < 0) & ~sure)
        at = touching(stage, (which[some], cell[some]), (self.names, centres, 0 * halves),
                      self.tolerances)[0]
        midway[cell[some[at]]] = True
        past[cell[sure]] = True
        open_[cell[gap <= 0]] = True
        rest = np.flatnonzero(~(gap <= 0) & ~open_[cell])
        low = bounds(stage, (which[rest], cell[rest]), cells, self.tolerances,
                     np.zeros(len(rest)))[1]
        open_[cell[rest[~(low > 0)]]] = True
        past[cell[rest[np.isnan(low)]]] = True  # no rod reaches there
        return open_, past, midway

    def fine(self) -> dict:
        """Widest cell not decided along each input, degrees (mm)."""
        return dict(zip(self.names, self.widest.tolist(), strict=True))

    def missed(self, cells) -> list[MissedStop]:
        """Ends with a stop at which the cover reaches the limit of the search."""
        found = []
        low, high = cells.ends()
        for end in dict.fromkeys((m.stop.input, m.stop.side) for m in self.made):
            stops = [m for m in self.made if (m.stop.input, m.stop.side) == end]
            k, last = self.names.index(end[0]), int(end[1] == "greatest")
            at = np.flatnonzero((high if last else low)[:, k] == self.box[k, last])
            if at.size:
                places = (low[at] + high[at]) / 2
                places[:, k] = self.box[k, last]
                gap = np.min([self._gaps(m, places) for m in stops], axis=0)
                best = int(np.nanargmax(gap)) if np.isfinite(gap).any() else 0
                found.append(MissedStop(*end, tuple(m.name for m in stops),
                                        dict(zip(self.names, places[best].tolist(), strict=True)),
                                        float(gap[best])))
        return found

    def _gaps(self, made, places):
        return made.gap_at({n: places[:, i] for i, n in enumerate(self.names)}, made.thickness)
