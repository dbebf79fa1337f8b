"""Random solids as tables of a model file, mm."""

import numpy as np


def unit(v):
    return np.asarray(v, dtype=float) / np.linalg.norm(v)


def aslant(rng):
    """A direction at random or along a station axis, and one square to it."""
    normal = unit(rng.normal(size=3)) if rng.random() < 0.6 else np.eye(3)[rng.integers(3)]
    return normal, unit(np.cross(normal, rng.normal(size=3)))


def solid(rng, near, small):
    kinds = ["sphere", "tube", "pipe", "box", "box", "plate", "washer"]
    share = np.array([2, 3, 2, 2, 1, 1, 1] if small else [1, 2, 2, 2, 2, 3, 2], dtype=float)
    kind = str(rng.choice(kinds, p=share / share.sum()))
    return MADE[kind](rng, np.asarray(near, dtype=float))


def ball(rng, near):
    return {"kind": "sphere", "at": list(near), "diameter": float(rng.uniform(4, 20))}


def tube(rng, near):
    run = unit(rng.normal(size=3)) * rng.uniform(15, 60)
    return {"kind": "tube", "along": [list(near - run), list(near + run)],
            "diameter": float(rng.uniform(3, 16))}


def pipe(rng, near):
    run = unit(rng.normal(size=3)) * 35
    return {"kind": "pipe", "along": [list(near + run * k + rng.normal(size=3) * 8)
                                      for k in range(int(rng.integers(3, 5)))],
            "diameter": float(rng.uniform(3, 12))}


def box(rng, near):
    return {"kind": "box", "corner": list(near - rng.uniform(2, 25, 3)),
            "opposite": list(near + rng.uniform(2, 25, 3))}


def washer(rng, near):
    normal, _ = aslant(rng)
    outside = float(rng.uniform(12, 50))
    return {"kind": "washer", "at": list(near), "normal": list(normal), "outside": outside,
            "inside": float(rng.choice([0.0, outside * rng.uniform(0.3, 0.8)])),
            "thickness": float(rng.uniform(1, 8))}


def plate(rng, near):
    """A dented outline, some corners rounded, now and then with a hole or a slot."""
    normal, u = aslant(rng)
    a, b = rng.uniform(18, 50, 2)
    outline = [[-a, -b], [a, -b, float(rng.uniform(2, 8))], [a, b], [0.2 * a, 0.3 * b],
               [-a, b, float(rng.uniform(0, 4))]]
    if rng.random() < 0.4:
        outline = [[-a, -b, 3.0], [a, -b, 3.0], [a, b], [-a, b]]
    made = {"kind": "plate", "at": list(near), "normal": list(normal), "u": list(u),
            "thickness": float(rng.uniform(1, 6)),
            "outline": [[float(k) for k in c] for c in outline]}
    if rng.random() < 0.4:
        made["holes"] = [{"at": [-0.4 * a, -0.4 * b], "diameter": float(0.4 * min(a, b))}]
    return made


def fixed_solid(rng, out, way, small):
    """A solid about a place, its face or its middle turned to what comes."""
    kind = rng.random()
    if kind < 0.35:  # a wall square to the way
        u = unit(np.cross(way, rng.normal(size=3)))
        a, b = rng.uniform(15, 80, 2)
        return {"kind": "plate", "at": list(out + way * 3), "normal": list(way), "u": list(u),
                "thickness": 6.0, "outline": [[-a, -b], [a, -b], [a, b], [-a, b]]}
    return solid(rng, out + way * rng.uniform(5, 25), small)


MADE = {"sphere": ball, "tube": tube, "pipe": pipe, "box": box, "plate": plate, "washer": washer}
