"""Which way surfaces go: the sign of the rate of a surface's turn with an input, all over a cell.

Rates come from the closure of each rod, |p - q|^2 = L^2, differentiated: (p - q).(p' - q') = 0.
An enclosure of a turn is never differentiated itself: its rest bounds values, not slopes.
"""

from flint import arb

from .leaves import halved
from .motion import OutOfReach, crossed_by
from .pairs import part_of
from .reading import Refused
from .taylor import UP, Taylor, constant, dot

MOST = 20_000  # leaves of a tree


class Unknown(Refused):
    """A rate that the checker has no enclosure of."""


class Rates:
    """Rates of joints over a cell with one input, per unit of it."""

    def __init__(self, motion, cell, k):
        self.motion, self.cell, self.k, self.known = motion, cell, k, {}

    def of(self, joint):
        """Rate of a joint; None where it stands still."""
        motion = self.motion
        if motion.names[self.k] not in motion.needs[joint]:
            return None
        if joint not in self.known:
            kind, *told = motion.steps[joint]
            if kind == "together":
                raise Unknown("rods solved together")
            if kind == "drive":
                self.known[joint] = constant(motion.table, told[1])
            elif kind == "couple":
                self.known[joint] = self.of(told[0]) * told[1]
            else:
                self.known[joint] = self.by_rod(joint, told)
        return self.known[joint]

    def by_rod(self, joint, told):
        """Rate of a joint that one rod settles: what the rest moves, over what the joint does."""
        motion, (_, near, far, _) = self.motion, told
        on = motion.machine.joints[joint].on
        (r, r_rate), (q, q_rate) = self.carried(near, joint), self.carried(far, on)
        p, p_rate = self.across((r, r_rate), joint, 1, None)
        axis = [constant(motion.table, 0) + k for k in motion.axes[joint]]
        way = axis if motion.machine.joints[joint].slides else self.round(p, joint)
        apart = [a - b for a, b in zip(p, q, strict=True)]
        pushed = [a - b for a, b in zip(p_rate, q_rate, strict=True)]
        return -(dot(apart, pushed) * inverse(dot(apart, way)))

    def round(self, p, joint):
        """How a point moves per radian of a joint that turns."""
        pivot = self.motion.machine.joints[joint].pivot
        return crossed_by(self.motion.axes[joint], [a - b for a, b in zip(p, pivot, strict=True)])

    def carried(self, point, frame):
        """A point and its rate as seen from a body."""
        motion, still = self.motion, constant(self.motion.table, 0)
        p = [constant(motion.table, k) for k in motion.machine.points[point]], [still] * 3
        here, there = motion.machine.chain(part_of(point)), motion.machine.chain(frame)
        for joint in [j for j in here if j not in there]:
            p = self.across(p, joint, 1, self.of(joint))
        for joint in [j for j in there if j not in here][::-1]:
            p = self.across(p, joint, -1, self.of(joint))
        return p

    def across(self, held, joint, sense, rate):
        """A point and its rate carried across one joint, to what carries it or back."""
        motion, (p, before) = self.motion, held
        p = motion.across(p, joint, self.cell, sense, False)
        after = motion.across(before, joint, self.cell, sense, True)
        if rate is not None:
            axis = [constant(motion.table, 0) + k for k in motion.axes[joint]]
            way = axis if motion.machine.joints[joint].slides else self.round(p, joint)
            after = [a + w * rate * sense for a, w in zip(after, way, strict=True)]
        return p, after


def inverse(x):
    """1 over a Taylor that is nowhere 0."""
    middle = x.centre
    if not abs(float(middle.mid())) > 0:
        raise OutOfShow
    share = Taylor(x.table, {k: v for k, v in x.c.items() if k}, x.rest) * (1 / middle)
    far = share.spread
    if not far < 0.9:
        raise OutOfShow
    series = share * share - share + 1  # the rest of it is far^3 + far^4 + ...
    return Taylor(x.table, series.c, (series.rest + far**3 / (1 - far)) * UP) * (1 / middle)


class OutOfShow(Exception):
    """A cell is too large for its rates to be enclosed."""


class Directions:
    """The directions that a certificate claims, surface by surface and input by input."""

    def __init__(self, book, travel):
        self.book, self.motion, self.travel = book, book.motion, travel

    def asked(self):
        """Every surface with every input that its body depends on."""
        for surface, body in self.book.machine.surfaces.items():
            for name in self.motion.names:
                if name in self.motion.needs[body]:
                    yield surface, name

    def hold(self, claims):
        """Which way each surface goes for the positive end of each input; None is not shown."""
        told = {(c["surface"], c["input"]): c for c in claims}
        found = {}
        for surface, name in self.asked():
            claim = told.pop((surface, name), None)
            if claim is None:
                raise Refused(f'nothing is claimed of the direction of "{surface}" with {name}')
            if claim["sign"] is not None and not self.shown(surface, name, claim):
                raise Refused(f'"{surface}" is not shown to go one way with {name}')
            found[surface, name] = claim["sign"]
        if told or len(claims) > len(found):
            raise Refused("a direction is claimed that is none")
        return found

    def shown(self, surface, name, claim):
        """Whether the leaves of a claim show its sign."""
        if not isinstance(claim["tree"], str):
            return False
        words, ahead, count = iter(claim["tree"]), [self.travel.root()], 0
        body, k = self.book.machine.surfaces[surface], self.motion.names.index(name)
        while ahead:
            cell, word, count = ahead.pop(), next(words, "-"), count + 1
            if word in "0123456789"[:len(cell)] and count < MOST:
                ahead += halved(cell, int(word))[::-1]
            elif not (self.goes(body, k, cell, claim["sign"]) if word == "s" else
                      word == "x" and self.travel.outside(cell)):
                return False
        return next(words, None) is None and claim["sign"] in (-1, 1)

    def goes(self, body, k, cell, sign):
        """Whether a surface's deflection grows (-1: falls) with an input all over a cell."""
        try:
            rate = Rates(self.motion, cell, k).of(body)
        except OutOfReach:
            return True
        except OutOfShow:
            return False
        return (rate * arb(sign * self.hinge(body))).low() > 0

    def hinge(self, body):
        """+1 where a positive turn about a hinge is trailing edge down (upright: left)."""
        _, y, z = self.motion.machine.joints[body].axis
        return (1 if z < 0 else -1) if abs(z) > abs(y) else (1 if y > 0 else -1)

    def words(self, found):
        """What goes which way, an input a line."""
        for name in self.motion.names:
            ways = [f"{surface} {self.word(surface, sign)}" for (surface, n), sign in found.items()
                    if n == name]
            if ways:
                yield f"{name} to its positive end: {', '.join(ways)}"

    def word(self, surface, sign):
        """Which way a surface's edge goes."""
        if sign is None:
            return "not shown to go one way all over"
        _, y, z = self.motion.machine.joints[self.book.machine.surfaces[surface]].axis
        return f"trailing edge {(('down', 'up'), ('left', 'right'))[abs(z) > abs(y)][sign < 0]}"
