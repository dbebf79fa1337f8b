"""The sign of the gearing over whole cells of travel in every build within the tolerances.

Bounds of a gearing widen from joint to joint of a long run, more so in builds, until they hold 0
though every build turns the same way.  Where one joint alone moves the next, the gearing is the
product of theirs, so that its sign is the product of theirs, each known far more surely.

With d = p - q the rod from q to p on the joint, the closure d.d = L^2 gives by implicit
differentiation  rate of the joint = -(d . what the mover does to d) / (d . what the joint does to
d).  The divisor is 0 at the end of reach alone, so its sign is everywhere that of the branch.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..intervals import Enclosure
from ..motion import Close, Couple, Seeds, System, body_of, enclose, hinge_sign, pull
from .gearing_sign import EnclosedRates

if TYPE_CHECKING:
    from ..model.parts import Tolerance
    from ..motion import BuiltPosture, Drive, Together
    from ..motion.posture import Posture


def built_senses(system: System, surface: str, name: str, cells: tuple[dict, dict],
                 tolerances: Tolerance) -> tuple[np.ndarray, np.ndarray]:
    """Sign of the gearing of a surface over cells of travel in every build.

    Parameters
    ----------
    system : System
    surface, name : str
        Surface and input.
    cells : (dict, dict)
        Centres and halves, ``{input: ndarray (n,)}``, degrees (mm for a slide).
    tolerances : Tolerance

    Returns
    -------
    (ndarray (n,), ndarray (n,))
        Least and greatest sign, -1 to 1 where it is not known; NaN where no rod of a cell reaches
        in any build.
    """
    body, (centres, _) = system.model.surfaces[surface].body, cells
    small = system.only([body])
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        posture = enclose(small, *cells, tolerances)
        senses = EnclosedSenses(posture, name, small.sweep().posture).senses
    shape = np.shape(next(iter(centres.values())))
    sense = np.broadcast_to(senses.get(body, 0.0), shape) * hinge_sign(system.model.bodies[body])
    turn = posture.states[body].value
    lost = np.broadcast_to(np.isnan(getattr(turn, "centre", turn)), shape)
    unknown = np.isnan(sense)
    return tuple(np.where(lost, np.nan, np.where(unknown, end, sense)) for end in (-1.0, 1.0))


class EnclosedSenses(EnclosedRates):
    """Rates over cells, and the sign of each joint's: -1, 0 or 1; NaN where it is not known."""

    def __init__(self, posture: BuiltPosture, name: str, neutral: Posture):
        self.senses, self.neutral = {}, neutral
        super().__init__(posture, Seeds(inputs={name: 1.0}))

    def _settle(self, step: Drive | Couple | Close | Together) -> None:
        super()._settle(step)
        for joint in step.joints:
            self.senses[joint] = _sign(self.joints[joint])
        if isinstance(step, Couple):
            self.senses[step.joint] = self.senses[step.source] * np.sign(step.ratio)
        movers = self._movers(step)
        if len(movers) == 1 and np.isnan(self.senses[step.joint]).any():
            known = self._sign_by(step, movers[0]) * self.senses[movers[0]]
            own = self.senses[step.joint]
            self.senses[step.joint] = np.where(np.isnan(own), known, own)

    def _movers(self, step):
        """Joints that the input moves, between the ends of a rod that closes one joint."""
        if not isinstance(step, Close):
            return []
        between = {joint for end in (step.near, step.far)
                   for joint, _ in self.posture.plan.route(body_of(end), self._carrier(step))}
        return [joint for joint in between - {step.joint}
                if not _still(self.joints.get(joint, 0.0))]

    def _carrier(self, step):
        return self.posture.plan.model.bodies[step.joint].on

    def _sign_by(self, step, mover):
        """Sign of a joint's rate per rate of the one joint that moves it."""
        kept = self._seen, self.joints
        self._seen, self.joints = {}, {**self.joints, mover: 1.0, step.joint: 0.0}
        (p, d_p), (q, d_q) = (self._carried(end, self._carrier(step))
                              for end in (step.near, step.far))
        pushed = sum((a - b) * (c - d) for a, b, c, d in zip(p, q, d_p, d_q, strict=True))
        self._seen, self.joints = kept
        return -_sign(pushed) * np.sign(float(pull(self.neutral, step.rod, step.joint)))


def _still(rate) -> bool:
    return not isinstance(rate, Enclosure) and not np.any(rate)


def _sign(rate):
    """Sign of a number or of an enclosure all over its cells; NaN where it is not known."""
    if not isinstance(rate, Enclosure):
        return np.sign(rate)
    low, high = rate.bounds()
    return np.where(low > 0, 1.0, np.where(high < 0, -1.0, np.nan))
