"""Proven clearance of the side-by-side example against a sweep through a GJK library (coal).

Prints seconds, cells and ratios measured in one run: cold, warm (one bellcrank point moved) and as
built; and beside them the cells that the plain bound of first order needs (a gap can't shrink by
more than its farthest-moving points move).

The sweep is made at every Nth of the 201 x 201 stick positions (all of them with --full) and its
time scaled to all of them; pieces that a ball about each rules out are left out of the library's
share too.  With --ours the sweep is left out; --plot FILE.png draws cost against pairs and bracket
width.  Needs: pip install -e '.[bench]'
"""

import sys
import time
from dataclasses import replace
from pathlib import Path

import coal
import numpy as np

import linkage
from linkage.clearances import Stage, near_of, prove, scene_of
from linkage.clearances.carrying import combined
from linkage.clearances.cell_bounds import Bounds
from linkage.clearances.stage import measure
from linkage.clearances.table import NEAR, _about_apart
from linkage.motion import enclose

EXAMPLE = Path(__file__).parents[2] / "examples" / "side_by_side.toml"
SIDE = 201


def prime():
    """One skewed capsule-box query first: later box distances depend on it (measured by others)."""
    place = coal.Transform3s(np.eye(3), np.array([0.3, 0.2, 5.0]))
    coal.distance(coal.Capsule(1.0, 2.0), coal.Transform3s(), coal.Box(1.0, 2.0, 3.0), place,
                  request(), coal.DistanceResult())


def request():
    asked = coal.DistanceRequest()
    asked.gjk_tolerance = 1e-12
    return asked


def shape(piece):
    """A piece about its own middle as the library holds it; a tube's length as drawn."""
    points = piece.points
    if len(points) == 1:
        return coal.Sphere(piece.radius)
    if len(points) == 2:
        return coal.Capsule(piece.radius, float(np.linalg.norm(points[1] - points[0])))
    corners, faces = coal.StdVec_Vec3s(), coal.StdVec_Triangle()
    for corner in points:
        corners.append(corner)
    for triangle in piece.triangles:
        faces.append(coal.Triangle(*(int(k) for k in triangle)))
    return coal.Convex(corners, faces)


def placement(piece, posed):
    """Transform of a piece from its posed points (3, n)."""
    if len(piece.points) == 1:
        return coal.Transform3s(np.eye(3), posed[:, 0])
    if len(piece.points) == 2:
        way = posed[:, 1] - posed[:, 0]
        z = way / np.linalg.norm(way)
        x = np.cross(z, np.eye(3)[np.argmin(np.abs(z))])
        x /= np.linalg.norm(x)
        return coal.Transform3s(np.stack([x, np.cross(z, x), z], axis=1), posed.mean(axis=1))
    here, there = piece.points - piece.points.mean(axis=0), posed.T - posed.T.mean(axis=0)
    u, _, v = np.linalg.svd(here.T @ there)
    turn = (v.T @ np.diag([1, 1, np.linalg.det(v.T @ u.T)]) @ u.T)
    return coal.Transform3s(turn, posed.mean(axis=1) - turn @ piece.points.mean(axis=0))


def sweep_least(stage, k, posture, count):
    """Least distance of a pair over positions by the library, and its own seconds."""
    which = np.flatnonzero((stage.pair_index == k) & ~stage.rough)
    low, most = _about_apart(stage, which, posture, count)
    item, place = np.nonzero(low <= most.min(axis=0) + 1e-9)
    shapes = {i: shape(stage.pieces[i]) for i in np.unique(stage.sides[which])}
    asked, least, seconds = request(), np.inf, 0.0
    hulls = [stage.posed(axes, pieces) for axes, pieces in zip(
        stage.axes(posture, which[item], place), stage.sides[which[item]].T, strict=True)]
    for n, row in enumerate(which[item]):
        one, other = stage.sides[row]
        spots = [placement(stage.pieces[i], hull.at(np.array([n]))[..., 0][
            :, :len(stage.pieces[i].points)]) for i, hull in zip((one, other), hulls, strict=True)]
        found = coal.DistanceResult()
        start = time.perf_counter()
        value = coal.distance(shapes[one], spots[0], shapes[other], spots[1], asked, found)
        seconds += time.perf_counter() - start
        least = min(least, value)
    return least, seconds


def ours(system, width, share=1.0):
    """Seconds, proof and pairs, as after load: which pairs may come near is worked out anew."""
    system = linkage.System(system.model)
    scene, box = scene_of(system), system.travel_box()
    start = time.perf_counter()
    near = near_of(system)
    near = near[:max(1, round(share * len(near)))]
    proof = prove(Stage(scene, near), box, width, limit=NEAR)
    return time.perf_counter() - start, proof, near


def moved(stage, enclosed, pieces, cell):
    """How far the farthest-moving corner of each piece moves from the middle of its cell, mm."""
    frames, most = stage.frames.of(enclosed), np.empty(len(pieces))
    for g in np.unique(stage.group[pieces]):
        here = np.flatnonzero(stage.group[pieces] == g)
        axes = frames[..., stage.seat_of[pieces[here]], cell[here]]
        local = stage.local[g].take(stage.row[pieces[here]], axis=2)
        square = sum(np.abs(combined(axes[:, c], local)[1:]).sum(axis=0) ** 2 for c in range(3))
        most[here] = np.sqrt(square).max(axis=0)
    return most


def first_order(stage, items, cells, tolerances=None, enough=None):
    """The plain bound in place of `linkage.clearances.search.bounds`."""
    (which, cell), (names, centres, halves) = items, cells
    named = {n: centres[:, i] for i, n in enumerate(names)}
    posture = stage.system.sweep(**named).posture
    enclosed = enclose(stage.system, named, {n: halves[:, i] for i, n in enumerate(names)})
    value = measure(stage, posture, which, cell)
    low = value - sum(moved(stage, enclosed, pieces, cell) for pieces in stage.sides[which].T)
    return Bounds(value, low, centres[cell], np.zeros((len(which), 1 + len(names), 3)),
                  np.zeros(len(which), bool))


def plain_cells(system, width):
    """Cells that the plain bound needs, pair by pair, and whether it came to an end."""
    module = sys.modules["linkage.clearances.search"]
    second, module.bounds = module.bounds, first_order
    try:
        proof = prove(Stage(scene_of(system), near_of(system)), system.travel_box(), width,
                      limit=NEAR)
    finally:
        module.bounds = second
    return proof


def plot(path, by_pairs, by_width):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8, 3.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    left.plot(*zip(*by_pairs, strict=True), "ko-")
    left.set(xlabel="pairs", ylabel="seconds", title="Bracket 0.05 mm", ylim=0, xlim=0)
    right.semilogx(*zip(*by_width, strict=True), "ks--")
    right.set(xlabel="bracket width, mm", ylabel="seconds", title="All pairs", ylim=0)
    figure.savefig(path, dpi=120)


def compare_cells(system):
    proof, plain = ours(system, 0.5)[1], plain_cells(system, 0.5)
    ended = ~np.isin(np.arange(len(plain.visited)), list(plain.open_at))
    looked = ended & (proof.visited > 0)
    ratio = plain.visited[looked] / proof.visited[looked]
    print(f"bracket 0.5 mm, cells a pair: ours median {int(np.median(proof.visited[looked]))}, "
          f"greatest {proof.visited.max()}; plain first order median "
          f"{int(np.median(plain.visited[looked]))}, "
          f"greatest {plain.visited.max()}, {np.median(ratio):.1f} times as many in the median "
          f"pair, {ratio.max():.0f} times in the worst; {(~ended).sum()} pairs not ended")


def after_each_other():
    """Cold and warm by turns, as built once; the ratio of the median of each to cold."""
    times = {"cold": [], "warm": [], "as built": []}
    for turn in range(3):
        system = linkage.load(EXAMPLE)
        table = linkage.clearance(system)
        other = linkage.System(moved_by(system.model, "wing bellcrank left", "in", 0.5))
        for name, work in (("cold", lambda s=other: linkage.clearance(linkage.System(s.model))),
                           ("warm", lambda s=other, t=table: linkage.clearance(
                               linkage.System(s.model), after=t)),
                           ("as built", lambda s=other: linkage.clearance(
                               linkage.System(s.model), built=True))):
            if turn and name == "as built":
                continue
            start = time.process_time()
            work()
            times[name].append(time.process_time() - start)
    cold = np.median(times["cold"])
    print("clearance(system) of one point moved, real travel included: " + ", ".join(
        f"{name} {np.median(each):.2f} s ({np.median(each) / cold:.2f})"
        for name, each in times.items()))


def moved_by(model, body, point, way):
    """The model with one point moved along its first station, mm."""
    part = model.bodies[body]
    spot = part.points[point]
    points = part.points | {point: replace(spot, at=(spot.at[0] + way, *spot.at[1:]))}
    return replace(model, bodies=model.bodies | {body: replace(part, points=points)})


def best(system, *asked):
    return min((ours(system, *asked) for _ in range(3)), key=lambda found: found[0])


def main():
    full = "--full" in sys.argv
    system = linkage.load(EXAMPLE)
    linkage.clearance(system)  # solids cut into pieces, as after load
    by_pairs, by_width = [], []
    for share in (0.125, 0.25, 0.5, 1.0):
        seconds, proof, near = best(system, 0.05, share)
        by_pairs.append((len(near), seconds))
        print(f"{len(near)} pairs, bracket 0.05 mm: {seconds:.2f} s, {proof.visited.sum()} cells")
    for width in (0.5, 0.05, 0.005):
        seconds, proof, near = best(system, width)
        by_width.append((width, seconds))
        asked = proof.visited[proof.visited > 0]
        print(f"bracket {width} mm: {seconds:.2f} s, {asked.sum()} cells in {len(asked)} pairs of "
              f"{len(near)}, median {int(np.median(asked))} a pair")
    if "--plot" in sys.argv:
        plot(sys.argv[sys.argv.index("--plot") + 1], by_pairs, by_width)
    compare_cells(system)
    after_each_other()
    start = time.perf_counter()
    table = linkage.clearance(system)
    whole = time.perf_counter() - start
    print(f"clearance(system), {len(table)} pairs listed, bracket 0.05 mm: {whole:.2f} s")
    if "--ours" in sys.argv:
        return
    prime()
    step = 1 if full else 10
    pitch, roll = (np.linspace(*system.inputs[n].travel, SIDE)[::step] for n in ("pitch", "roll"))
    motion = system.sweep(pitch=pitch[:, None], roll=roll)
    posture, count, total, good = motion.flat_posture(), pitch.size * roll.size, 0.0, True
    for row in table.to_dict("records"):
        stage = Stage(scene_of(system), [scene_of(system).pairs[row["pair"]]])
        least, seconds = sweep_least(stage, 0, posture, count)
        total += seconds * SIDE**2 / count
        if row["least"] > 0 and not (row["proven"] <= least + 1e-7
                                     and row["least"] <= least + 1e-6):
            good = False
            print(f"  DISAGREES {row['pair']}: sweep {least:.7f}, least {row['least']:.7f}, "
                  f"proven {row['proven']:.7f}")
    said = "" if full else f" (measured at {count} positions and scaled)"
    print(f"library sweep of {SIDE} x {SIDE}: {total:.0f} s{said}, {total / whole:.0f} times as "
          f"long; proven and least {'agree' if good else 'DISAGREE'} with it in every free pair")


if __name__ == "__main__":
    main()
