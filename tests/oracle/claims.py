"""The library's answers held against the second reading's: what is claimed and is not so."""

import itertools
from dataclasses import dataclass, field

import numpy as np

import linkage
from linkage.model.file import parse_model

from .attack import Scene, least, samples, worst_build
from .closing import close, order
from .joined import Away
from .reading import read

ARC = 0.0155  # mm that a solid with arcs may be larger by in the library, or smaller by here
STARTS = 2
EDGE = 1e-5  # degrees (mm) about an end of reach within which nothing is compared
CLOSE = 15.0  # mm above a bound within which a far pair is searched downhill too
NEARLY = 1e-6  # mm between two ways to work out one gap


@dataclass
class Fault:
    """A claim that is not so."""

    what: str
    pair: str
    claim: float
    truth: float
    at: dict

    def __str__(self):
        place = ", ".join(f"{n} {v:.9g}" for n, v in self.at.items())
        return (f"{self.what}: {self.pair}: claimed {self.claim:.6g}, met {self.truth:.6g} at "
                f"{place}")


@dataclass
class Findings:
    """Faults, and what was looked at to find them."""

    faults: list = field(default_factory=list)
    slack: list = field(default_factory=list)  # (gap met less the bound, gap met), as drawn
    built_slack: list = field(default_factory=list)  # (the same less, what the tolerances cost)
    positions: int = 0
    builds: int = 0
    pairs: int = 0
    undecided: int = 0

    def add(self, other):
        self.faults += other.faults
        self.slack += other.slack
        self.built_slack += other.built_slack
        for name in ("positions", "builds", "pairs", "undecided"):
            setattr(self, name, getattr(self, name) + getattr(other, name))


class Case:
    """One model file read twice."""

    def __init__(self, text, seed=0):
        self.text, self.machine = text, read(text)
        self.system = linkage.System(parse_model(text))
        self.scene = Scene(self.machine)
        self.rng = np.random.default_rng(seed)
        driven = {name for name, _ in self.machine.drives.values()}
        self._sampled = {}
        stops = {frozenset(stop["between"]) for stop in self.machine.stops.values()}
        self.whole = stops | set(self.machine.rules)
        self.box = {n: t for n, t in self.machine.inputs.items() if n in driven}

    def place(self, at):
        return dict(zip(self.box, np.asarray(at).tolist(), strict=True))

    def scene_of(self, pair):
        """The whole solids; of parts that share a joint only what is away from it.

        None where that leaves nothing of one of the two.
        """
        if frozenset(pair) in self.whole or not share_a_joint(self.machine, *pair):
            return self.scene
        away = Away(self.scene, pair)
        return None if any(away.empty(name) for name in pair) else away

    def met(self, pair, count, below=np.inf):
        """Least gap met and where, as drawn: at random places first, then downhill.

        What stays above `below` at the random places is searched no further.
        """
        if count not in self._sampled:
            at = samples(self.box, self.rng, count)
            self._sampled[count] = at, close(self.machine, at)
        at, posture = self._sampled[count]
        scene = self.scene_of(pair)
        if scene is None:
            return np.inf, {n: v[0] for n, v in at.items()}
        gap = np.nan_to_num(scene.gap(posture, pair)[1], nan=np.inf)
        best = np.argsort(gap, kind="stable")[:STARTS]
        if not gap[best[0]] < below:
            return gap[best[0]], {n: v[best[0]] for n, v in at.items()}
        gap, at = least(scene, pair, self.box, {n: v[best] for n, v in at.items()})
        return gap, self.place(at)

    def arcs(self, pair):
        return ARC * sum(self.machine.solids[n]["kind"] in ("washer", "plate") for n in pair)


def motion_faults(case, count=200):
    """Joints and reach against the second closure."""
    found = Findings(positions=count)
    at = samples(case.box, case.rng, count)
    posture, motion = close(case.machine, at), case.system.sweep(**at)
    for body, joint in case.machine.joints.items():
        here = posture.values.get(body, np.zeros(count))
        there = np.broadcast_to(motion.angle(body), (count,))
        off = np.abs(here - (there if joint.slides else np.radians(there)))
        off = off if joint.slides else np.minimum(off, np.abs(off - 2 * np.pi))
        lost = np.isnan(here) != np.isnan(there)
        scale = 1e4 if joint.slides else 1.0
        for k in np.flatnonzero(lost | (off > 1e-6 * scale)):
            if not at_edge(case, at, k):
                found.faults.append(Fault("motion", body, float(there[k]), float(here[k]),
                                          {n: v[k] for n, v in at.items()}))
    return found


def at_edge(case, at, k):
    """Whether a position lies where a hair's breadth decides on reach."""
    rng = np.random.default_rng(0)
    near = {n: v[k] + EDGE * rng.uniform(-1, 1, 24) for n, v in at.items()}
    posture = close(case.machine, near)
    lost = np.array([np.isnan(v) for v in posture.values.values()])
    return bool((lost.any(axis=1) & ~lost.all(axis=1)).any())


def clearance_faults(case, count=300):
    """Every bound, least gap and verdict of the table as drawn, and the far and unlisted pairs."""
    table = linkage.clearance(case.system)
    found = Findings()
    listed = set()
    for row in table.to_dict("records"):
        listed.add(frozenset(row["pair"].split(" | ")))
        found.add(row_faults(case, row, count))
    for name, bound in table.attrs["far"].items():
        listed.add(frozenset(name.split(" | ")))
        gap, at = case.met(name.split(" | "), count, bound + CLOSE)
        found.positions += count
        found.pairs += 1
        if gap < bound - NEARLY:
            found.faults.append(Fault("far", name, bound, gap, at))
    found.add(left_out(case, listed, count // 3))
    return found


def least_faults(row, low, high, within, place):
    """What is wrong with the least gap met, from bounds of the gap there."""
    least, pair = row["least"], row["pair"]
    if not np.isfinite(high):
        yield Fault("least out of reach", pair, least, high, place)
    elif least > 0 and row["rule"] != "joined" and not least - NEARLY <= high <= least + within:
        yield Fault("least not so there", pair, least, high, place)
    elif least <= 0 and low > within:
        yield Fault("no contact there", pair, least, low, place)


def row_faults(case, row, count):
    pair, found = row["pair"].split(" | "), Findings(positions=count, pairs=1)
    gap, at = case.met(pair, count)
    if np.isfinite(row["least"]):
        here = {n: np.array([row[n]]) for n in case.box}
        low, high = (k[0] for k in case.scene.gap(close(case.machine, here), pair))
        if row["rule"] == "joined":
            low, high = -np.inf, max(high, row["least"])  # a part may be left out
        place = {n: row[n] for n in case.box}
        if at_edge(case, here, 0):
            high = row["least"]  # a hair decides there, and a joint runs as the root of it
        else:
            found.faults += least_faults(row, low, high, case.arcs(pair) + NEARLY, place)
        if high < gap and row["rule"] != "joined":
            gap, at = high, place
    if gap < row["proven"] - NEARLY:
        found.faults.append(Fault("proven", row["pair"], row["proven"], gap, at))
    free = row["rule"] in ("stop", "waived")
    if row["ok"] and not free and gap < row["required"] - NEARLY:
        found.faults.append(Fault("ok", row["pair"], row["required"], gap, at))
    if np.isfinite(gap) and gap > 1e-3:
        found.slack.append((gap - row["proven"], gap))
    found.undecided += not row["ok"] and not free and gap > row["required"] + 0.1
    return found


def moves(machine, one, other):
    """Joints that part two solids' bodies, empty where they are rigidly one."""
    def chains(name):
        part = name.split("/")[0]
        ends = machine.rods[part][0] if part in machine.rods else (f"{part}/",)
        return [set(machine.chain(end.split("/")[0])) for end in ends]

    driven = set().union(*(set(s[1]) if s[0] == "rods" else {s[1]} for s in order(machine)), set())
    every = [*chains(one), *chains(other)]
    return (set.union(*every) - set.intersection(*every)) & driven


def share_a_joint(machine, one, other):
    """Whether two parts meet at a pivot or a rod end."""
    a, b = one.split("/")[0], other.split("/")[0]
    ends = {p: {e for e in machine.rods[p][0]} if p in machine.rods else set() for p in (a, b)}
    if ends[a] & ends[b]:
        return True
    for p, q in ((a, b), (b, a)):
        if p in machine.rods and any(e.split("/")[0] == q for e in machine.rods[p][0]):
            return True
        if p in machine.joints and machine.joints[p].on == q:
            return True
    return False


def left_out(case, listed, count):
    """Pairs that move and that no list names, though no joint is shared."""
    found, machine = Findings(), case.machine
    for one, other in itertools.combinations(machine.solids, 2):
        if one.split("/")[0] == other.split("/")[0] or frozenset((one, other)) in listed or \
                not moves(machine, one, other) or case.scene_of((one, other)) is None:
            continue
        gap, at = case.met((one, other), count)
        found.pairs += 1
        found.faults.append(Fault("no list names it", f"{one} | {other}", np.nan, gap, at))
    return found


def built_faults(case, **more):
    """Every bound and verdict as built against random and worst builds."""
    table, found = linkage.clearance(case.system, built=True), Findings()
    rows = [(row["pair"], row["proven"], row) for row in table.to_dict("records")]
    rows += [(name, bound, None) for name, bound in table.attrs["far"].items()]
    for name, bound, row in rows:
        pair = name.split(" | ")
        drawn, _ = case.met(pair, 100, bound + CLOSE)
        if row is None and drawn > bound + CLOSE:
            continue
        scene = case.scene_of(pair)
        if scene is None:
            continue
        gap, at, _ = worst_build(scene, pair, case.box, case.rng, **more)
        found.pairs += 1
        found.builds += more.get("builds", 40)
        found.positions += more.get("builds", 40) * more.get("places", 40)
        if gap < bound - NEARLY:
            found.faults.append(Fault("built", name, bound, gap, case.place(at)))
        if row is None:
            continue
        free = row["rule"] in ("stop", "waived")
        if row["ok"] and not free and gap < row["required"] - NEARLY:
            found.faults.append(Fault("built ok", name, row["required"], gap, case.place(at)))
        found.undecided += not row["ok"] and not free and gap > row["required"] + 0.1
        if np.isfinite(gap) and gap > 1e-3:
            found.built_slack.append((gap - bound, max(drawn - gap, 1e-9)))
    return found
