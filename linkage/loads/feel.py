"""What the hand feels over the travel of an input, and what the stick does when it is let go.

The hand moves the input slowly, the others stand still: no weight, no acceleration.  Where it comes
to rest after it is let go leaves out that it may swing past.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..motion import System
from ..search import may_rise, refine
from ..stops import judged_box
from ..units import in_house_units
from .load_cases import balanced, hand, hinge_moment
from .pilot_forces import grips
from .rubbing import rubs
from .statics import Statics

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import ArrayLike

LOOKS = 121  # positions along an input between which a change of what it does is refined
ROUNDS = 200  # in which friction has to settle with the loads that it makes itself
SETTLED = 1e-11  # share of the greatest friction by which it may still change
CLOSE = 1e-8  # degrees (mm) to which a place is refined
SHORT = 1e-6  # degrees (mm) of a balance without friction
NOISE = 1e-9  # N: what is less is rounding, and moves nothing
NEAR = 1e-5  # degrees (mm) about neutral that count as neutral


@dataclass(frozen=True, eq=False)
class Felt:
    """Force in the hand at positions of an input, N, positive in the input's own sense.

    Attributes
    ----------
    system : System
    name : str
        The input.
    x : ndarray (n,)
        Degrees (mm).
    others : dict
        Where the other inputs stand, a number or (n,) each; 0 unless named.
    force : ndarray (n,)
        What holds it there without friction.
    up, down : ndarray (n,)
        What moves it slowly toward its greatest end, and toward its least.
    """

    system: System
    name: str
    x: np.ndarray
    others: dict
    force: np.ndarray
    up: np.ndarray
    down: np.ndarray

    @property
    def friction(self) -> np.ndarray:
        """Half the band between both ways of moving, N."""
        return (self.up - self.down) / 2

    @property
    def does(self) -> np.ndarray:
        """What it does when let go: 1 goes to its greatest end, -1 to its least, 0 stays."""
        does = np.where(self.up < -NOISE, 1.0, np.where(self.down > NOISE, -1.0, 0.0))
        return np.where(np.isfinite(self.up) & np.isfinite(self.down), does, np.nan)

    def at(self, x: ArrayLike) -> Felt:
        """The same at other positions."""
        return felt(self.system, self.name, x, self.others)


@dataclass(frozen=True)
class Release:
    """Part of a travel over which a stick that is let go does the same.

    Attributes
    ----------
    least, greatest : float
        Its two ends, degrees (mm).
    does : float
        As `Felt.does`.
    rest : float
        Where it comes to rest; NaN where it stays anywhere in it, or that is not known.
    stop : bool
        Whether the end of the travel is what ends it.
    """

    least: float
    greatest: float
    does: float
    rest: float
    stop: bool


def felt(system: System, name: str, positions: ArrayLike, others: dict | None = None) -> Felt:
    """Force in the hand along an input, with friction that grows with the loads it makes.

    Parameters
    ----------
    system : System
    name : str
        An input with a grip.
    positions : array_like, shape (n,)
    others : dict, optional
        Where the other inputs stand, ``{input: degrees (mm)}``, a number or (n,), held whatever
        it takes.

    Returns
    -------
    Felt
        NaN out of reach, and where friction that grows with its own load never settles.

    Raises
    ------
    LinkageError
        When the input has no grip.
    """
    if not grips(system, name):
        raise LinkageError(f'input "{name}": no grip is known, so no force at it; name a point '
                           f'"grip" on what it drives', input=name)
    x, others = np.atleast_1d(np.asarray(positions, dtype=float)), dict(others or {})
    return Felt(system, name, x, others, *_hands(system, name, x, others, (0, 1, -1)))


def _hands(system, name, x, others, senses):
    """The hand's forces at positions, without friction (0) or against it, one way or the other."""
    statics = Statics(system.sweep(**{name: x, **others}))
    rubbing = list(rubs(statics, name)) if any(senses) else []
    statics.loads |= {("rub", k): rub.pushes for k, rub in enumerate(rubbing)}
    return [_hand(statics, name, rubbing, sense) for sense in senses]


def zeros(felt: Felt, sense: int) -> tuple[np.ndarray, np.ndarray]:
    """Where a force in the hand passes 0 as the input moves on, refined.

    Parameters
    ----------
    felt : Felt
        Of one or more runs of rising positions, the others standing still in each.
    sense : int
        0: what holds it without friction; 1, -1: what moves it up, down.

    Returns
    -------
    (ndarray of int (m,), ndarray (m,))
        The position before each, by its index, and the place.
    """
    noise = sense * NOISE
    values, x = {0: felt.force, 1: felt.up, -1: felt.down}[sense] + noise, felt.x
    before = np.flatnonzero((values[:-1] * values[1:] < 0) & (x[1:] > x[:-1]))
    exact = np.flatnonzero(values == 0)
    if not before.size:
        return exact, x[exact]
    others = {k: np.broadcast_to(v, x.shape)[before] for k, v in felt.others.items()}
    places = refine(lambda at: _hands(felt.system, felt.name, at, others, (sense,))[0] + noise,
                    (x[before], values[before]), (x[before + 1], values[before + 1]), CLOSE)
    return np.concatenate([exact, before]), np.concatenate([x[exact], places])


def _hand(statics, name, rubbing, sense):
    """The hand's force with friction against one way of moving, or with none."""
    keys, base = list(statics.loads), _air_and_springs(statics)
    holders = [hand(statics, each) for each in statics.drives]
    share, sizes = balanced(statics, base, holders), None
    mine = keys.index(("grip", grips(statics.system, name)[0], name))
    if not rubbing or not sense:
        return share[:, mine]
    first = keys.index(("rub", 0))
    open_ = np.ones(statics.count, bool)
    for _ in range(ROUNDS):
        before, sizes = sizes, np.stack([rub.size(share, sense) for rub in rubbing], axis=-1)
        if before is not None:
            open_ = ~(np.abs(sizes - before).max(axis=1)
                      <= SETTLED * np.abs(sizes).max(axis=1) + 1e-300)
            if not (open_ & np.isfinite(sizes).all(axis=1)).any():
                break
        base[:, first:] = sense * np.nan_to_num(sizes, posinf=0.0)
        share = balanced(statics, base, holders)
    return np.where(open_, np.nan, share[:, mine])


def _air_and_springs(statics):
    """How much of each unit load the air and the springs bring, (n, loads)."""
    sizes = np.zeros((statics.count, len(statics.loads)))
    for k, key in enumerate(statics.loads):
        if key[0] == "hinge":
            sizes[:, k] = hinge_moment(statics.motion, key[1]).ravel()
        elif key[0] == "spring":
            sizes[:, k] = statics.springs[key[1]]
    return sizes


def let_go(felt: Felt) -> list[Release]:
    """What a stick does when it is let go, part by part of its travel.

    Parameters
    ----------
    felt : Felt
        Along the whole travel, as close as two changes may lie.

    Returns
    -------
    list of Release
        From the least end to the greatest; where one ends is refined.
    """
    starts, last = _changes(felt), felt.x[-1]
    does = felt.at([(a + b) / 2 for a, b in zip(starts, [*starts[1:], last], strict=True)]).does
    new = [k for k in range(len(does)) if k == 0 or not (
        does[k] == does[k - 1] or np.isnan(does[[k - 1, k]]).all())]
    edges, kinds = [*(starts[k] for k in new), float(last)], does[new]
    return [_release(edges, kinds, i) for i in range(len(kinds))]


def _changes(felt) -> list[float]:
    """The least end of a travel, and where what it does when let go may change on from there."""
    unknown, x = np.isnan(felt.does), felt.x
    lost = np.flatnonzero(unknown[1:] != unknown[:-1])
    known = [float(x[k] if unknown[k + 1] else x[k + 1]) for k in lost]
    places = np.sort(np.concatenate([*(zeros(felt, sense)[1] for sense in (1, -1)), known]))
    changes = [float(x[0])]
    for place in places:  # a balance without friction is one place, not two
        if changes[-1] + SHORT < place < x[-1] - SHORT:
            changes.append(float(place))
    return changes


def _release(edges, kinds, i):
    step = kinds[i]
    if step == 0 or np.isnan(step):
        return Release(edges[i], edges[i + 1], step, np.nan, False)
    ahead = i + int(step)
    end = edges[i + 1] if step > 0 else edges[i]
    outside = not 0 <= ahead < len(kinds)
    known = outside or not np.isnan(kinds[ahead])
    return Release(edges[i], edges[i + 1], step, end if known else np.nan, outside)


def rest_about(releases: list[Release], place: float = 0.0) -> tuple[float, float] | None:
    """Where it comes to rest about a place: from and to; None where it does not stay there.

    Parameters
    ----------
    releases : list of Release
    place : float

    Returns
    -------
    (float, float) or None
    """
    for each in releases:
        if each.does == 0 and each.least - NEAR <= place <= each.greatest + NEAR:
            return each.least, each.greatest
        if not each.stop and abs(each.rest - place) <= NEAR:
            return each.rest, each.rest
    return None


def whole_travel(system: System, name: str, others: dict | None = None, looks: int = LOOKS) -> Felt:
    """What is felt along all that the stops leave of an input.

    Parameters
    ----------
    system : System
    name : str
    others : dict, optional
        Where the other inputs stand; 0 unless named.
    looks : int
        Positions, neutral besides.

    Returns
    -------
    Felt
    """
    x = np.unique([0.0, *np.linspace(*judged_box(system)[name], looks)])
    return felt(system, name, x, others)


def is_felt(system: System, name: str) -> bool:
    """Whether anything but the hand acts on an input: a spring, the air, or friction."""
    model = system.model
    blown = any(surface.hinge for surface in model.surfaces.values())
    return bool(grips(system, name)) and (bool(model.springs) or blown or _has_friction(model))


def _has_friction(model) -> bool:
    """Whether the file gives friction to a part, or to a bolt or ball of known radius."""
    parts = *model.bodies.values(), *model.rods.values()
    places = [place for joint in model.joints.values() for place in joint.places]
    return (any(part.friction is not None for part in parts)
            or any(map(model.bolt_arm, places))
            or any(model.ball_arm(rod, k) for rod in model.rods for k in (0, 1)))


@in_house_units(force="force up down friction")
def feel_table(felt: Felt) -> pd.DataFrame:
    """Force in the hand, position by position.

    Parameters
    ----------
    felt : Felt

    Returns
    -------
    DataFrame
        Indexed by position: force (N, hand's, what holds it without friction), up and down (what
        moves it slowly toward its greatest and its least end) and friction (half their band).
    """
    import pandas as pd

    columns = {"force": felt.force, "up": felt.up, "down": felt.down, "friction": felt.friction}
    return pd.DataFrame(columns, index=pd.Index(felt.x, name=felt.name))


def most_friction(felt: Felt) -> tuple[float, float, float]:
    """Greatest friction at the grip, where, and how much more there may be between positions, N.

    NaN, where that is and NaN, when it is not known everywhere.
    """
    values = felt.friction
    if not np.isfinite(values).all():
        return np.nan, float(felt.x[np.isfinite(values).argmin()]), np.nan
    k = int(values.argmax())
    return float(values[k]), float(felt.x[k]), float(
        (values + may_rise(values, [felt.x])).max() - values[k])


def return_margin(felt: Felt, within: float) -> tuple[float, float, float]:
    """By how much force it surely comes back to within some degrees (mm) of neutral.

    Parameters
    ----------
    felt : Felt
        Along the whole travel.
    within : float

    Returns
    -------
    (float, float, float)
        The least force that brings it back from outside, N, below 0 where it does not; where that
        is; and how much less it may be between positions.  Infinite where nothing is outside.
    """
    outside = felt.at(np.unique([*felt.x[np.abs(felt.x) > within], *(
        k for k in (-within, within) if felt.x[0] <= k <= felt.x[-1])]))
    least = np.inf, np.nan, 0.0
    for sense, force in ((1, outside.down), (-1, -outside.up)):
        mine = outside.x * sense > 0
        values, x = force[mine] - NOISE, outside.x[mine]  # what is less drives nothing
        if not len(values):
            continue
        if not np.isfinite(values).all():
            return np.nan, float(x[np.isnan(values)][0]), 0.0
        k, rise = int(values.argmin()), may_rise(values, [x])
        each = float(values[k]), float(x[k]), float(values[k] - (values - rise).min())
        least = min(least, each, key=lambda one: one[0] - one[2])
    return least
