"""The algebra of a system with its own numbers: loop closures and neutral gearing as LaTeX."""

from __future__ import annotations

import numpy as np

from ..errors import LinkageError, nearest
from ..motion import Close, Couple, Drive, System, body_of, hinge_sign, kernels


def rod_algebra(system: System, rod: str) -> str:
    """Loop closure of one rod with its numbers at neutral, as LaTeX.

    Parameters
    ----------
    system : System
    rod : str

    Returns
    -------
    str
        A, B and C in the square of the file's unit; lead and square for a slide.
    """
    from ..motion.symbolic import closure_latex, numbers_latex

    step = next((s for s in system.plan.steps if getattr(s, "rod", None) == rod), None)
    if step is None:
        raise LinkageError(f'rod "{rod}" closes no loop of its own; '
                           f"{nearest(rod, _closing_rods(system))}", rod=rod)
    body, per = system.model.bodies[step.joint], system.model.unit.mm
    r, q = (np.divide(system.model.position(end), per) for end in (step.near, step.far))
    length = system.model.rod_length(rod) / per
    if body.slides:
        lead = float(kernels.slide_lead(r, body.direction, q))
        apart = q - r
        return f"{closure_latex(slides=True)},\\quad " + numbers_latex(
            {"h": lead, "S": float(apart @ apart) - length**2})
    centre = np.divide(body.centre, per)
    parts = kernels.turn_parts(r, centre, body.direction, q, length)
    return f"{closure_latex()},\\quad " + numbers_latex(dict(zip("ABC", map(float, parts),
                                                                 strict=True)))


def _closing_rods(system):
    return [s.rod for s in system.plan.steps if isinstance(s, Close)]


def gearing_algebra(system: System, surface: str, name: str) -> str:
    """Neutral gearing of a surface per input as products of arm ratios, as LaTeX.

    Parameters
    ----------
    system : System
    surface : str
    name : str
        The input.

    Returns
    -------
    str
        Each stage is driving arm times the sine of its angle to the rod, over the same of the
        driven arm; several ways through the system are added.
    """
    from ..motion.symbolic import gearing_latex

    body = system.model.surfaces[surface].body
    sign = hinge_sign(system.model.bodies[body])
    return gearing_latex([[(sign, 1.0, 1.0, 1.0), *way] for way in _ways(system, body, name)])


def _ways(system, joint, name):
    """Every way from a joint back to the input: lists of (arm, sine, driven arm, driven sine)."""
    step = next((s for s in system.plan.steps if joint in s.joints), None)
    if isinstance(step, Drive):
        return [[(step.sign, 1.0, 1.0, 1.0)]] if step.input == name else []
    if isinstance(step, Couple):
        return [[*way, (step.ratio, 1.0, 1.0, 1.0)] for way in _ways(system, step.source, name)]
    return _ways_over(system, step, joint, name) if isinstance(step, Close) else []


def _ways_over(system, step, joint, name):
    """Ways back over the rod that drives a joint."""
    driven = _arm(system, step.rod, joint)
    route = system.plan.route(*map(body_of, system.model.rods[step.rod].ends))
    return [way for other, _ in route if other != joint
            for way in _ways_across(system, step.rod, other, driven, name)]


def _ways_across(system, rod, other, driven, name):
    arm, sine = _arm(system, rod, other)
    return [[*way, (-arm, sine, *driven)] for way in _ways(system, other, name)]


def _arm(system, rod, joint):
    """Arm of a joint to the rod that crosses it, and the sine of the angle between, signed."""
    per, body = system.model.unit.mm, system.model.bodies[joint]
    near, far = system.model.rods[rod].ends
    if (joint, True) not in system.plan.route(body_of(near), "airframe"):
        near, far = far, near
    here, there = (np.array(system.model.position(end)) for end in (near, far))
    if body.slides:
        return 1.0, float(kernels.slide_margin(body.direction, there - here))
    x = here - body.centre
    across = x - np.array(body.direction) * (x @ body.direction)
    sine = float(kernels.turn_margin(here, body.centre, body.direction, there - here))
    return float(np.linalg.norm(across)) / per, sine
