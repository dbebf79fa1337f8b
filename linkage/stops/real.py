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
from .cover import DEPTH, Cells
from .faces import first_contacts, meeting, stage_with
from .witness import touching

if TYPE_CHECKING:
    from ..model.parts import Tolerance

FINE = 0.05  # degrees (mm) of a cell on the edge of the cover that is not halved any more
MOST = 4000  # cells of one cover after which its edge is left as coarse as it is
PLAIN = 0.55  # of the gap's change over a cell: a greater gap that proves nothing has other reasons
WALLS = tuple(FINE / 4 * 2.0**k for k in range(9))  # degrees (mm) past contact, to be tried
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
        ``{input: degrees (mm)}``: widest cell along it that is kept though a stop of that input is
        not decided there, 0 where nothing bounds the cover but the wanted travel.  Where the
        overlap deepens slowly a few of them lie one behind another, so that the cover is larger
        than the truth by more than one.
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


@dataclass(frozen=True)
class _Known:
    """What is known of cells.

    Attributes
    ----------
    free : ndarray of bool (n, stops)
        Which stops are proven not to touch all over each.
    dropped, hopeful : ndarray of bool (n,)
        Whether it is left out, and whether smaller cells in it soon will be.
    worth : ndarray of bool (n, inputs)
        Along which inputs it is worth halving.
    """

    free: np.ndarray
    dropped: np.ndarray
    hopeful: np.ndarray
    worth: np.ndarray

    def of(self, some) -> _Known:
        return _Known(self.free[some], self.dropped[some], self.hopeful[some], self.worth[some])

    def with_more(self, other) -> _Known:
        return _Known(*(np.concatenate([getattr(k, name) for k in (self, other)])
                        for name in ("free", "dropped", "hopeful", "worth")))


class _Cover:
    """The cover of the inputs of one group."""

    def __init__(self, system, box, made, tolerances):
        self.system, self.names, self.made = system, tuple(box), made
        self.box, self.tolerances = np.array(list(box.values())), tolerances
        self.needs = np.array([[name in m.pair.inputs for name in box] for m in made],
                              dtype=bool).reshape(len(made), len(box))
        self.own = np.array([self.names.index(m.stop.input) for m in made], dtype=int)
        self.stage = stage_with(scene_of(system), [(m.pair, m.solid(m.thickness)) for m in made])
        self.widest = np.zeros(len(box))

    def worked(self) -> Cells:
        """Cells kept: halved where not decided, until fine enough or too many."""
        cells, out, settled = self._walled()
        if settled.all():
            return cells
        while (wide := cells.widths > FIRST).any():
            cells = cells.halved(wide)[0]
        coarse = ALWAYS if self.tolerances is None else ALWAYS_BUILT
        neutral = np.zeros(len(self.names))
        known = self._looked_at(cells, np.tile(settled, (len(cells.low), 1)))
        while True:
            out = out.with_more(cells.picked(known.dropped))
            kept = np.flatnonzero(~known.dropped)
            kept = kept[cells.picked(kept).joined(neutral)]
            cells, known = cells.picked(kept), known.of(kept)
            undecided = self._measure(cells, known)
            edge = known.hopeful | cells.meeting(out.with_more(cells.picked(known.hopeful)))
            along = known.worth & (cells.widths > np.where(edge[:, None], FINE, coarse))
            if not along.any() or len(cells.low) + along.any(axis=1).sum() > MOST:
                np.maximum.at(self.widest, self.own, undecided)
                return cells
            whole = ~along.any(axis=1)
            parts, parent = cells.picked(~whole).halved(along[~whole])
            cells, known = cells.picked(whole).with_more(parts), known.of(whole).with_more(
                self._looked_at(parts, known.free[~whole][parent]))

    def _walled(self):
        """The cell about neutral up to walls just past the contacts of stops of one input each.

        A wall is a thin cell in which such a stop is proven to touch, whatever the other inputs:
        nothing beyond it hangs together with neutral.

        Returns
        -------
        (Cells, Cells, ndarray of bool (stops,))
            The cell, the walls, and which stops need not be asked about in it: they are met at a
            wall so near that no finer cells are wanted, or beyond one.
        """
        whole = Cells.of(self.box)
        walls, of = self._walls(whole)
        if not of.size:
            return whole, walls, np.zeros(len(self.made), bool)
        low, high = walls.ends()
        along = np.eye(len(self.names), dtype=bool)[self.own[of]]
        centres, halves = (low + high) / 2, (high - low) / 2 * (1 + 1e-14) + 1e-15 * np.abs(high)
        past = self._decided(of, *(np.where(along, k, 0.0) for k in (centres, halves)))[1]
        walls, of = walls.picked(past), of[past]
        cell, settled = Cells.of(self.box), np.zeros(len(self.made), bool)
        ends, contacts = {}, first_contacts(self.system)
        for k in np.lexsort((np.abs(centres[past, self.own[of]]),)):
            own, last = self.own[of[k]], self.made[of[k]].limit > 0
            if (own, last) not in ends:
                ends[own, last] = (low if last else high)[past][k, own]
                (cell.high if last else cell.low)[0, own] = (walls.low if last else
                                                             walls.high)[k, own]
        for k, m in enumerate(self.made):
            end = ends.get((self.own[k], m.limit > 0))
            if end is None or self.tolerances is not None or self.needs[k].sum() > 1:
                continue
            late = (end - contacts[m.name][0]) * np.sign(m.limit)
            settled[k] = late <= FINE
            if settled[k]:
                self.widest[self.own[k]] = max(self.widest[self.own[k]], late)
        return cell, walls, settled

    def _walls(self, whole):
        """Thin cells at distances past the first contact of each stop of one input, and whose."""
        low, high, of = [], [], []
        unit = 2**DEPTH / (self.box[:, 1] - self.box[:, 0])
        for k, m in enumerate(self.made):
            met = first_contacts(self.system).get(m.name, (np.nan, np.nan))[1]
            if self.needs[k].sum() > 1 or not np.isfinite(met):
                continue
            own, sense = self.own[k], int(np.sign(m.limit))
            for far in WALLS:
                near = round((met + sense * far - self.box[own, 0]) * unit[own])
                ends = sorted((near, near + sense * max(1, round(WALLS[0] * unit[own]))))
                if ends[0] >= 0 and ends[1] <= 2**DEPTH:
                    low.append(whole.low[0].copy())
                    high.append(whole.high[0].copy())
                    low[-1][own], high[-1][own] = ends
                    of.append(k)
        shape = -1, len(self.names)
        return Cells(self.box, np.array(low, dtype=np.int64).reshape(shape),
                     np.array(high, dtype=np.int64).reshape(shape)), np.array(of, dtype=int)

    def _measure(self, cells, known):
        """How wide along its own input the widest cell is in which each stop is not decided."""
        return np.where(known.free, 0.0, cells.widths[:, self.own]).max(axis=0, initial=0.0)

    def _looked_at(self, cells, free) -> _Known:
        """What is known of cells in which some stops are known to be free."""
        low, high = cells.ends()
        asked, of, back, first = [], [], [], 0
        for k, needs in enumerate(self.needs):
            todo = np.flatnonzero(~free[:, k])
            both = np.concatenate([np.where(needs, low[todo], 0.0),
                                   np.where(needs, high[todo], 0.0)], axis=1)
            unique, index = np.unique(both, axis=0, return_inverse=True)
            asked.append(unique)
            of.append(np.full(len(unique), k))
            back.append((todo, index.reshape(-1) + first))
            first += len(unique)
        both, of = np.concatenate(asked), np.concatenate(of)
        one, other = both[:, :len(self.names)], both[:, len(self.names):]
        open_, past, hopeful, worth = self._decided(
            of, (one + other) / 2, (other - one) / 2 * (1 + 1e-14) + 1e-15 * np.abs(other))
        known = _Known(free.copy(), *np.zeros((2, len(low)), bool),
                       np.zeros((len(low), len(self.names)), bool))
        for k, (todo, index) in enumerate(back):
            known.free[todo, k] = ~open_[index]
            known.dropped[todo] |= past[index]
            known.hopeful[todo] |= hopeful[index]
            known.worth[todo] |= worth[index] & open_[index, None]
        return known

    def _decided(self, of, centres, halves):
        """Whether each stop may touch in its cell, surely does (or is cut off), and does midway.

        And along which inputs to halve it.
        """
        stage = self.stage
        which = np.flatnonzero(~stage.rough)
        cell, which = (k.ravel() for k in np.meshgrid(np.arange(len(of)), which, indexing="ij"))
        mine = stage.pair_index[which] == of[cell]
        which, cell = which[mine], cell[mine]
        cells = self.names, centres, halves
        found = touching(stage, (which, cell), cells, self.tolerances)
        sure, gap = found.sure, found.gap
        open_, past, midway = np.zeros((3, len(of)), bool)
        some = np.flatnonzero((gap < 0) & ~sure)
        if self.tolerances is not None:
            some = some[touching(stage, (which[some], cell[some]),
                                 (self.names, centres, 0 * halves), self.tolerances).sure]
        midway[cell[some]] = True
        past[cell[sure]] = True
        open_[cell[gap <= 0]] = True
        rest = np.flatnonzero(~(gap <= 0) & ~open_[cell])
        low = bounds(stage, (which[rest], cell[rest]), cells, self.tolerances,
                     np.zeros(len(rest)))[1]
        open_[cell[rest[~(low > 0)]]] = True
        past[cell[rest[np.isnan(low)]]] = True  # no rod reaches there
        return open_, past, midway, self._worth(of, cells, (which, cell), found)

    def _worth(self, of, cells, items, found):
        """Inputs along which each cell is worth halving: (n, inputs) of bool.

        Its stop's own, and any along which the gap changes as much as along that; all of those
        that it depends on where no such change tells why the cell is not decided.  A guess
        of what helps: whatever is halved, the cover holds.
        """
        (which, cell), (_, centres, halves) = items, cells
        order = np.lexsort((np.where(np.isnan(found.gap), np.inf, found.gap), cell))
        near = order[np.flatnonzero(np.diff(cell[order], prepend=-1))]
        change = np.zeros(halves.shape)
        for i in range(halves.shape[1]):
            seen = []
            for share in (-1.0, 0.0, 1.0):
                at = centres.copy()
                at[:, i] += share * halves[:, i]
                seen.append(self._apart(which[near], found.way[:, near], at))
            change[:, i] = np.ptp(seen, axis=0)
        own = np.take_along_axis(change, self.own[of][:, None], axis=1)
        plain = np.abs(found.gap[near]) <= PLAIN * change.sum(axis=1)  # False out of reach
        return self.needs[of] & ((change >= own) | ~plain[:, None])

    def _apart(self, which, way, places):
        """How far piece pairs are apart along directions, each at a place of its own, mm."""
        motion = self.stage.system.sweep(**{n: places[:, i] for i, n in enumerate(self.names)})
        posture, found = motion.flat_posture(), np.empty(len(which))
        for here, _ in self.stage.by_corners(which):
            one, other = (np.einsum("ckm,cm->km", hull, way[:, here]) for hull in
                          self.stage.hulls(posture, which[here], here))
            found[here] = other.min(axis=0) - one.max(axis=0)
        return found

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
