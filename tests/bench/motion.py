"""Motion of the side-by-side example: NumPy kernels against SciPy and Numba, in one run.

Prints positions per second on one core, and the ratios; whole-system memory for a million.
"""

import resource
import time
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

import linkage

EXAMPLE = Path(__file__).parents[2] / "examples" / "side_by_side.toml"


def best(function, rounds=7):
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def scipy_per_position(system, count=20):
    """Seconds per position of a least-squares solve of every rod's length, joints unknown."""
    from linkage.motion import Close, Drive, Posture, Turn

    closes = [s for s in system.plan.steps if isinstance(s, Close)]
    drives = [s for s in system.plan.steps if isinstance(s, Drive)]

    def misfit(joints, inputs):
        states = {d.joint: Turn(np.cos(d.sign * v), np.sin(d.sign * v)) for d, v in
                  zip(drives, inputs, strict=True)}
        states |= {c.joint: Turn(np.cos(a), np.sin(a)) for c, a in zip(closes, joints, strict=True)}
        posture = Posture(system.plan, system.dimensions, states)
        found = []
        for close in closes:
            p, q = (posture.place(e) for e in system.model.rods[close.rod].ends)
            found.append(np.sqrt(sum((a - b) ** 2 for a, b in zip(p, q, strict=True)))
                         - system.dimensions.lengths[close.rod])
        return found

    rng = np.random.default_rng(0)
    inputs = np.radians(rng.uniform([-13, -21], [17, 21], (count, 2)))
    start = time.perf_counter()
    for row in inputs:
        least_squares(misfit, np.zeros(len(closes)), args=(row,), xtol=1e-12, ftol=1e-12)
    return (time.perf_counter() - start) / count


def numba_seconds(system, pitch, roll):
    """The same printed formulas, joint by joint, as one Numba loop over the grid."""
    import numba

    source = numba_source(system)
    space = {"np": np, "math": __import__("math")}
    exec(source, space)
    run = numba.njit(space["run"], fastmath=False)
    out = np.empty((len(pitch), len(roll), len(system.plan.steps)))
    run(pitch[:2], roll[:2], out)
    seconds = best(lambda: run(pitch, roll, out), rounds=5)
    expected = system.sweep(pitch=np.degrees(pitch)[:, None], roll=np.degrees(roll))
    last = system.plan.steps[-1].joint
    np.testing.assert_allclose(np.degrees(out[..., -1]), expected.angle(last), atol=1e-9)
    return seconds


def numba_source(system):
    """Scalar code that walks the plan and calls the kernels, written out for Numba."""
    import inspect

    from linkage.motion import Drive, body_of, kernels

    lines = ["def run(pitches, rolls, out):", "  for i in range(len(pitches)):",
             "    for j in range(len(rolls)):"]
    say = lambda text: lines.append("      " + text)  # noqa: E731
    names = {body: f"b{n}" for n, body in enumerate(system.model.bodies)}

    def point(address, frame):
        say(f"p = {tuple(map(float, system.dimensions.places[address]))!r}")
        for joint, outward in system.plan.route(body_of(address), frame):
            c, u = system.dimensions.places[f"{joint}/pivot"], system.dimensions.axes[joint]
            say(f"p = turn_point(p, {tuple(map(float, c))!r}, {tuple(map(float, u))!r}, "
                f"{names[joint]}c, {'' if outward else '-'}{names[joint]}s)")

    for k, step in enumerate(system.plan.steps):
        n = names[step.joint]
        if isinstance(step, Drive):
            say(f"a = {step.sign} * {'pitches[i]' if step.input == 'pitch' else 'rolls[j]'}")
            say(f"{n}c, {n}s = math.cos(a), math.sin(a)")
        else:
            point(step.near, step.joint)
            say("r = p")
            point(step.far, system.model.bodies[step.joint].on)
            c = system.dimensions.places[f"{step.joint}/pivot"]
            u = system.dimensions.axes[step.joint]
            say(f"A, B, C = turn_parts(r, {tuple(map(float, c))!r}, {tuple(map(float, u))!r}, p, "
                f"{system.dimensions.lengths[step.rod]!r})")
            say(f"{n}c, {n}s = turn_close(A, B, C, {step.sign})")
        say(f"out[i, j, {k}] = math.atan2({n}s, {n}c)")
    parts = ["import numba"]
    for kernel in (kernels.turn_point, kernels.turn_parts, kernels.turn_close):
        parts.append("@numba.njit(inline='always')\n" + inspect.getsource(kernel))
    return "\n".join([*parts, *lines])


def main():
    system = linkage.load(EXAMPLE)
    pitch, roll = np.linspace(-13, 17, 201), np.linspace(-21, 21, 201)
    ours = best(lambda: system.sweep(pitch=pitch[:, None], roll=roll))
    count = pitch.size * roll.size
    print(f"NumPy: {count / ours / 1e6:.2f} million positions per second, all bodies, one core")
    print(f"SciPy least squares per position: {scipy_per_position(system) / (ours / count):.0f} "
          f"times slower")
    print(f"Numba, same formulas: NumPy takes "
          f"{ours / numba_seconds(system, np.radians(pitch), np.radians(roll)):.2f} times as long")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    rng = np.random.default_rng(0)
    pitch, roll = rng.uniform(-13, 17, 1_000_000), rng.uniform(-21, 21, 1_000_000)
    motion = system.sweep(pitch=pitch, roll=roll)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"1 million positions: {motion.shape}, peak memory {after / 2**20:.2f} GiB "
          f"({(after - before) / 2**20:.2f} GiB more than before)")


if __name__ == "__main__":
    main()
