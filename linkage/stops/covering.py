"""Cells of travel that hold every stick position some stops leave, and few more.

What a wall or a cell is left out for is proven; what is halved, and in which order, is a guess.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..clearances import scene_of
from ..clearances.cell_bounds import bounds
from ..clearances.mesh_cover import leading_items, meshes_apart
from ..geometry.closest import clear_space
from .cover import DEPTH, Cells
from .faces import first_contacts, stage_with
from .witness import touching

if TYPE_CHECKING:
    from ..model.parts import Tolerance
    from ..motion import System
    from .faces import Meeting

FINE = 0.05  # degrees (mm) of a cell on the edge of the cover that is not halved any more
MOST = 4000  # cells of one cover after which its edge is left as coarse as it is
PLAIN = 0.55  # of the gap's change over a cell: a greater gap that proves nothing has other reasons
WALLS = tuple(FINE / 4 * 2.0**k for k in range(9))  # degrees (mm) past contact, to be tried
ACROSS = 2.0  # degrees (mm) of the cells of a wall along the other inputs
BEHIND, NEARER = 8, 9  # cells of either side of neutral in which a stop is asked to be free
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


class Cover:
    """The cover of the inputs of one group; `past` are the cells that it was left by."""

    def __init__(self, system: System, box: dict, made: list[Meeting],
                 tolerances: Tolerance | None):
        self.system, self.names, self.made = system, tuple(box), made
        self.box, self.tolerances = np.array(list(box.values())), tolerances
        self.needs = np.array([[name in m.pair.inputs for name in box] for m in made],
                              dtype=bool).reshape(len(made), len(box))
        self.own = np.array([self.names.index(m.stop.input) for m in made], dtype=int)
        self.stage = stage_with(scene_of(system), [
            (m.pair, m.solid(m.thinnest(tolerances))) for m in made])
        self.widest = np.zeros(len(box))

    def worked(self) -> Cells:
        """Cells kept: halved where not decided, until fine enough or too many."""
        cells, out, settled = self._walled()
        self.past = out
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
            self.past = out
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
        """The cell about neutral up to walls just past the contacts of stops.

        A wall is a thin cell across all other inputs in which a stop is proven to touch: nothing
        beyond it hangs together with neutral.  Stops of one input come first, so that others need
        walls only across what these leave.

        Returns
        -------
        (Cells, Cells, ndarray of bool (stops,))
            The cell, the walls, and which stops need not be asked about in it.
        """
        cell = Cells.of(self.box)
        walls, ended = cell.picked(slice(0, 0)), set()
        single = self.needs.sum(axis=1) == 1
        for some in np.flatnonzero(single), np.flatnonzero(~single):
            for k, *ends in self._proven_walls(cell, some):
                if self._end(k) not in ended:
                    ended.add(self._end(k))
                    own, last = self._end(k)
                    wall = Cells(self.box, cell.low.copy(), cell.high.copy())
                    wall.low[0, own], wall.high[0, own] = ends
                    walls = walls.with_more(wall)
                    (cell.high if last else cell.low)[0, own] = ends[0 if last else 1]
        drawn = self.tolerances is None
        return cell, walls, self._settled(cell, [
            k for k in range(len(self.made)) if drawn and self._end(k) in ended
            and np.isfinite(self._contact(k)[1])])

    def _end(self, k):
        """Own input of a stop, and whether it ends that at the greatest."""
        return self.own[k], self.made[k].limit > 0

    def _contact(self, k):
        """Own input up to which a stop as drawn is free, and where it is met; NaN if it is not."""
        return first_contacts(self.system).get(self.made[k].name, (np.nan, np.nan))

    def _proven_walls(self, cell, some):
        """Walls across a cell past the contacts of some stops: (stop, ends), nearest first."""
        tried = []
        for k in some:
            (own, last), met = self._end(k), self._contact(k)[1]
            if not np.isfinite(met):
                continue
            sense = 1 if last else -1
            unit = 2**DEPTH / (self.box[own, 1] - self.box[own, 0])
            near = np.round((met + sense * np.array(WALLS) - self.box[own, 0]) * unit).astype(int)
            far = near + sense * max(1, round(WALLS[0] * unit))
            tried += [(k, *sorted(ends)) for ends in zip(near, far, strict=True)
                      if min(ends) >= cell.low[0, own] and max(ends) <= cell.high[0, own]]
        span = (self.box[:, 1] - self.box[:, 0]) / 2**DEPTH
        of, whose, *boxes = self._across(cell, [
            (k, *(self.box[self.own[k], 0] + np.array(ends) * span[self.own[k]]))
            for k, *ends in tried])
        past = np.ones(len(tried), bool)
        past[whose[~self._decided(of, *boxes)[1]]] = False
        return sorted((tried[n] for n in np.flatnonzero(past)),
                      key=lambda wall: abs((wall[1] - 2**DEPTH / 2) * span[self.own[wall[0]]]
                                           + self.box[self.own[wall[0]]].mean()))

    def _settled(self, cell, some):
        """Which of some stops need not be asked about in a cell that ends at walls.

        They are met at a wall so near that no finer cells are wanted, or beyond one, and are
        proven free in all the rest of the cell.
        """
        settled, late, asked = np.zeros(len(self.made), bool), np.zeros(len(self.made)), []
        low, high = (ends[0] for ends in cell.ends())
        for k in some:
            own, last = self._end(k)
            end, behind = (high[own], low[own]) if last else (low[own], high[own])
            single = self.needs[k].sum() == 1
            free = self._contact(k)[0] - (0.0 if single else np.sign(end) * WALLS[0])
            late[k] = (end - free) * np.sign(end)
            settled[k] = late[k] <= FINE and free * end > 0
            steps = [behind * np.linspace(0.0, 1.0, BEHIND + 1)]
            if not single:
                free = min(abs(free), abs(end)) * np.sign(end)
                steps.append(np.append(free * (1 - 0.5 ** np.arange(NEARER)), free))
            asked += [(k, *sorted(ends)) for way in steps if settled[k]
                      for ends in itertools.pairwise(way)]
        of, _, *boxes = self._across(cell, asked)
        settled[of[self._decided(of, *boxes)[0]]] = False
        np.maximum.at(self.widest, self.own[settled], late[settled])
        return settled

    def _across(self, cell, asked):
        """Boxes across a cell between ends along the own inputs of stops: [(stop, low, high)].

        Returns
        -------
        (ndarray of int (n,), ndarray of int (n,), ndarray (n, inputs), ndarray (n, inputs))
            The stop of each, of which of `asked` it is a part, and middles and half-widths; as
                        long along another input that the stop depends on as `ACROSS` says.
        """
        low, high = (ends[0] for ends in cell.ends())
        of, whose, boxes = [], [], []
        for n, (k, *ends) in enumerate(asked):
            sides = []
            for i, needed in enumerate(self.needs[k]):
                count = max(1, int(np.ceil((high[i] - low[i]) / ACROSS)))
                steps = ends if i == self.own[k] else np.linspace(low[i], high[i], count + 1)
                sides.append(list(itertools.pairwise(steps)) if needed else [(0.0, 0.0)])
            boxes += itertools.product(*sides)
            of += [k] * (len(boxes) - len(of))
            whose += [n] * (len(boxes) - len(whose))
        boxes = np.array(boxes, dtype=float).reshape(-1, len(self.names), 2)
        return (np.array(of, dtype=int), np.array(whose, dtype=int),
                *_middles(boxes[..., 0], boxes[..., 1]))

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
        open_, past, hopeful, worth = self._decided(of, *_middles(one, other))
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
        if not len(of):
            return *np.zeros((3, 0), bool), np.zeros((0, len(self.names)), bool)
        stage = self.stage
        which, cell = self._items(of, centres)
        cells = self.names, centres, halves
        contact = touching(stage, (which, cell), cells, self.tolerances)
        sure, gap = contact.sure, contact.gap
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
        if stage.trees is not None:
            todo = np.flatnonzero(stage.trees.of_pair[of] & ~open_)
            open_[todo] = ~meshes_apart(stage, of[todo], (self.names, centres[todo], halves[todo]),
                                        self.tolerances)
        return open_, past, midway, self._worth(of, cells, (which, cell), contact)

    def _items(self, of, centres):
        """Piece pairs of the stop of each cell: all, or of a mesh those nearest at its middle."""
        stage, meshes = self.stage, np.zeros(len(of), bool)
        which = np.flatnonzero(~stage.rough[:stage.listed])
        if stage.trees is not None:
            meshes = stage.trees.of_pair[of]
            which = which[~stage.trees.is_mesh(which)]
        cell, which = (k.ravel() for k in np.meshgrid(np.flatnonzero(~meshes), which,
                                                      indexing="ij"))
        mine = stage.pair_index[which] == of[cell]
        which, cell = which[mine], cell[mine]
        if meshes.any():
            here = np.flatnonzero(meshes)
            motion = stage.system.sweep(**{n: centres[here, i] for i, n in enumerate(self.names)})
            back, items = leading_items(stage, of[here], motion.flat_posture())
            which, cell = np.concatenate([which, items]), np.concatenate([cell, here[back]])
        return which, cell

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
        axes = self.stage.axes(motion.flat_posture(), which, np.arange(len(which)))
        return clear_space(*(self.stage.posed(k, pieces) for k, pieces in
                             zip(axes, self.stage.sides[which].T, strict=True)), way)

    def fine(self) -> dict:
        """Widest cell not decided along each input, degrees (mm)."""
        return dict(zip(self.names, self.widest.tolist(), strict=True))

    def missed(self, cells: Cells) -> list[MissedStop]:
        """Ends with a stop at which the cover reaches the limit of the search."""
        stops_missed = []
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
                place = dict(zip(self.names, places[best].tolist(), strict=True))
                stops_missed.append(MissedStop(*end, tuple(m.name for m in stops), place,
                                               float(gap[best])))
        return stops_missed

    def _gaps(self, made, places):
        return made.gap_at({n: places[:, i] for i, n in enumerate(self.names)}, made.thickness)


def _middles(low, high):
    """Middles and half-widths that hold cells, roundings counted."""
    return (low + high) / 2, (high - low) / 2 * (1 + 1e-14) + 1e-15 * np.maximum(np.abs(low),
                                                                               np.abs(high))
