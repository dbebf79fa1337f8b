"""Monte Carlo of the side-by-side example: 10,000 builds at 181 stick positions, all surfaces.

Prints seconds, of this machine's clock and of its cores, and what they are worth against SciPy
solving each build at each position by itself.
"""

import os
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

import linkage
from linkage.motion import Close, Drive, Posture, Turn
from linkage.rigging import Chance, monte_carlo
from linkage.rigging.builds import _errors, _Task, built_dimensions

EXAMPLE = Path(__file__).parents[2] / "examples" / "side_by_side.toml"
BUILDS, POSITIONS = 10_000, 181


def timed(function):
    wall, cores = time.perf_counter(), time.process_time()
    function()
    return time.perf_counter() - wall, time.process_time() - cores


def scipy_per_posture(system, inputs, count=20):
    """Seconds per posture of a least-squares solve of every rod's length, joints unknown."""
    closes = [s for s in system.plan.steps if isinstance(s, Close)]
    drives = [s for s in system.plan.steps if isinstance(s, Drive)]
    chance = Chance(builds=count)
    drawn = _errors(_Task(system, (), {}, chance, count, np.random.SeedSequence(0)))
    start = time.process_time()
    for n in range(count):
        built = built_dimensions(system, {name: value[n] for name, value in drawn.items()},
                                 rigged=chance.rigged)
        given = [d.sign * np.radians(inputs[d.input][n]) for d in drives]

        def misfit(joints, built=built, given=given):
            states = {d.joint: Turn(np.cos(v), np.sin(v)) for d, v in
                      zip(drives, given, strict=True)}
            states |= {c.joint: Turn(np.cos(a), np.sin(a))
                       for c, a in zip(closes, joints, strict=True)}
            posture = Posture(system.plan, built, states)
            ends = [[posture.place(e) for e in system.model.rods[c.rod].ends] for c in closes]
            return [np.sqrt(sum((a - b) ** 2 for a, b in zip(p, q, strict=True)))
                    - built.lengths[c.rod] for (p, q), c in zip(ends, closes, strict=True)]

        least_squares(misfit, np.zeros(len(closes)), xtol=1e-12, ftol=1e-12)
    return (time.process_time() - start) / count


def main():
    system = linkage.load(EXAMPLE)
    rng = np.random.default_rng(0)
    inputs = {"pitch": rng.uniform(-13, 17, POSITIONS), "roll": rng.uniform(-21, 21, POSITIONS)}
    monte_carlo(system, Chance(builds=500), **inputs)
    ours = {}
    for workers in (1, 2):
        with ThreadPoolExecutor(workers) as threads:
            done = [timed(lambda t=threads: monte_carlo(system, Chance(builds=BUILDS), executor=t,
                                                        **inputs)) for _ in range(3)]
        ours[workers] = min(done)
        print(f"{BUILDS:,} builds x {POSITIONS} positions, {workers} thread(s): "
              f"{min(done)[0]:.2f} s, {min(done)[1]:.2f} s of cores")
    per = ours[1][1] / (BUILDS * POSITIONS)
    print(f"SciPy least squares per posture: {scipy_per_posture(system, inputs) / per:.0f} times "
          f"as long on one core")
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
