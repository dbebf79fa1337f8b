"""A proof taken up where an earlier one ended: its cells and planes are tried before any search.

A pair that nothing changed is kept as it was proven.  Of any other pair the earlier cells still
hold all of the travel that the two have in common, so that each has only to be bounded anew by
the plane that closed it; what that plane no longer closes is searched again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..intervals import U
from ..motion import body_of
from .cell_bounds import held_bounds
from .search import Leaves, Proof, Search
from .stage import Stage
from .travel import Travel

if TYPE_CHECKING:
    from .scene import Scene

MOST_PARTS = 200  # of one box, beyond which all of it counts as new
GATHERED = 8  # parts along each input in which what is new is gathered
NEAR_END = 1e-9  # degrees (mm) from an end of the travel within which a cell reaches it


@dataclass(frozen=True, eq=False)
class Earlier:
    """A proof, and what it was of.

    Attributes
    ----------
    stage : Stage
    travel : Travel
    terms : tuple
        Tolerance of the bracket, build tolerances, and limit.
    proof : Proof
    solids : dict
        As `signatures` gives them.
    judged : Travel, optional
        Over which a table of it is judged.
    """

    stage: Stage
    travel: Travel
    terms: tuple
    proof: Proof
    solids: dict
    judged: Travel | None = None

    def __deepcopy__(self, memo):
        return self  # copies of a table share it

    def __reduce__(self):
        return type(None), ()  # another process starts from nothing


def signatures(scene: Scene, names: Iterable[str]) -> dict:
    """All that the motion and the shape of some solids depend on, by name."""
    system, seen = scene.system, {}

    def of_body(body):
        if body not in seen:
            steps = system.plan.only([body]).steps if body in system.model.bodies else ()
            seen[body] = tuple((step, *_sizes(system, step)) for step in steps), _carriers(system,
                                                                                          body)
        return seen[body]

    return {name: (scene.placed(name), tuple(of_body(body) for body in scene.carriers(name)),
                   scene.model.rods[body_of(name)].ends if body_of(name) in scene.model.rods
                   else ()) for name in names}


def _sizes(system, step):
    sizes, rods = system.dimensions, system.model.rods
    names = [end for rod in step.rods for end in rods[rod].ends]
    return (tuple((sizes.places.get(f"{joint}/pivot"), sizes.axes[joint],
                   system.model.bodies[joint].slides) for joint in step.joints),
            tuple(sizes.places[name] for name in names),
            tuple(sizes.lengths[rod] for rod in step.rods))


def _carriers(system, body):
    if body not in system.model.bodies:
        return ()
    return tuple((k, system.dimensions.places.get(f"{k}/pivot"), system.dimensions.axes[k])
                 for k in (body, *system.model.carriers(body)) if k in system.model.bodies)


def resume(search: Search, earlier: Earlier) -> tuple[np.ndarray, tuple | None]:
    """Take up what an earlier proof gives.

    Parameters
    ----------
    search : Search
        Nothing done yet.
    earlier : Earlier

    Returns
    -------
    (ndarray of bool (pairs,), tuple or None)
        Pairs that have to be searched from the start, and open items of the others.
    """
    if list(earlier.travel.names) != search.names or earlier.terms[1] is not None \
            or not earlier.stage.pairs:
        return np.ones(len(search.stage.pairs), bool), None
    pairs, kept, alike = _known(search, earlier)
    cold = pairs < 0
    leaves, k = _mapped(search, earlier, pairs)
    same = kept[k]
    _keep(search, earlier, np.flatnonzero(kept), pairs)
    search.leaves.append(leaves.of(same))
    leaves, added = _extended(search, leaves.of(~same), earlier.travel, cold | kept)
    leaves, of = _shrunk(search, leaves)
    unbounded = ~alike[search.stage.pair_index[leaves.which]] | added[of]
    changed = ~cold & ~kept
    _meet_again(search, earlier, np.flatnonzero(changed), pairs)
    return cold, _tried(search, leaves, unbounded)


def _known(search, earlier):
    """The earlier number of every pair, -1 of none; which are kept, and which have not changed."""
    stage, old = search.stage, earlier.stage
    numbers = {pair.name: k for k, pair in enumerate(old.pairs)}
    found = np.array([numbers.get(pair.name, -1) for pair in stage.pairs], dtype=int)
    found[~_laid_out_alike(stage, old, found)] = -1
    for each, numbers in ((stage, np.arange(len(found))), (old, found)):
        if each.trees is not None:  # what was opened of a mesh is not known in another stage
            found[each.trees.of_pair[numbers]] = -1
    same_travel = search.travel.same_as(earlier.travel)
    changed = _changed(stage, earlier)
    alike = np.array([number >= 0 and not {pair.first, pair.second} & changed
                      and stage.scene.balls(pair) == old.scene.balls(old.pairs[number])
                      for pair, number in zip(stage.pairs, found, strict=True)], dtype=bool)
    terms = (search.tolerance, None, search.limit_beyond) == earlier.terms
    same = np.array([pair == old.pairs[number] for pair, number in
                     zip(stage.pairs, found, strict=True)], dtype=bool)
    return found, alike & same & (terms and same_travel), alike


def _laid_out_alike(stage, old, numbers):
    """Which pairs are of as many pieces, in as many clusters, and moved by the same inputs."""
    sizes, old_sizes = (np.bincount(s.pair_index, minlength=len(s.pairs)) for s in (stage, old))
    rough, old_rough = (np.bincount(s.pair_index, s.rough, len(s.pairs)) for s in (stage, old))
    inputs = np.array([pair.inputs == old.pairs[number].inputs for pair, number in
                       zip(stage.pairs, numbers, strict=True)], dtype=bool)
    return (sizes == old_sizes[numbers]) & (rough == old_rough[numbers]) & inputs


def _changed(stage, earlier) -> set:
    """Solids of the stage that are not what they were."""
    solids = signatures(stage.scene, {name for pair in stage.pairs
                                      for name in (pair.first, pair.second)})
    return {name for name, what in solids.items() if earlier.solids.get(name) != what}


def _mapped(search, earlier, pairs):
    """Earlier leaves of the pairs that are taken up, for this stage, and the pair of each."""
    number = np.full(len(earlier.stage.pairs), -1)
    number[pairs[pairs >= 0]] = np.flatnonzero(pairs >= 0)
    leaves = earlier.proof.leaves
    leaves = leaves.of(number[earlier.stage.pair_index[leaves.which]] >= 0)
    rank, (_, order, first) = earlier.stage.places_among()[0], search.stage.places_among()
    k = number[earlier.stage.pair_index[leaves.which]]
    return Leaves(order[first[k] + rank[leaves.which]], leaves.centres, leaves.halves,
                  leaves.planes, leaves.low), k


def _item(search, earlier, k, pairs):
    """The items that met the earlier least gaps of some pairs."""
    rank, (_, order, first) = earlier.stage.places_among()[0], search.stage.places_among()
    return order[first[k] + rank[earlier.proof.item[pairs[k]]]]


def _keep(search, earlier, kept, pairs):
    new, old = search.proof, earlier.proof
    for name in ("least", "place", "proven"):
        getattr(new, name)[kept] = getattr(old, name)[pairs[kept]]
    met = kept[old.item[pairs[kept]] >= 0]
    new.item[met] = _item(search, earlier, met, pairs)
    for k in kept:
        if int(pairs[k]) in old.open_at:
            new.open_at[int(k)] = old.open_at[int(pairs[k])]


def _meet_again(search, earlier, changed, pairs):
    """Meet the gap of the pieces, and where, it was least before."""
    met = changed[earlier.proof.item[pairs[changed]] >= 0]
    if met.size:
        places = np.clip(earlier.proof.place[pairs[met]], *search.box.T)
        search.meet_at(_item(search, earlier, met, pairs), np.where(search.moves[met], places, 0.0))


def _shrunk(search, leaves):
    """Leaves as far as they lie in the travel, their planes as they stand there; and which."""
    found, kept = [], [np.zeros(0, int)]
    moves = search.moves[search.stage.pair_index[leaves.which]]
    for row in np.unique(moves, axis=0):
        here = np.flatnonzero((moves == row).all(axis=1))
        at, centres, halves = search.travel.shrunk(leaves.centres[here], leaves.halves[here], row)
        kept.append(here[at])
        some = leaves.of(here[at])
        old = np.where(some.halves > 0, some.halves, 1.0)
        planes = some.planes.copy()
        planes[:, 0] += (planes[:, 1:] * ((centres - some.centres) / old)[..., None]).sum(axis=1)
        planes[:, 1:] *= (halves / old)[..., None]
        found.append(Leaves(some.which, centres, halves, planes, some.low))
    return Leaves.joined(found, len(search.names)), np.concatenate(kept)


def _extended(search, leaves, earlier, cold):
    """Leaves that reach out from those at the ends of the earlier box to where the box now ends.

    Of an earlier travel that is no box, what is new is in boxes of its own; pairs that are searched
    `cold` or kept need none.

    Returns
    -------
    (Leaves, ndarray of bool (n,))
        And which of them are new.
    """
    count = len(leaves)
    if search.travel.same_as(earlier):
        return leaves, np.zeros(count, bool)
    if len(earlier.low) > 1:
        leaves = Leaves.joined([leaves, *_in_new_boxes(search, earlier, cold)], len(search.names))
        return leaves, np.arange(len(leaves)) >= count
    moves = search.moves[search.stage.pair_index[leaves.which]]
    for i, (low, high) in enumerate(search.box):
        for sense, old, new in ((1.0, earlier.high[0, i], high), (-1.0, earlier.low[0, i], low)):
            if sense * (new - old) <= 0:
                continue
            edge = NEAR_END * (1 + abs(old))
            end = sense * (leaves.centres[:, i] + sense * leaves.halves[:, i] - old)
            found = _reaching(leaves.of((end >= -edge) & moves[:, i]), i, sorted(
                (old - sense * edge, new)))
            leaves = Leaves.joined([leaves, found], len(search.names))
            moves = search.moves[search.stage.pair_index[leaves.which]]
    return leaves, np.arange(len(leaves)) >= count


def _in_new_boxes(search, earlier, left_out):
    """Leaves without planes, of all pairs that are taken up, over what of the travel is new."""
    stage = search.stage
    first = stage.pair_index[:stage.first]
    for row in np.unique(search.moves, axis=0):
        which = np.flatnonzero((search.moves[first] == row).all(axis=1) & ~left_out[first])
        boxes = _gathered(_beyond(search.travel.seen_along(row), earlier.seen_along(row)), row)
        centres, halves = (k.mean(axis=1) for k in (boxes, np.abs(boxes - boxes.mean(
            axis=1, keepdims=True))))
        halves = halves * (1 + 8 * U) + 4 * U * np.abs(centres)
        one, cell = np.repeat(which, len(boxes)), np.tile(np.arange(len(boxes)), len(which))
        yield Leaves(one, centres[cell], np.where(row, halves[cell], 0.0),
                     np.full((len(one), 1 + len(row), 3), np.nan), np.full(len(one), np.nan))


def _beyond(new, old):
    """Boxes (n, 2, inputs) that hold whatever some boxes have beyond others."""
    found = []
    for box in np.stack(new, axis=1):
        low, high = old
        if ((low <= box[0]) & (box[1] <= high)).all(axis=1).any():
            continue
        meets = np.flatnonzero(((low < box[1]) & (box[0] < high) | (box[0] == box[1])).all(axis=1))
        parts = [box]
        for k in meets:
            parts = [rest for part in parts for rest in _less(part, (low[k], high[k]))]
            if len(parts) > MOST_PARTS:
                parts = [box]
                break
        found += parts
    return np.array(found).reshape(-1, 2, len(new[0][0]))


def _less(box, other):
    """Boxes that hold what of a box does not lie in another."""
    (low, high), (start, stop) = box, other
    if (high <= start).any() and (low < start).any() or ((start >= high) & (high > low)).any() or (
            (stop <= low) & (high > low)).any():
        return [box]
    found, low, high = [], low.copy(), high.copy()
    for i in range(len(low)):
        if low[i] < start[i]:
            part = np.array([low, high])
            part[1, i] = start[i]
            found.append(part)
            low[i] = start[i]
        if stop[i] < high[i]:
            part = np.array([low, high])
            part[0, i] = stop[i]
            found.append(part)
            high[i] = stop[i]
    return found


def _gathered(boxes, row):
    """Fewer boxes that hold the same: those that lie in one part of an even grid are made one."""
    if not len(boxes):
        return boxes
    low, high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
    wide = np.where(row & (high > low), high - low, 1.0)
    part = np.minimum(((boxes.mean(axis=1) - low) / wide * GATHERED).astype(int), GATHERED - 1)
    _, group = np.unique(part, axis=0, return_inverse=True)
    group = group.reshape(-1)
    return np.array([[boxes[group == g, 0].min(axis=0), boxes[group == g, 1].max(axis=0)]
                     for g in range(group.max() + 1)])


def _reaching(leaves, i, ends):
    """Leaves moved along an input to between two ends, their planes turned as they did before."""
    centres, halves, planes = leaves.centres.copy(), leaves.halves.copy(), leaves.planes.copy()
    centres[:, i] = sum(ends) / 2
    halves[:, i] = (ends[1] - ends[0]) / 2 * (1 + 8 * U) + 4 * U * abs(sum(ends))
    old = np.where(leaves.halves[:, i] > 0, leaves.halves[:, i], 1.0)[:, None]
    slope = planes[:, 1 + i].copy()
    planes[:, 0] += slope * (centres - leaves.centres)[:, i, None] / old
    planes[:, 1 + i] = slope * halves[:, i, None] / old
    return Leaves(leaves.which, centres, halves, planes, np.full(len(centres), np.nan))


def _tried(search, leaves, unbounded):
    """Close leaves by the planes that closed them before; the items that these don't close.

    What a pair is proven by stays so in the part of a cell that is left, where only the travel is
    another; `unbounded` are the leaves of which that can't be said.
    """
    low = leaves.low.copy()
    plain = np.isnan(leaves.planes).any(axis=(1, 2)) & unbounded
    for start in range(0, len(leaves), search.most):
        part = np.arange(start, min(start + search.most, len(leaves)))
        here = part[~plain[part] & unbounded[part]]
        cells, cell = search.cells(leaves.centres[here], leaves.halves[here])
        low[here] = held_bounds(search.stage, (leaves.which[here], cell), (search.names, *cells),
                                leaves.planes[here])
    low[plain] = search.about_apart_each(leaves.of(plain))
    closed = search.good_enough(low, search.stage.pair_index[leaves.which], search.tolerance)
    sound = closed & ~np.isnan(low)
    np.minimum.at(search.proof.proven, search.stage.pair_index[leaves.which[sound]], low[sound])
    done = replace(leaves.of(closed), low=low[closed])
    done.planes[np.isnan(low[closed])] = np.nan
    search.leaves.append(done)
    np.add.at(search.proof.visited, search.stage.pair_index[leaves.which], 1)
    left = leaves.of(~closed)
    return left.which, left.centres, left.halves
