"""How fast joints and points move all over a cell: rows of balls, one for each input and dimension.

Rates come from the closure of each rod, |p - q|^2 = L^2, differentiated: (p - q).(p' - q') = L L'.
An enclosure of a turn is never differentiated itself: its rest bounds values, not slopes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flint import arb, arb_mat

from .lengths import part_of
from .taylor import ALL, column, cross_matrix

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from .dimensions import Dimensions
    from .motion import Motion

MOST = 4000  # rates of seats remembered


class OutOfShow(Exception):
    """A cell is too large for its rates to be enclosed."""


class Rates:
    """Rates of the joints of a motion, per unit of each input and per share of each dimension."""

    def __init__(self, motion: Motion, dimensions: Dimensions | None = None):
        self.motion, self.dimensions = motion, dimensions
        self.width = len(motion.names) + (dimensions.count if dimensions else 0)
        self.joints, self.seats, self.turns = {}, {}, {}

    def joint(self, joint: str, cell: tuple) -> arb_mat | None:
        """Rates of a joint, a row; None where it stands still."""
        if joint not in self.motion.steps:
            return None
        key = self.motion.key(joint, cell)
        if key not in self.joints:
            self.motion.state(joint, cell)  # which may work them out on its way
        if key not in self.joints:
            self.keep(self.settled(joint, cell), cell)
        return self.joints[key]

    def keep(self, rows: dict, cell: tuple) -> None:
        """Remember rates of joints."""
        self.joints |= {self.motion.key(joint, cell): row for joint, row in rows.items()}

    def settled(self, joint: str, cell: tuple) -> dict:
        """Rates of a joint, and of those that are settled together with it."""
        kind, *told = self.motion.steps[joint]
        if kind == "close":
            return self.closure(told[0].rods, told[0].joints, cell)
        if kind == "couple":
            return {joint: self.joint(told[0], cell) * told[1]}
        row = arb_mat(1, self.width)
        row[0, told[0]] = told[1]
        return {joint: row}

    def closure(self, rods: Sequence, joints: Sequence, cell: tuple) -> dict:
        """Rates of the joints that some rods settle."""
        matrix, right = [], []
        for rod in rods:
            shares, row = self.of_rod(rod, cell)
            matrix.append([shares.pop(j, 0) for j in joints])
            right.append(self.total(shares, row, cell).entries())
        try:
            rows = arb_mat(matrix).solve(arb_mat(right) * -1)
        except ZeroDivisionError:
            raise OutOfShow from None
        if not all(k.is_finite() for k in rows.entries()):
            raise OutOfShow
        return {j: arb_mat([row]) for j, row in zip(joints, rows.tolist(), strict=True)}

    def by_input(self, joint: str, k: int, cell: tuple) -> arb:
        """Rate of a joint by one input; with its sign where each product has one, unlike a ball."""
        kind, *told = self.motion.steps[joint]
        if kind == "couple":
            return self.by_input(told[0], k, cell) * told[1]
        whole = self.joint(joint, cell)[0, k]
        if kind != "close" or len(told[0].rods) > 1:
            return whole
        shares, row = self.of_rod(told[0].rods[0], cell)
        own, total = shares.pop(joint), row[0, k]
        if own.contains(0):
            return whole
        for j, share in shares.items():
            if self.motion.names[k] in self.motion.needs[j]:
                total += hulled(share, self.by_input(j, k, cell), lambda p, q: p * q)
        return hulled(-total, own, lambda p, q: p / q)

    def of_rod(self, rod: str, cell: tuple) -> tuple:
        """What each joint and dimension changes of half a rod's squared length, less its own."""
        motion, ends = self.motion, self.motion.machine.rods[rod].ends
        frame = motion.machine.common([part_of(end) for end in ends])
        runs = [self.path((motion.points[end], part_of(end), False, end), frame, cell)
                for end in ends]
        apart = (runs[0][0] - runs[1][0]).transpose()
        found, row = {}, arb_mat(1, self.width)
        for (_, path, start), way in zip(runs, (apart, apart * -1), strict=True):
            shares, direct = self.felt(way, path, start)
            # the two ends cross no joint in common
            found |= {joint: share[0, 0] for joint, share in shares.items()}
            row += direct
        if self.dimensions:
            self.dimensions.add_length(row, rod, motion.lengths[rod])
        return found, row

    def total(self, shares: dict, row: arb_mat, cell: tuple) -> arb_mat:
        """What some joints at their rates add to a row."""
        for joint, share in shares.items():
            rates = self.joint(joint, cell)
            if rates is not None:
                row += share * rates
        return row

    def path(self, start: tuple, frame: str, cell: tuple) -> tuple:
        """Where a point (a way) is seen from a frame, and where it was before each joint."""
        p, body, is_way, _ = start
        p, path = column(p), []
        for joint, sense in self.motion.route(body, frame):
            crossing = self.crossing(joint, cell, sense)
            if crossing:
                path.append((joint, sense, crossing, p))
                turn, axis, pivot, more = crossing
                if turn is None:
                    p = p if is_way else p + axis * more * sense
                else:
                    p = turned(crossing, p) if is_way else turned(crossing, p - pivot) + pivot
        return p, path, start

    def felt(self, ways: arb_mat, path: list, start: tuple) -> tuple:
        """How a point (a way) moves along some ways: by the turn of each joint, and by dimensions.

        `ways` is a matrix of rows seen from the frame; each joint's share is a column.
        """
        (_, _, is_way, point), shares = start, {}
        direct = arb_mat(ways.nrows(), self.width)
        for joint, sense, crossing, x in path[::-1]:
            turn, axis, pivot, more = crossing
            if turn is None:
                if not is_way:
                    shares[joint] = (ways * axis) * sense
                continue
            x = x if is_way else x - pivot
            after = turned(crossing, ways.transpose(), -1).transpose()
            shares[joint] = after * (cross_matrix(axis) * x) * sense
            if self.dimensions:
                self.dimensions.add_joint(direct, joint, None if is_way else ways - after,
                                          (ways, axis, x, *more))
            ways = after
        if point and self.dimensions:
            self.dimensions.add_place(direct, point, ways)
        return shares, direct

    def crossing(self, joint: str, cell: tuple, sense: int) -> tuple | None:
        """What takes a point across a joint: turn, axis and pivot, cos and sin (of a slide way)."""
        state = self.motion.state(joint, cell)
        if state is None:
            return None
        key = *self.motion.key(joint, cell), sense
        if key not in self.turns or joint in self.motion.held:
            axis, turn, more = column(self.motion.axes[joint]), None, state[2].ball
            if state[0] is not None:
                cos, sin = more = state[0].ball, state[1].ball * sense
                around = axis * axis.transpose()
                turn = around + (ALL - around) * cos + cross_matrix(axis) * sin
            found = turn, axis, column(self.motion.pivots[joint]), more
            if joint in self.motion.held:
                return found
            self.turns[key] = found
        return self.turns[key]

    def seat(self, carriers: tuple, frame: str, cell: tuple) -> list:
        """How each vector of a seat moves in three directions: matrices (3, width)."""
        key = self.motion.seat_key(carriers, frame, cell)
        if key not in self.seats:
            if len(self.seats) > MOST:
                self.seats.clear()
            runs = [self.path(start, frame, cell) for start in self.motion.starts(carriers)]
            self.seats[key] = [self.total(*self.felt(ALL, path, start), cell)
                               for _, path, start in runs]
        return self.seats[key]


def turned(crossing: tuple, x: arb_mat, sense: int = 1) -> arb_mat:
    """Columns of balls turned across a joint (back with a sense of -1).

    Of their middles what the axis makes is worked out first, so that the ball of the turn counts
    once; the turn's own matrix takes what they are off, which the axis would spread.
    """
    (turn, axis, _, (cos, sin)), at = crossing, x.mid()
    along = axis * (axis.transpose() * at)
    off = (turn if sense > 0 else turn.transpose()) * (x - at)
    return along + (at - along) * cos + cross_matrix(axis) * at * (sin * sense) + off


def hulled(a: arb, b: arb, work: Callable) -> arb:
    """A ball about what comes of the ends of two, for a product or a quotient not by 0."""
    found = [work(p, q) for p in (a.lower(), a.upper()) for q in (b.lower(), b.upper())]
    return found[0].union(found[1]).union(found[2]).union(found[3])
