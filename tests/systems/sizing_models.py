"""Models with targets planted in them that a sizing has to find again."""

import itertools
from dataclasses import replace

import numpy as np

import linkage
from linkage.gearing import driving_input, required_travels
from linkage.model import (
    Arm,
    Clocking,
    Place,
    Require,
    RodLength,
    Size,
    Surface,
    Target,
    is_rudder,
)
from linkage.motion import Close, System, body_of
from linkage.sizing import Layout, named_dimensions
from linkage.sizing.targets import SIGNS
from systems.random_solids import Maker


def bare(model):
    """A random model without its solids, which sizing to travels never asks about."""
    return replace(model, bodies={n: replace(b, solids={}) for n, b in model.bodies.items()})


def dimensions(rng, model):
    """Random dimensions of rods and of what they end on."""
    rods = {s.rod: model.rods[s.rod] for s in System(model).plan.steps if isinstance(s, Close)}
    ends = sorted({e for r in rods.values() for e in r.ends
                   if not model.bodies[body_of(e)].slides})
    tables = {"arms": {}, "clockings": {}, "places": {}, "rods": {}}
    for n in range(int(rng.integers(1, 4))):
        kind = str(rng.choice(list(tables)))
        if kind in ("arms", "clockings"):
            point = str(rng.choice(ends))
            pivot, axis = (np.array(k) for k in (model.bodies[body_of(point)].centre,
                                                 model.bodies[body_of(point)].direction))
            arm = float(np.linalg.norm(np.cross(axis, model.position(point) - pivot)))
            tables[kind][f"d{n}"] = Arm(point=point, least=0.75 * arm, greatest=1.3 * arm) \
                if kind == "arms" else Clocking(point=point, least=-15.0, greatest=18.0)
        elif kind == "places":
            along = int(rng.integers(3))
            parts = sorted({body_of(e) for r in rods.values() for e in r.ends})
            point = f"{rng.choice(parts)}/pivot"
            at = model.position(point)[along]
            tables[kind][f"d{n}"] = Place(point=point, along=("FS", "BL", "WL")[along],
                                          least=at - 14.0, greatest=at + 12.0)
        else:
            rod = str(rng.choice(sorted(rods)))
            long = model.rod_length(rod)
            tables[kind][f"d{n}"] = RodLength(rod=rod, least=0.95 * long, greatest=1.05 * long)
    return Size(**tables)


def asked(model, body, rng):
    """What a system does with its surface over the whole travel, as targets."""
    words = ("left", "right") if is_rudder(model.bodies[body]) else ("up", "down")
    require = Require(**dict.fromkeys(words, 0.0))
    system = System(replace(model, surfaces={"s": Surface(body=body, require=(require,))}))
    if not system.sweep(**_grid(system)).reachable.all():
        return None
    travels = dict(required_travels(system).set_index("way")["found"])
    name = driving_input(system, "s")
    if name is None or not 0.5 < min(travels.values()) <= max(travels.values()) < 80:
        return None
    require = Require(**travels, within=0.5, input=name)
    gearing = abs(float(system.sweep().gearing("s")[name]))
    targets = {"g": Target(surface="s", gearing=gearing, input=name)} \
        if rng.random() < 0.5 and gearing > 1e-3 else {}
    return {"s": Surface(body=body, require=(require,))}, targets


def _grid(system):
    box = {n: np.linspace(*c.travel, 5) for n, c in system.inputs.items() if c.body is not None}
    return dict(zip(box, np.meshgrid(*box.values()), strict=True))


def planted(seed):
    """A random system, drawn with other dimensions than those its targets were measured with."""
    for again in itertools.count():
        maker = Maker((seed, again))
        rng = np.random.default_rng((seed, again, 7))
        try:
            model = bare(maker.model())
            system = System(model)
            bodies = [s.joint for s in system.plan.steps if isinstance(s, Close)
                      and not model.bodies[s.joint].slides]
            if not bodies:
                continue
            model = replace(model, size=dimensions(rng, model))
            named = named_dimensions(model)
            share = rng.uniform(0.1, 0.9, len(named))
            values = np.array([d.least + s * (d.greatest - d.least)
                               for d, s in zip(named, share, strict=True)])
            wanted = asked(Layout(model, named).model_at(values), bodies[-1], rng)
        except linkage.LinkageError:
            continue
        if wanted is None or asked(model, bodies[-1], rng) is None:
            continue
        surfaces, targets = wanted
        model = replace(model, surfaces=surfaces, size=replace(model.size, targets=targets))
        if required_travels(System(model))["missed_by"].abs().max() > 0.1:
            return model, values
    raise AssertionError("counting has no end")


# --- derivatives --------------------------------------------------------------------------------

def told(system, aim, inputs):
    """Value of an aim by the library's public motion."""
    if aim.kind == "travel":
        ends = system.sweep(**{aim.input: system.inputs[aim.input].travel})
        return (SIGNS[aim.way] * ends.deflection(aim.of)).max()
    if aim.kind == "gearing":
        return abs(system.sweep().gearing(aim.of)[aim.input])
    if aim.kind == "differential":
        turns = system.sweep(**{aim.input: system.inputs[aim.input].travel}).deflection(aim.of)
        return -turns.min() / turns.max()
    if aim.kind == "direction":
        places = system.sweep(**{aim.input: [0.0, *system.inputs[aim.input].travel]})
        return (places.gearing(aim.of)[aim.input] * (1.0 if aim.way == "+" else -1.0)).min()
    return system.sweep(**inputs).margins(aim.way)[aim.of].min()
