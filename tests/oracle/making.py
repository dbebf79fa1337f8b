"""Random systems as the text of a model file, from a seed.

Everything a file can hold that bears on motion and clearance has its chance: all kinds of solid,
parts carried by parts, slides, couplings past half a turn, rods solved together, twins, hands,
stops, waived pairs, stations to 50 m, inches.
"""

import json
import math

import numpy as np

from .attack import Scene, samples
from .closing import close, order
from .reading import INCH, read
from .shaping import fixed_solid, solid

PLAIN = {"lateral": [0, 1, 0], "fore-aft": [-1, 0, 0]}


def unit(v):
    return np.asarray(v, dtype=float) / np.linalg.norm(v)


def written(value):
    """A value as TOML has it on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + " }"
    if isinstance(value, bool | str):
        return json.dumps(value)
    if isinstance(value, list | tuple | np.ndarray):
        return "[" + ", ".join(written(v) for v in value) + "]"
    return repr(round(float(value), 9))


def text_of(tables):
    """Tables of tables as the text of a file."""
    lines = [f"{k} = {written(v)}" for k, v in tables.items() if not isinstance(v, dict | list)]
    for group, table in tables.items():
        if isinstance(table, list):
            for item in table:
                lines += [f"[[{group}]]", *(f"{k} = {written(v)}" for k, v in item.items())]
        elif isinstance(table, dict) and group in ("input", "body", "rod", "coupling", "stop"):
            for name, item in table.items():
                lines.append(f"[{group}.{json.dumps(name)}]")
                lines += [f"{json.dumps(k)} = {written(v)}" for k, v in item.items()]
        elif isinstance(table, dict) and table:
            lines.append(f"[{group}]")
            lines += [f"{json.dumps(k)} = {written(v)}" for k, v in table.items()]
    return "\n".join(lines) + "\n"


LENGTHS = ("pivot", "through", "at", "corner", "opposite", "along", "diameter", "outside", "inside",
           "thickness", "outline", "points", "length", "tolerance", "hardpoint", "rod", "require",
           "structure", "same", "different", "slot")


def scaled_holes(holes, by):
    return [{k: [x * by for x in v] if k == "at" else v * by for k, v in hole.items()}
            for hole in holes]


def scaled_outline(corners, by):
    return [[k * by for k in corner] for corner in corners]


FLAT = {"holes": scaled_holes, "outline": scaled_outline}  # what counts from a plate's own middle


def scaled(tables, by, shift):
    """The same system in another unit of length, its stations counted from elsewhere."""
    def point(v):
        return [(k + s) * by for k, s in zip(v, shift, strict=True)]

    def walk(key, value):
        if isinstance(value, dict):
            if key == "points":
                return {k: point(v) for k, v in value.items()}
            return {k: walk(k, v) for k, v in value.items()}
        if key in FLAT:
            return FLAT[key](value, by)
        if key in ("pivot", "through", "at", "corner", "opposite") and not isinstance(value, str):
            return point(value)
        if key == "along":
            return [k if isinstance(k, str) else point(k) for k in value]
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return [walk(key, v) for v in value]
        if key in LENGTHS and isinstance(value, int | float):
            return value * by
        return value

    return {k: walk(k, v) if k != "rod" else {n: walk("", r) for n, r in v.items()}
            for k, v in tables.items()}


class Draft:
    """Tables of a system that grows part by part, mm about the origin."""

    def __init__(self, rng, small):
        self.rng, self.small = rng, small
        self.tables = {"length": "mm", "input": {}, "mirror": {}, "body": {}, "rod": {},
                       "coupling": {}, "airframe": {"points": {}, "solid": {}}, "stop": {},
                       "pair": [], "tolerance": {}, "clearance": {}}
        self.spots = {}  # points that rods may come from, by address

    def body(self, name, pivot, axis, point, **more):
        way = {"slide" if more.pop("slides", False) else "axis": list(axis)}
        if self.rng.random() < 0.25 and "axis" in way:
            way = {"through": list(np.add(pivot, np.multiply(axis, self.rng.uniform(30, 200))))}
        self.tables["body"][name] = {"pivot": list(pivot), **way, "points": {"p": list(point)},
                                     "solid": {}} | more
        self.spots[f"{name}/p"] = np.asarray(point, dtype=float)

    def driven(self):
        rng = self.rng
        wide = rng.random() < 0.3
        reach = rng.uniform(6, 55 if wide else 22, 4)
        names = ["pitch"] if rng.random() < 0.35 else ["pitch", "roll"]
        self.tables["input"]["pitch"] = {"travel": [-reach[0], reach[1]]}
        pivot = np.array([0.0, 0.0, 0.0])
        self.body("tube", pivot, [0.0, 1.0, 0.0], pivot + [rng.uniform(-20, 20), 0, -70],
                  input="pitch")
        if "roll" in names:
            self.tables["input"]["roll"] = {"travel": [-reach[2], reach[3]]}
            pivot = np.array([0.0, rng.uniform(-60, 60), rng.uniform(0, 40)])
            self.body("stick", pivot, [-1.0, 0.0, 0.0], pivot + [15, 0, rng.uniform(60, 100)],
                      on="tube", input="roll")
        if rng.random() < 0.15:
            self.tables["input"]["trim"] = {"travel": [f"-{rng.uniform(5, 15):.3f} mm",
                                                       f"{rng.uniform(5, 15):.3f} mm"]}
            self.body("trim block", rng.normal(size=3) * 100, unit(rng.normal(size=3)),
                      rng.normal(size=3) * 100, input="trim", slides=True)
        if rng.random() < 0.35:
            self.hand(list(self.tables["body"])[-1])

    def hand(self, name):
        """A hand on the stick: a box that is turned about the stick's line."""
        body = self.tables["body"][name]
        top = np.array(body["points"]["p"]) + self.rng.uniform(-20, 20, 3)
        body["grip"] = {"along": ["p", list(top + [0, 5, 60])],
                        "clocking": float(self.rng.uniform(-40, 40)),
                        "hand": {"kind": "box", "corner": list(top - [15, 10, 0]),
                                 "opposite": list(top + [18, 14, 30])}}

    def end(self):
        """A point that a new rod comes from."""
        address = str(self.rng.choice(list(self.spots)))
        return address, self.spots[address]

    def place(self, far, slides=False, least=0.45):
        """Pivot, axis and near end of a joint that a rod from `far` moves squarely."""
        rng = self.rng
        while True:
            near = far + unit(rng.normal(size=3)) * rng.uniform(70, 250)
            axis = unit(rng.normal(size=3)) if rng.random() < 0.6 else np.eye(3)[rng.integers(3)]
            pivot = near + unit(rng.normal(size=3)) * rng.uniform(40, 90)
            along = unit(far - near)
            arm = near - pivot
            arm = arm - axis * (arm @ axis)
            square = abs(axis @ along) if slides else abs(axis @ np.cross(arm, along)) / \
                max(np.linalg.norm(arm), 1e-9)
            if square > least and np.linalg.norm(arm) > 25:
                return pivot, axis, near

    def link(self, name, ends):
        rng, rod = self.rng, {"ends": list(ends)}
        if rng.random() < 0.75:
            rod["diameter"] = float(rng.uniform(5, 12))
        if rng.random() < 0.2:
            apart = np.linalg.norm(self.spots[ends[0]] - self.spots[ends[1]])
            rod["length"] = float(apart * rng.uniform(0.985, 1.02))
        self.tables["rod"][name] = rod

    def stage(self, k):
        """One joint more, moved by a rod."""
        rng, slides = self.rng, self.rng.random() < 0.2
        address, far = self.end()
        left = rng.random() < 0.2
        name = f"crank {k} left" if left else f"crank {k}"
        if left:
            self.tables["mirror"]["left"] = "right"
        pivot, axis, near = self.place(far, slides)
        self.body(name, pivot, axis, near, slides=slides)
        rides = [b for b in self.tables["body"] if " " not in b and b != name]
        if rng.random() < 0.25 and not left:
            on = str(rng.choice(rides))
            if on != address.split("/")[0]:
                self.tables["body"][name]["on"] = on
        self.link(f"link {k} left" if left else f"link {k}", (address, f"{name}/p"))
        # a coupling that hangs on rods solved together takes both closures minutes
        if not left and not slides and rng.random() < 0.3 and "swing 0" not in \
                self.tables["body"]:
            self.geared(k, name)

    def geared(self, k, mate):
        rng = self.rng
        pivot = self.spots[f"{mate}/p"] + rng.normal(size=3) * 60
        self.body(f"wheel {k}", pivot, unit(rng.normal(size=3)),
                  pivot + unit(rng.normal(size=3)) * rng.uniform(30, 60))
        self.tables["coupling"][f"gear {k}"] = {
            "bodies": [mate, f"wheel {k}"],
            "ratio": float(rng.uniform(0.4, 2) * rng.choice([-1, 1]))}

    def round_and_round(self):
        """A drag link: the crank follows all the way round, and turns a wheel."""
        rng = self.rng
        shift = rng.normal(size=3) * 80 + [0, 150, 0]
        pitch = self.tables["input"]["pitch"]
        pitch["travel"] = [-float(rng.uniform(5, 30)), float(rng.uniform(150, 260))]
        self.tables["body"]["tube"]["points"]["round"] = list([0, shift[1], 60])
        self.spots["tube/round"] = np.array([0, shift[1], 60.0])
        pivot = np.array([rng.uniform(8, 18), shift[1], rng.uniform(-5, 5)])
        self.body("drag crank", pivot, [0.0, 1.0, 0.0], pivot + [45, rng.uniform(-8, 8), 40])
        self.tables["rod"]["drag link"] = {"ends": ["tube/round", "drag crank/p"]}
        self.geared(99, "drag crank")

    def calm(self):
        """Small travels: rods together that come to the end of their reach take minutes."""
        for item in self.tables["input"].values():
            if not isinstance(item["travel"][0], str):
                item["travel"] = [k / 4 for k in item["travel"]]

    def group(self, k):
        """Two or three rods that only together settle as many joints."""
        rng = self.rng
        (one, start), three = self.end(), rng.random() < 0.6
        base = start + unit(rng.normal(size=3)) * rng.uniform(90, 160)
        axis = unit(rng.normal(size=3))
        across = unit(np.cross(axis, rng.normal(size=3)))
        tall = np.cross(axis, across)
        top = base + tall * 70
        self.body(f"swing {k}", base, axis, top + across * 5)
        self.body(f"beam {k}", top, axis, top - across * 35 + tall * 15, on=f"swing {k}")
        beam = self.tables["body"][f"beam {k}"]["points"]
        beam["q"] = list(top + across * 40 + tall * 5)
        anchor = top + across * 90 - tall * 40 + rng.normal(size=3) * 5
        fixed = self.tables["airframe"]["points"]
        fixed[f"anchor {k}"] = list(anchor)
        self.tables["rod"][f"push {k}"] = {"ends": [one, f"beam {k}/p"]}
        if three:
            tip = top + tall * 60
            self.body(f"horn {k}", top + across * 40 + tall * 5, axis, tip + across * 60,
                      on=f"beam {k}")
            horn = self.tables["body"][f"horn {k}"]["points"]
            horn["r"] = list(top + across * 80 + tall * 20)
            fixed[f"brace {k}"] = list(top + across * 140 + tall * 80)
            self.tables["rod"][f"brace {k}"] = {"ends": [f"horn {k}/p", f"airframe/brace {k}"]}
            self.tables["rod"][f"tie {k}"] = {"ends": [f"horn {k}/r", f"airframe/anchor {k}"]}
        else:
            self.tables["rod"][f"tie {k}"] = {"ends": [f"beam {k}/q", f"airframe/anchor {k}"],
                                              "diameter": 6.0}

    def clothed(self):
        """Solids on the moving parts."""
        rng = self.rng
        bodies = list(self.tables["body"])
        for k in range(int(rng.integers(2, 5 if self.small else 8))):
            name = str(rng.choice(bodies))
            body = self.tables["body"][name]
            near = np.array(body["points"]["p"]) + rng.normal(size=3) * 8
            body["solid"][f"s{k}"] = solid(rng, near, self.small)

    def furnished(self):
        """Solids about it that don't move, some 2 to 50 mm off where the parts come."""
        rng, machine = self.rng, read(text_of(self.tables))
        scene, box = Scene(machine), machine.inputs
        posture = close(machine, samples(box, rng, 40))
        names = [n for n in machine.solids if not n.startswith("airframe")]
        for k in range(int(rng.integers(2, 4 if self.small else 7))):
            name = str(rng.choice(names))
            at = int(rng.integers(40))
            points, radius = scene.posed(posture, name)[0]
            place = points[at].mean(axis=0)
            if not np.isfinite(place).all():
                continue
            way = unit(rng.normal(size=3))
            out = place + way * (((points[at] - place) @ way).max() + radius
                                 + rng.uniform(2, 50))
            self.tables["airframe"]["solid"][f"f{k}"] = fixed_solid(rng, out, way, self.small)

    def specials(self):
        """What is hard for a proof: faces that slide past each other, rings in rings."""
        rng = self.rng
        body = self.tables["body"]["tube"]
        fixed = self.tables["airframe"]["solid"]
        kind = rng.choice(["none", "slab", "ring", "touch"], p=[0.4, 0.25, 0.25, 0.1])
        if kind in ("slab", "touch"):  # faces square to the axis stay parallel all the way
            gap = 0.0 if kind == "touch" else float(rng.uniform(0.2, 4))
            body["solid"]["slab"] = {"kind": "box", "corner": [-30, 100, -30],
                                     "opposite": [30, 110, 30]}
            fixed["slab"] = {"kind": "box", "corner": [-60, 110 + gap, -60],
                             "opposite": [60, 118, 60]}
        if kind == "ring":
            body["solid"]["ring"] = {"kind": "washer", "at": [0, 140, 0], "normal": [0, 1, 0],
                                     "outside": 30.0, "inside": 12.0, "thickness": 6.0}
            off = rng.uniform(-1, 1, 2) * rng.choice([0, 1])
            fixed["ring"] = {"kind": "washer", "at": [off[0], 140, off[1]], "normal": [0, 1, 0],
                             "outside": 50.0, "inside": float(rng.uniform(33, 38)),
                             "thickness": 4.0}

    def stopped(self):
        """A pad that meets blocks at both ends of the pitch travel, now and then at neutral."""
        rng = self.rng
        if rng.random() < 0.2:
            return
        least, greatest = self.tables["input"]["pitch"]["travel"]
        # where stops meet ends of reach or rods together, what they leave is minutes of work
        ends = [abs(k) for i in self.tables["input"].values()
                for k in i["travel"] if not isinstance(k, str)]
        if "swing 0" in self.tables["body"] or max(ends) > 23:
            return
        low, high = -least * rng.uniform(0.6, 1.2), greatest * rng.uniform(0.6, 1.2)
        if rng.random() < 0.3:
            low = high = min(low, high)
        y, arm = -120.0, 90.0
        self.tables["body"]["tube"]["solid"]["pad"] = {
            "kind": "sphere", "at": [0, y, arm], "diameter": 12.0}
        for side, angle in (("greatest", high), ("least", -low)):
            turn = math.radians(angle)
            at = np.array([arm * math.sin(turn), y, arm * math.cos(turn)])
            way = np.array([math.cos(turn), 0, -math.sin(turn)]) * (1 if angle > 0 else -1)
            gap = 6.0 if rng.random() < 0.95 else 6.0 - 2 * arm * abs(math.sin(turn))
            self.tables["airframe"]["solid"][f"stop {side}"] = {
                "kind": "plate", "at": list(at + way * (gap + 5)), "normal": list(way),
                "u": [0, 1, 0], "thickness": 10.0,
                "outline": [[-15, -15], [15, -15], [15, 15], [-15, 15]]}
            self.tables["stop"][side] = {"input": "pitch", "side": side, "between":
                                         ["tube/pad", f"airframe/stop {side}"]}
            if rng.random() < 0.2:  # a second one that meets at the same angle
                self.tables["body"]["tube"]["solid"][f"pad {side}"] = {
                    "kind": "sphere", "at": [0, y - 40, arm], "diameter": 12.0}
                plate = dict(self.tables["airframe"]["solid"][f"stop {side}"])
                plate["at"] = list(np.add(plate["at"], [0, -40, 0]))
                self.tables["airframe"]["solid"][f"twin {side}"] = plate
                self.tables["stop"][f"twin {side}"] = {
                    "input": "pitch", "side": side,
                    "between": [f"tube/pad {side}", f"airframe/twin {side}"]}

    def ruled(self):
        rng, machine = self.rng, read(text_of(self.tables))
        names = list(machine.solids)
        if len(names) > 2 and rng.random() < 0.4:
            one, other = (str(n) for n in rng.choice(names, 2, replace=False))
            rule = {"waive": True} if rng.random() < 0.5 else {"require": float(rng.uniform(0, 9))}
            if one.split("/")[0] != other.split("/")[0]:
                self.tables["pair"].append({"between": [one, other], "reason": "drawn by lot"}
                                           | rule)
        self.tables["tolerance"] = {"hardpoint": float(rng.choice([0.05, 0.1, 0.4])),
                                    "rod": float(rng.choice([0.0, 0.2]))}
        self.tables["clearance"] = {"structure": float(rng.uniform(0.5, 8)), "same": 2.0,
                                    "different": float(rng.uniform(0.5, 6))}


def random_text(seed, small=True):
    """A model file of a seed; `small` keeps what takes the library long rare."""
    rng = np.random.default_rng([7, *np.atleast_1d(seed)])
    draft = Draft(rng, small)
    draft.driven()
    kind = rng.random()
    if kind < 0.2:
        draft.round_and_round()
    elif kind < 0.35:
        draft.calm()
        draft.group(0)
    for k in range(int(rng.integers(1, 3 if small else 5))):
        draft.stage(k)
    draft.clothed()
    draft.specials()
    draft.furnished()
    draft.stopped()
    draft.ruled()
    shift = np.where(rng.random(3) < 0.5, 0.0, rng.choice([1e3, 5e4]) * rng.uniform(-1, 1, 3))
    if draft.tables["mirror"]:
        shift[1] = 0.0
    inches = rng.random() < 0.3
    tables = scaled(draft.tables, 1 / INCH if inches else 1.0, shift)
    tables["length"] = "in" if inches else "mm"
    return text_of({k: v for k, v in tables.items() if v})


def settled_joints(machine):
    """Every joint that something moves."""
    return set().union(*(set(s[1]) if s[0] == "rods" else {s[1]} for s in order(machine)), set())
