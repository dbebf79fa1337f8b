"""The library's answers held against the second reading's: what is claimed and is not so."""

import copy
import itertools
from dataclasses import dataclass, field

import numpy as np

import linkage
from linkage.model.file import parse_model

from .attack import Hunt, Scene, samples, worst_builds
from .closing import close, order
from .contact import first_contact
from .joined import Away
from .reading import read

ARC = 0.0155  # mm that a solid with arcs may be larger by in the library, or smaller by here
STARTS = 2
EDGE = 1e-5  # degrees (mm) about an end of reach within which nothing is compared
WAY = 2001  # places on a way, looked at for one out of reach
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
    refused: int = 0
    beyond: int = 0  # places in reach that the straight way from neutral does not lead to

    def add(self, other):
        self.faults += other.faults
        self.slack += other.slack
        self.built_slack += other.built_slack
        for name in ("positions", "builds", "pairs", "undecided", "refused", "beyond"):
            setattr(self, name, getattr(self, name) + getattr(other, name))


class Case:
    """One model file read twice."""

    def __init__(self, text, seed=0):
        self.text, self.machine = text, read(text)
        self.system = linkage.System(parse_model(text))
        self.scene = Scene(self.machine)
        self.rng = np.random.default_rng(seed)
        driven = {name for name, _ in self.machine.drives.values()}
        self._sampled, self.starts = {}, STARTS
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

    def met_all(self, pairs, count, below=None):
        """Least gaps met as drawn and where, [(gap, place)]: at random first, then downhill.

        What stays above its `below` at the random places is searched no further; inf where parts
        that share a joint leave nothing.
        """
        if count not in self._sampled:
            at = samples(self.box, self.rng, count)
            self._sampled[count] = at, close(self.machine, at)
        at, posture = self._sampled[count]
        place = np.stack([at[n] for n in self.box], axis=1)
        scenes = [self.scene_of(pair) for pair in pairs]
        gap = np.array([np.full(count, np.inf) if scene is None else np.nan_to_num(
            scene.gap(posture, pair)[1], nan=np.inf)
            for scene, pair in zip(scenes, pairs, strict=True)]).reshape(-1, count)
        best = np.argsort(gap, axis=1, kind="stable")[:, :self.starts]
        found = [(gap[k, n[0]], place[n[0]]) for k, n in enumerate(best)]
        limit = np.full(len(pairs), np.inf) if below is None else np.asarray(below)
        near = [k for k in range(len(pairs)) if found[k][0] < limit[k]]
        if near:
            hunt = Hunt([(scenes[k], pairs[k]) for k in near], self.box, [(0.0, 0.0)] * len(near))
            for k, *result in zip(near, *hunt.down(place[best[near]]), strict=True):
                found[k] = tuple(result)
        return [(g, self.place(p)) for g, p in found]

    def met(self, pair, count):
        return self.met_all([pair], count)[0]

    def worst(self, pair, **more):
        """Least gap met of any build, and where."""
        gap, at, _ = worst_builds([(self.scene_of(pair), pair)], self.box, self.rng, **more)
        return gap[0], self.place(at[0])

    def inside(self, box):
        """The same system over other travels."""
        other = copy.copy(self)
        other.box, other._sampled = box, {}
        return other

    def arcs(self, pair):
        return ARC * sum(self.machine.solids[n]["kind"] in ("washer", "plate") for n in pair)


def motion_faults(case, count=200):
    """Joints and reach against the second closure.

    Where every loop closes, and on the straight way there from neutral one does not, the closure
    can't tell how often a coupled joint has turned: such places are counted and not compared.
    Where only the library finds no posture, that the way does so is looked for far more finely.
    """
    found = Findings(positions=count)
    at = samples(case.box, case.rng, count)
    posture, motion = close(case.machine, at), case.system.sweep(**at)
    ending = close(case.machine, at, follow=False)
    for body, joint in case.machine.joints.items():
        here = posture.values.get(body, np.zeros(count))
        there = np.broadcast_to(motion.angle(body), (count,))
        off = np.abs(here - (there if joint.slides else np.radians(there)))
        off = off if joint.slides else np.minimum(off, np.abs(off - 2 * np.pi))
        lost = np.isnan(here) != np.isnan(there)
        beyond = lost & np.isnan(here) & ~np.isnan(ending.values.get(body, np.zeros(count)))
        for k in np.flatnonzero(lost & np.isnan(there)):
            beyond[k] = leaves_reach(case, at, k, body)
        found.beyond += int(beyond.sum())
        lost &= ~beyond
        scale = 1e4 if joint.slides else 1.0
        for k in np.flatnonzero(lost | (off > 1e-6 * scale)):
            if not at_edge(case, at, k):
                found.faults.append(Fault("motion", body, float(there[k]), float(here[k]),
                                          {n: v[k] for n, v in at.items()}))
    return found


def leaves_reach(case, at, k, body):
    """Whether a joint is out of reach anywhere on the straight way from neutral to a position."""
    share = np.linspace(0.0, 1.0, WAY)
    posture = close(case.machine, {n: v[k] * share for n, v in at.items()}, follow=False)
    return bool(np.isnan(posture.values.get(body, share)).any())


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
    found, rows, far = Findings(), table.to_dict("records"), table.attrs["far"]
    found.faults += met_below_bound(table)
    listed = {frozenset(name.split(" | ")) for name in [*table["pair"], *far]}
    for row, met in zip(rows, case.met_all([row["pair"].split(" | ") for row in rows], count),
                        strict=True):
        found.add(row_faults(case, row, met))
    apart = case.met_all([name.split(" | ") for name in far], count,
                         [bound + CLOSE for bound in far.values()])
    for (name, bound), (gap, at) in zip(far.items(), apart, strict=True):
        if gap < bound - NEARLY:
            found.faults.append(Fault("far", name, bound, gap, at))
    found.pairs, found.positions = len(rows) + len(far), count * (len(rows) + len(far))
    found.add(verdict_faults(case, rows, count))
    found.add(left_out(case, listed, count // 3))
    return found


def verdict_faults(case, rows, count):
    """What is called ok: over the travel that the stops leave, which the oracle finds itself."""
    found, box = Findings(), real_box(case)
    rows = [row for row in rows if row["ok"] and row["rule"] not in ("stop", "waived")]
    if box is None or not rows:
        return found
    met = case.inside(box).met_all([row["pair"].split(" | ") for row in rows], count)
    for row, (gap, at) in zip(rows, met, strict=True):
        bound = np.fmax(row["required"], row.get("real_proven", -np.inf))
        if gap < bound - NEARLY:
            found.faults.append(Fault("ok", row["pair"], bound, gap, at))
    return found


def real_box(case):
    """Travels cut at the first contact of the stops; None where one meets nothing or at neutral.

    The stops of a random system all stand on the pitch, which alone moves their faces.
    """
    box = {name: list(ends) for name, ends in case.box.items()}
    for side, sign in (("least", -1.0), ("greatest", 1.0)):
        for name in {s["input"] for s in case.machine.stops.values() if s["side"] == side}:
            k = int(sign > 0)
            limit = sign * (abs(box[name][k]) + 10.0)
            ends = [first_contact(case, s["between"], name, limit)
                    for s in case.machine.stops.values()
                    if (s["input"], s["side"]) == (name, side)]
            box[name][k] = min(ends, key=abs)
            if not 0 < abs(box[name][k]) < np.inf:
                return None
    return {name: tuple(ends) for name, ends in box.items()}


def least_faults(row, low, high, within, place):
    """What is wrong with the least gap met, from bounds of the gap there."""
    least, pair = row["least"], row["pair"]
    if not np.isfinite(high):
        yield Fault("least out of reach", pair, least, high, place)
    elif least > 0 and row["rule"] != "joined" and not least - NEARLY <= high <= least + within:
        yield Fault("least not so there", pair, least, high, place)
    elif least <= 0 and low > within:
        yield Fault("no contact there", pair, least, low, place)


def row_faults(case, row, met):
    pair, found, (gap, at) = row["pair"].split(" | "), Findings(), met
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
    pairs = [pair for pair in itertools.combinations(machine.solids, 2)
             if pair[0].split("/")[0] != pair[1].split("/")[0] and frozenset(pair) not in listed
             and moves(machine, *pair) and case.scene_of(pair) is not None]
    found.pairs = len(pairs)
    for pair, (gap, at) in zip(pairs, case.met_all(pairs, count), strict=True):
        found.faults.append(Fault("no list names it", " | ".join(pair), np.nan, gap, at))
    return found


def met_below_bound(table):
    """Bounds of the proof itself that are above a gap it met, which a row of the table hides."""
    known = table.attrs["earlier"]
    proof, names = known.proof, known.travel.names
    for k in np.flatnonzero(proof.proven > proof.least + NEARLY):
        yield Fault("bound above what it met", known.stage.pairs[k].name, proof.proven[k],
                    proof.least[k], dict(zip(names, proof.place[k].tolist(), strict=True)))


def built_faults(case, **more):
    """Every bound and verdict as built against random and worst builds."""
    table, found = linkage.clearance(case.system, built=True), Findings()
    found.faults += met_below_bound(table)
    rows = {row["pair"]: (row["proven"], row) for row in table.to_dict("records")}
    rows |= {name: (bound, None) for name, bound in table.attrs["far"].items()}
    pairs = [name.split(" | ") for name in rows]
    drawn = [gap for gap, _ in case.met_all(pairs, 100, [b + CLOSE for b, _ in rows.values()])]
    near = [k for k, (bound, _) in enumerate(rows.values()) if drawn[k] < bound + CLOSE]
    if not near:
        return found
    gaps, places, _ = worst_builds([(case.scene_of(pairs[k]), pairs[k]) for k in near], case.box,
                                   case.rng, **more)
    for k, gap, at in zip(near, gaps, places, strict=True):
        name, (bound, row) = list(rows.items())[k]
        built_fault(found, (name, bound, row), (gap, case.place(at)),
                    (drawn[k], bool(case.machine.stops)))
    count = more.get("builds", 40)
    found.pairs, found.builds = len(near), len(near) * count
    found.positions = found.builds * more.get("places", 40)
    return found


def built_fault(found, claim, met, drawn):
    """One claim; of a system with stops the verdict is of another travel, so only the bound."""
    (name, bound, row), (gap, at), (drawn, stopped) = claim, met, drawn
    if gap < bound - NEARLY:
        found.faults.append(Fault("built", name, bound, gap, at))
    if row is None:
        return
    free = row["rule"] in ("stop", "waived")
    if row["ok"] and not free and not stopped and gap < row["required"] - NEARLY:
        found.faults.append(Fault("built ok", name, row["required"], gap, at))
    found.undecided += not row["ok"] and not free and gap > row["required"] + 0.1
    if np.isfinite(gap) and gap > 1e-3:
        found.built_slack.append((gap - bound, max(drawn - gap, 1e-9)))
