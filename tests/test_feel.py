"""Friction that grows with load, where a stick stays when let go, trim: by hand and by brute force.

The free bodies and the search of the least energy are written here and share nothing with the
package but the model's numbers.
"""

import dataclasses
import math

import numpy as np
import pytest
from scipy.optimize import brentq, fsolve
from systems.load_models import EXAMPLES, stage, system_of
from systems.spring_models import lever

import linkage
from linkage import loads
from linkage.loads.rubbing import rubs
from linkage.model.springs import Feel
from linkage.motion import System
from linkage.results import Results

SPRING_TRIM = EXAMPLES[0].parent / "spring_trim.toml"

# --- the Capstan, bushes, rod ends ----------------------------------------------------------------

CABLE = """
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = {{ grip = [0, 0, 400] }}
[body.quadrant]
pivot = [900, 0, 0]
axis = "lateral"
[surface.elevator]
body = "quadrant"
hinge = {{ at = "x", neutral = "{moment} N*m", slope = "0 N*m" }}
[coupling.cable]
bodies = ["{one}", "{other}"]
ratio = {ratio}
friction = 0.25
wrap = 180
"""


@pytest.mark.parametrize("ends", [("stick", "quadrant", 0.8), ("quadrant", "stick", 1.25)])
@pytest.mark.parametrize("moment", [3.0, -3.0])
def test_the_capstan(ends, moment):
    """Half a turn at 0.25: 2.193 (Hibbeler, Statics, belt friction, from memory: T2 = T1 e^(mu b)).

    Against the load the hand gives that much more than without friction; with it that much less.
    """
    assert math.exp(0.25 * math.pi) == pytest.approx(2.193, abs=5e-4)
    one, other, ratio = ends
    felt = loads.felt(system_of(CABLE.format(moment=moment, one=one, other=other, ratio=ratio)),
                      "pitch", [-10.0, 0.0, 5.0])
    wanted = -moment * 1000 * 0.8 / 400
    assert felt.force == pytest.approx(wanted)
    more, less = wanted * math.exp(0.25 * math.pi), wanted * math.exp(-0.25 * math.pi)
    assert felt.up == pytest.approx(max(more, less))
    assert felt.down == pytest.approx(min(more, less))


def test_a_bush_by_the_friction_circle():
    """A lever with a weightless load P at arm a, hand at arm R, both square: on paper.

    Moments about the pivot: F R = P a + mu r |R|, |R| = P + F: F = P (a + mu r) / (R - mu r).
    """
    system = lever('[spring.s]\nends = ["stick/hook", "airframe/aft"]\nrate = "1e-9 N/mm"\n'
                   'preload = "500 N"\n[joint.j]\nat = "stick/pivot"\nbolt = 20\nfriction = 0.15\n')
    felt = loads.felt(system, "pitch", [0.0])
    rub = 0.15 * 10  # the spring pulls aft, so the hand holds forward: below 0
    assert -felt.force[0] == pytest.approx(500 * 100 / 400)
    assert -felt.down[0] == pytest.approx(500 * (100 + rub) / (400 + rub))
    assert -felt.up[0] == pytest.approx(500 * (100 - rub) / (400 - rub))


STAGE = """
[input.pitch]
travel = [-20, 20]
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
friction = "{m1} N*mm"
points = {{ grip = [{gx}, 0, 400], arm = [{ax}, 0, {az}] }}
[body.horn]
pivot = [900, 0, 50]
axis = "lateral"
friction = "{m2} N*mm"
points = {{ p = [{bx}, 0, {bz}] }}
[rod.push]
ends = ["stick/arm", "horn/p"]
friction = "{m3} N*mm"
fitted = {{ rod_end = "ball" }}
[rod_end.ball]
ball = 12
race = 9
sphere = {sphere}
friction = {mu3}
[joint.one]
at = "stick/pivot"
bolt = {d1}
friction = {mu1}
[joint.two]
at = "horn/pivot"
bolt = {d2}
friction = {mu2}
[surface.elevator]
body = "horn"
hinge = {{ at = "x", neutral = "{h0} N*mm", slope = "{h1} N*mm" }}
"""


def turned(p, c, t):
    """A point turned about the y axis through c, right-hand, in x and z."""
    x, z = p[0] - c[0], p[1] - c[1]
    return np.array([c[0] + x * math.cos(t) + z * math.sin(t),
                     c[1] - x * math.sin(t) + z * math.cos(t)])


class Plane:
    """Stick, rod and horn in a plane: nine equations of three free bodies, friction in them."""

    def __init__(self, k):
        self.k, self.o1, self.o2 = k, np.zeros(2), np.array([900.0, 50.0])
        self.a, self.b = (np.array([k[x], k[z]]) for x, z in (("ax", "az"), ("bx", "bz")))
        self.length = np.linalg.norm(self.b - self.a)

    def horn(self, t):
        at = turned(self.a, self.o1, t)
        return brentq(lambda s: np.linalg.norm(turned(self.b, self.o2, s) - at) - self.length,
                      t * self.guess - 0.3, t * self.guess + 0.3)

    @property
    def guess(self):
        return self.a[1] / (self.b[1] - 50.0)

    def tilt(self, t):
        d = turned(self.b, self.o2, self.horn(t)) - turned(self.a, self.o1, t)
        return math.atan2(-d[1], d[0])  # right-hand about y: x to -z

    def force(self, t, sense):
        """The hand's force square to the stick, moving one way (0: no friction)."""
        k, h, s = self.k, 1e-6, self.horn(t)
        rates = {"horn": (self.horn(t + h) - self.horn(t - h)) / (2 * h),
                 "rod": (self.tilt(t + h) - self.tilt(t - h)) / (2 * h)}
        a, b = turned(self.a, self.o1, t), turned(self.b, self.o2, s)
        g = turned((k["gx"], 400.0), self.o1, t)
        along = (b - a) / self.length
        square = np.array([g[1], -g[0]]) / math.hypot(*g)  # way of the grip as the stick turns aft
        air = k["h0"] + k["h1"] * math.degrees(s)

        def moment(p, f):  # about y of a force at p
            return p[1] * f[0] - p[0] * f[1]

        def left(u):
            r1, fa, fb, r2, hand = u[0:2], u[2:4], u[4:6], u[6:8], u[8]
            # fa: rod on stick, fb: rod on horn; r1, r2: airframe on stick, horn
            pull = abs(fa @ along)
            m1 = -sense * (k["m1"] + k["mu1"] * k["d1"] / 2 * np.linalg.norm(r1))
            m2 = -sense * np.sign(rates["horn"]) * (
                k["m2"] + k["mu2"] * k["d2"] / 2 * np.linalg.norm(r2))
            ball = k["m3"] + k["mu3"] * k["sphere"] / 2 * pull
            ma = -sense * np.sign(1.0 - rates["rod"]) * ball  # of the rod on the stick
            mb = -sense * np.sign(rates["horn"] - rates["rod"]) * ball
            return [*(r1 + fa + hand * square), moment(a, fa) + hand * moment(g, square) + m1 + ma,
                    *(-fa - fb), -moment(a, fa) - moment(b, fb) - ma - mb,
                    *(r2 + fb), moment(b - self.o2, fb) + m2 + mb + air]

        found, _, good, _ = fsolve(left, np.ones(9), full_output=True, xtol=1e-13)
        assert good == 1 or np.abs(left(found)).max() < 1e-6
        return found[8]


def numbers(rng):
    return {"m1": rng.uniform(0, 300), "m2": rng.uniform(0, 300), "m3": rng.uniform(0, 80),
            "gx": rng.uniform(-60, 60), "ax": rng.uniform(-15, 15), "az": rng.uniform(-80, -45),
            "bx": 900 + rng.uniform(-15, 15), "bz": 50 - rng.uniform(45, 90),
            "sphere": rng.uniform(16, 25), "mu1": rng.uniform(0, 0.3), "mu2": rng.uniform(0, 0.3),
            "mu3": rng.uniform(0, 0.2), "d1": rng.uniform(6, 40), "d2": rng.uniform(6, 30),
            "h0": rng.uniform(-3000, 3000), "h1": rng.uniform(-900, 100)}


@pytest.mark.parametrize("seed", range(4))
def test_friction_against_free_bodies(seed, full):
    """Nine equations of three plane bodies with friction at every joint, solved by SciPy."""
    rng = np.random.default_rng(seed)
    for _ in range(25 if full else 2):
        k = numbers(rng)
        plane, x = Plane(k), rng.uniform(-18, 18, 3)
        felt = loads.felt(system_of(STAGE.format(**k)), "pitch", x)
        for i, t in enumerate(np.radians(x)):
            for sense, values in ((0, felt.force), (1, felt.up), (-1, felt.down)):
                wanted = plane.force(t, sense)
                # the package takes the ball's load along the rod, as this does: nothing is left out
                assert values[i] == pytest.approx(wanted, rel=2e-6, abs=2e-5), (seed, k, x[i])


def seen_from(system, rod, part, at):
    """Direction of a rod as its part sees it, (n, 3)."""
    statics = loads.Statics(system.sweep(**at))
    one, other = system.model.rods[rod].ends
    line = statics.place(other) - statics.place(one)
    frame = [np.eye(3)[k] if part == "airframe" else statics.way_of(part, np.eye(3)[k])
             for k in range(3)]
    return np.stack([np.sum(line * axis, axis=-1) for axis in frame], axis=-1) / \
        np.linalg.norm(line, axis=-1, keepdims=True)


@pytest.mark.parametrize("name", ["elevons"])
def test_friction_in_space(name):
    """At a rod's end it pushes nothing from outside, and takes moment x turn of the rod there.

    Forces and moments on both parts sum to 0; the turn by differences of the rod's direction as the
    part sees it.
    """
    drawn = linkage.load(EXAMPLES[0].parent / f"{name}.toml").model
    system, rng = System(dataclasses.replace(drawn, rods={
        rod: dataclasses.replace(part, friction=1.0) for rod, part in drawn.rods.items()
    })), np.random.default_rng(3)
    at = {n: rng.uniform(*c.travel, 2) for n, c in system.inputs.items()}
    for each in system.travel_box():
        statics, h = loads.Statics(system.sweep(**at)), 1e-3
        rubbing = [rub for rub in rubs(statics, each) if rub.part in system.model.rods]
        statics.loads = {("rub", k): rub.pushes for k, rub in enumerate(rubbing)}
        for k, rub in enumerate(rubbing):
            assert np.abs(sum(p.force for p in rub.pushes)).max() < 1e-12
            assert np.abs(sum(np.cross(p.point, p.force) + p.moment
                              for p in rub.pushes)).max() < 1e-9
            seen = [seen_from(system, rub.part, rub.pushes[0].body, at | {each: at[each] + s * h})
                    for s in (-1, 1)]
            per = 2 * h if system.inputs[each].slides else 2 * math.radians(h)
            turn = np.linalg.norm(seen[1] - seen[0], axis=-1) / per
            assert -statics.hold[each][:, k] == pytest.approx(turn, rel=1e-5, abs=1e-7)


def test_friction_that_locks_is_not_a_number():
    """A bush of a radius beyond the arm of the load holds whatever pushes: F = .. / (R - mu r)."""
    system = lever('[spring.s]\nends = ["stick/hook", "airframe/aft"]\nrate = "1e-9 N/mm"\n'
                   'preload = "500 N"\n[joint.j]\nat = "stick/pivot"\nbolt = 900\nfriction = 1\n')
    felt = loads.felt(system, "pitch", [0.0])
    assert np.isfinite(felt.force).all()
    assert np.isnan(felt.down).all()
    assert np.isnan(loads.return_margin(felt, 1.0)[0]) or len(felt.x) == 1


# --- let go ---------------------------------------------------------------------------------------

def brute(system, friction, x):
    """Where a stick started at each x comes to rest: down the energy, step by small step.

    Friction is a constant moment; energy is of the file's springs between points alone.
    """
    hook = {p: np.array(system.model.position(p)) for p in system.model.points}

    def place(address, t):
        if address.startswith("airframe"):
            return np.broadcast_to(hook[address][:, None], (3, len(t)))
        x, y, z = hook[address]
        c, s = np.cos(t), np.sin(t)
        return np.stack([x * c + z * s, y + 0 * t, -x * s + z * c])

    fine = np.radians(np.linspace(-20, 20, 40001))
    total = np.zeros(len(fine))
    for spring in system.model.springs.values():
        apart = np.linalg.norm(place(spring.ends[0], fine) - place(spring.ends[1], fine), axis=0)
        longer = apart - spring.free
        total += 0.5 * spring.rate * np.where(longer > 0, longer, 0.0) ** 2
    pushed = -np.gradient(total, fine)  # what turns it on
    rests = []
    for start in np.radians(x):
        i = int(np.argmin(np.abs(fine - start)))
        way = np.sign(pushed[i]) if abs(pushed[i]) > friction else 0.0
        while way and 0 < i < len(fine) - 1 and pushed[i] * way > friction:
            i += int(way)
        rests.append(math.degrees(fine[i]))
    return np.array(rests)


@pytest.mark.parametrize("seed", range(6))
def test_rest_against_brute_force(seed):
    """Random springs, over-centre ones among them: where it ends, from 41 places each."""
    rng = np.random.default_rng(seed)
    text = "".join(
        f'[spring.s{i}]\nends = ["stick/{rng.choice(["hook", "off"])}", "airframe/'
        f'{rng.choice(["below", "above", "aside", "aft"])}"]\nrate = "{rng.uniform(0.2, 2)} N/mm"\n'
        f"free = {rng.uniform(20, 240)}\n" for i in range(rng.integers(1, 4)))
    friction = rng.uniform(20, 2000)
    system = lever(text, stick=f'friction = "{friction} N*mm"')
    releases = loads.let_go(loads.whole_travel(system, "pitch"))
    x = rng.uniform(-19.9, 19.9, 41)
    found = []
    for at in x:
        mine = next(k for k in releases if k.least <= at <= k.greatest)
        found.append(at if mine.does == 0 else mine.rest)
    assert np.array(found) == pytest.approx(brute(system, friction, x), abs=4e-3)


def test_an_over_centre_spring():
    """A spring from a lever's tip to a point beyond its pivot turns it on.

    By k (L - L0) r b sin(t) / L (a statics book's toggle, from memory).
    Dead centre at 0 with the most energy; at rest again where the spring is slack, at L = L0:
    cos t = (L0^2 - r^2 - b^2) / (2 r b) (cosine rule).
    """
    slack = 248.0
    system = lever('[spring.s]\nends = ["stick/hook", "airframe/below"]\nrate = "1 N/mm"\n'
                   f"free = {slack}\n", travel="-40, 40")
    releases = loads.let_go(loads.whole_travel(system, "pitch"))
    assert [k.does for k in releases] == [0, -1, 1, 0]
    where = math.degrees(math.acos((slack**2 - 100**2 - 150**2) / (2 * 100 * 150)))
    assert [k.greatest for k in releases[:3]] == pytest.approx([-where, 0.0, where], abs=1e-6)
    assert loads.rest_about(releases) is None
    force = loads.stick_force(system.sweep(pitch=[5.0]), "pitch")
    length = math.sqrt(100**2 + 150**2 + 2 * 100 * 150 * math.cos(math.radians(5)))
    assert force == pytest.approx(
        -(length - slack) * 100 * 150 * math.sin(math.radians(5)) / length / 400)


# --- trim -----------------------------------------------------------------------------------------

TAB = """
[input.pitch]
travel = [-20, 20]
[input.trim]
travel = [-15, 15]
trims = "pitch"
[body.stick]
pivot = [0, 0, 0]
axis = "lateral"
input = "pitch"
points = { grip = [0, 0, 400] }
[body.elevator]
pivot = [900, 0, 0]
axis = "lateral"
[body.tab]
on = "elevator"
pivot = [1200, 0, 0]
axis = "lateral"
input = "trim"
[coupling.cable]
bodies = ["stick", "elevator"]
ratio = -0.5
[surface.elevator]
body = "elevator"
hinge = { at = "x", neutral = "0.6 N*m", slope = "-0.5 N*m", tabs = { tab = "-0.3 N*m" } }
[surface.tab]
body = "tab"
"""


def test_a_trim_tab_on_paper():
    """0.6 - 0.5 d - 0.3 tab = 0, d = -0.5 x: hands off at x = -2 (0.6 - 0.3 tab) / 0.5."""
    table = loads.trim_table(system_of(TAB), "trim")
    wanted = -2 * (0.6 - 0.3 * table["trim"].to_numpy()) / 0.5
    inside = np.abs(wanted) < 20
    assert table["hands_off"].to_numpy()[inside] == pytest.approx(wanted[inside], abs=1e-9)
    assert table["hands_off"].isna().tolist() == (~inside).tolist()
    assert table["elevator"].to_numpy()[inside] == pytest.approx(-0.5 * wanted[inside])
    margin, at, _ = loads.trimmed_margin(system_of(TAB), "trim", -20, 15.6)
    assert (margin, at) == pytest.approx((0.0, 15.6), abs=1e-9)
    assert loads.trimmed_margin(system_of(TAB), "trim", -20, 15.7)[0] < 0


def test_trim_that_runs_away_is_told():
    """A surface that the air drives on: the forces balance, and it would not stay there."""
    assert loads.falling(system_of(TAB.replace('"-0.5 N*m"', '"0.5 N*m"')), "trim", -5, 5)
    assert not loads.falling(system_of(TAB), "trim", -5, 5)


@pytest.mark.parametrize("way", [1, -1])
def test_trim_that_runs_away_between_the_trims_looked_at_is_told(way):
    """A spring that gives way over one degree by 0.2 N m, where the air holds by 0.125 a degree.

    Hands off at 1.2 trim - 2.4 without it: the degree lies between the rests at trim 0 and 5.
    """
    spring = (f'[spring.s]\npivot = "stick"\ntable = [[-30, "0 N*m"], [0.5, "0 N*m"], '
              f'[1.5, "{0.2 * way} N*m"], [2.5, "0 N*m"], [30, "0 N*m"]]\n')
    trims = loads.falling(system_of(TAB + spring), "trim", -5, 5)
    assert trims
    assert all(0 < trim < 5 for trim in trims)
    assert not loads.falling(system_of(TAB + spring.replace("0.2", "0.1")), "trim", -5, 5)


# --- the verdict and the chapter ------------------------------------------------------------------

COIL = ('[spring.s]\nends = ["stick/hook", "airframe/above"]\nrate = "1 N/mm"\nfree = 190\n')


@pytest.mark.parametrize(("feel", "said"), [
    ("returns = 3", None), ("returns = 0.1", "does not come back to within 0.1° of neutral"),
    ('friction = "10 N"', None), ('friction = "1 N"', "friction 1.25 N at the grip, 1.00 N"),
    ('friction = "1.26 N"', None)])
def test_what_is_felt_is_judged(feel, said):
    """Breakout 500 N mm on a grip of 400 mm: 1.25 N; the spring's pull is 10 N at neutral.

    It turns the stick back by 10 N x 300 sin(t) x 100 / 200 mm, nearly: 500 N mm at 19° and less
    than 3° off where it is stretched more.
    """
    system = lever(COIL.replace("190", "100"), stick='friction = "500 N*mm"',
                   pitch=f"feel = {{ {feel} }}")
    missed = [m.sentence for m in Results(system).verdict.missed if m.kind == "hands off"]
    assert (not missed) if said is None else said in missed[0]


@pytest.mark.parametrize(("coefficient", "locked"), [(1.3, "part"), (1.5, "all")])
def test_friction_that_locks_keeps_to_no_limit(coefficient, locked):
    """A ball of 80 mm on arms of 60: friction holds what makes it, in part of the travel or all."""
    system = stage(horn='friction = "1 N*m"', rod='fitted = { rod_end = "large" }', surface=(
        f"[friction]\nrod_end = {coefficient}\n[rod_end.large]\nball = 10\nrace = 8\nsphere = 80"))
    system = System(dataclasses.replace(system.model, inputs={
        "pitch": dataclasses.replace(system.model.inputs["pitch"], feel=Feel(friction=1e6))}))
    results = Results(system, only=("feel",))
    lost = np.isnan(results.feel["pitch"].friction)
    assert lost.all() if locked == "all" else lost.any() and not lost.all()
    found = [m for m in results.verdict.missed if m.kind == "hands off"]
    assert [m.decided for m in found] == [False]
    assert "is open" in found[0].sentence
    assert list(results.chapter("feel").blocks)


@pytest.mark.parametrize("table", [[(-30, 0), (30, 0)], [(-30, 5), (-6, 0), (6, 0), (30, -5)]])
def test_a_stick_that_nothing_drives_does_not_come_back(table):
    """A centring spring with 6 degrees of play to each side, or that never acts; no friction."""
    table = ", ".join(f'[{place}, "{moment} N*m"]' for place, moment in table)
    system = lever(f'[spring.s]\npivot = "stick"\ntable = [{table}]\n',
                   pitch="feel = { returns = 1 }")
    verdict = Results(system, only=("feel",)).verdict
    assert [m.decided for m in verdict.missed] == [True]
    assert "does not come back to within 1° of neutral when let go: nothing" in str(verdict.missed)
    assert not [text for text in verdict.unknown if "friction that grows" in text]


def test_a_margin_within_what_may_be_missing_is_not_decided():
    """Asked to come back to the very edge of where friction holds it."""
    system = lever(COIL.replace("190", "100"), stick='friction = "500 N*mm"')
    felt = loads.whole_travel(system, "pitch")
    low, high = loads.rest_about(loads.let_go(felt))
    assert high == pytest.approx(-low, abs=1e-6)
    margin, _, wide = loads.return_margin(felt, high)
    assert abs(margin) < 1e-6 + wide
    edge = lever(COIL.replace("190", "100"), stick='friction = "500 N*mm"',
                 pitch=f"feel = {{ returns = {high + 1e-7} }}")
    undecided = [m for m in Results(edge).verdict.missed if m.kind == "hands off"]
    assert [m.decided for m in undecided] == [False]


def test_the_sheet_tells_what_is_felt():
    results = Results(linkage.load(SPRING_TRIM), only=("feel",))
    text = repr(results.chapter())
    for words in ("Felt along pitch", "Let go along pitch", "Hands off by trim",
                  "Springs at pivots", "3 limits of what is felt",
                  "it comes back to neutral, no nearer than where friction holds it"):
        assert words in " ".join(text.split())
    tables = results.tables()
    assert len(tables["Felt curve along pitch"]) > 100
    assert {"Springs", "Felt along trim", "Let go along trim"} <= set(tables)


def test_nothing_is_told_of_what_nothing_acts_on():
    results = Results(lever())
    assert results.feel == {}
    assert not list(results.chapter("feel").blocks)
