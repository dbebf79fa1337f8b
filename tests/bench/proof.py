"""Cold, warm and as built: what a proof costs, as ratios measured in one run.

    python tests/bench/proof.py [--before CHECKOUT] [--runs 5]

With --before a cold proof of its own example is also run in another checkout, by turns.  Warm is
the proof of the side-by-side example with one thing changed, over the same proof from the start;
as built is over the same as drawn.  Slack is the least gap of the worst build met less the proven
one, as a share of what the tolerances cost.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

import linkage
from linkage.clearances import NEAR, Stage, earlier, near_of, prove, scene_of

HOME = Path(__file__).parents[2]
EXAMPLE = HOME / "examples" / "side_by_side.toml"
COLD = """
import json, time
import linkage
from linkage.clearances import NEAR, Stage, near_of, prove, scene_of
system = linkage.load("examples/side_by_side.toml")
box = {name: control.travel for name, control in system.inputs.items() if control.body is not None}
stage = Stage(scene_of(system), near_of(system))
times = []
for _ in range(3):
    start = time.process_time()
    proof = prove(stage, box, 0.05, limit=NEAR)
    times.append(time.process_time() - start)
print(json.dumps([min(times), int(proof.visited.sum()), len(stage.pairs)]))
"""


def cold(home):
    """Seconds, cells and pairs of a cold proof in a process of its own."""
    ran = subprocess.run([sys.executable, "-c", COLD], check=True, text=True,
                         capture_output=True, cwd=home, env=os.environ | {"PYTHONPATH": str(home)})
    return json.loads(ran.stdout)


def by_turns(before, runs):
    mine, other = [], []
    for _ in range(runs):
        mine.append(cold(HOME))
        other.append(cold(before))
    one, two = (np.median([k[0] for k in each]) for each in (mine, other))
    print(f"cold, 0.05 mm: {one:.2f} s ({mine[0][1]} cells, {mine[0][2]} pairs), before "
          f"{two:.2f} s ({other[0][1]} cells, {other[0][2]} pairs): ratio {one / two:.2f}")


def moved(model, address, by):
    part, point = address.split("/")
    body = model.bodies[part]
    spot = body.points[point]
    at = (spot.at[0] + by, *spot.at[1:])
    return replace(model, bodies=model.bodies | {part: replace(
        body, points=body.points | {point: replace(spot, at=at)})})


def shifted(part, by):
    """A part of a model, or many, with every place in it so many mm aft; directions stay."""
    if isinstance(part, dict):
        return {name: shifted(value, by) for name, value in part.items()}
    places = {name: value for name, value in vars(part).items() if name in (
        "at", "pivot", "through", "corner", "opposite", "along", "bearings", "points", "solids")}
    return replace(part, **{name: placed(value, by) for name, value in places.items()})


def placed(value, by):
    if isinstance(value, dict):
        return shifted(value, by)
    if isinstance(value, tuple) and len(value) == 3 and all(
            isinstance(k, (int, float)) for k in value):
        return (value[0] + by, *value[1:])
    return tuple(placed(k, by) for k in value) if isinstance(value, tuple) else value


def changes(system, box):
    low, high = box["pitch"]
    yield "pitch narrowed by 2 degrees", system, box | {"pitch": (low + 2, high)}
    yield "pitch widened by 1 degree", system, box | {"pitch": (low, high + 1)}
    for address in ("wing bellcrank left/in", "wing bellcrank right/out"):
        yield f"{address} moved 0.5 mm", linkage.System(moved(system.model, address, 0.5)), box
    model = system.model
    yield "all of it 10 mm aft", linkage.System(replace(
        model, bodies=shifted(model.bodies, 10.0), airframe=shifted(model.airframe, 10.0))), box


def timed(work, runs):
    times = []
    for _ in range(runs):
        start = time.process_time()
        found = work()
        times.append(time.process_time() - start)
    return float(np.median(times)), found


def warm(runs):
    system = linkage.load(EXAMPLE)
    stage, box = Stage(scene_of(system), near_of(system)), system.travel_box()
    proof = prove(stage, box, 0.05, None, NEAR)
    before = earlier(stage, box, proof, (0.05, None, NEAR))
    for what, other, travel in changes(system, box):
        scene = scene_of(other)
        there = Stage(scene, [scene.pairs[pair.name] for pair in stage.pairs])
        whole, anew = timed(lambda s=there, t=travel: prove(s, t, 0.05, None, NEAR), runs)
        part, taken = timed(lambda s=there, t=travel: prove(s, t, 0.05, None, NEAR, after=before),
                            runs)
        listed = np.minimum(anew.proven, taken.proven) < NEAR
        differ = np.abs(anew.least[listed] - taken.least[listed]).max()
        print(f"warm, {what}: {part / whole:.2f} of cold; least differs by {differ:.4f} mm")


def built(runs):
    for path in sorted((HOME / "examples").glob("*.toml")):
        system = linkage.load(path)
        drawn, first = timed(lambda s=system: linkage.clearance(s), runs)
        whole, second = timed(lambda s=system: linkage.clearance(s, built=True), runs)
        both = second.merge(first, on="pair", suffixes=("", " drawn"))
        cost = both["least drawn"] - both["least"]
        slack = ((both["least"] - both["proven"]) / cost)[cost > 0.01]
        told = f"slack median {slack.median():.2f}, greatest {slack.max():.2f}" if len(slack) else \
            "tolerances cost nothing"
        print(f"as built, {path.stem}: {whole / drawn:.1f} times as drawn, {len(second)} pairs, "
              f"{len(second.attrs['open'])} not decided; {told}", flush=True)


def main():
    asked = argparse.ArgumentParser()
    asked.add_argument("--before", type=Path)
    asked.add_argument("--runs", type=int, default=3)
    args = asked.parse_args()
    if args.before:
        by_turns(args.before, args.runs)
    warm(args.runs)
    built(1)


if __name__ == "__main__":
    main()
