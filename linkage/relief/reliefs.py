"""A plate relieved until its clearance is proven."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely

from ..clearances import NEAR, Stage, near_pairs, prove, scene_of
from ..clearances.scene import Scene
from ..disk import file_stems
from ..errors import LinkageError, mm
from ..geometry.triangles import Triangles
from ..model import Model
from ..model.surfaces import Mesh, Skin
from ..motion import System, body_of
from ..stops import real_travel
from .cut import Cut, as_made, cut_shape, least_ligament, make_cut, with_shape
from .flat import Flat, flat_of
from .mesh_sweep import MeshSweep
from .panel_sweep import PanelSweep
from .panels import Panel, panel_of
from .swept import Sweep

MOST_ROUNDS = 8
WIDER, AGAIN = 0.05, 0.5  # mm that a sweep is widened by more than a build came too near, and else


@dataclass(frozen=True, kw_only=True)
class Options:
    """How a relief is made.

    Attributes
    ----------
    cutter : float, optional
        Radius of the cutter, mm; 3 mm or 1/8 in by the file's unit.
    ligament : float, optional
        Least width that may stay, mm; 6 mm or twice the thickness, whichever is more.
    everything : bool
        Cut for every pair of the plate, not only those whose clearance is missed.
    grow : float
        mm taken more all round than was swept, so that the proof ends; `KEPT` of `cut` and `BAND`
        of `arcs` come to it, and all together stay under 0.1 mm.
    step : float, optional
        mm that nothing moves more than between the stick positions swept; by the roundness of
        what sweeps unless given.
    built : bool
        Cut and prove for every build within the file's tolerances, not as drawn.
    """

    cutter: float | None = None
    ligament: float | None = None
    everything: bool = False
    grow: float = 0.07
    step: float | None = None
    built: bool = False

    def __post_init__(self):
        if self.cutter is not None and not self.cutter >= 0:
            raise LinkageError(f"the cutter has a radius of {mm(self.cutter)}; give 0 or more")
        if not 0 < self.grow <= 0.07:
            raise LinkageError(f"grow is {mm(self.grow)}; give more than {mm(0)} and at most "
                               f"{mm(0.07)}")
        if self.step is not None and not self.step > 0:
            raise LinkageError(f"step is {mm(self.step)}; give more than {mm(0)}")


@dataclass(frozen=True, eq=False)
class Relief:
    """A plate relieved, and the proof.

    Attributes
    ----------
    flat : Flat
        The plate as it was.
    cut : Cut
    shape : Plate or Washer
        The plate as it is to be.
    model : Model
        The system with that plate.
    pairs : tuple of dict
        One per pair worked on: pair, required, before and after (mm; before is met somewhere,
        after is proven), over the travel that the stops leave.
    built : bool
        Whether that is of every build within the file's tolerances, or as drawn.
    swept : shapely geometry
        The region to keep clear, mm, from `positions` stick positions.
    positions : int
    """

    flat: Flat
    cut: Cut
    shape: object
    model: Model
    pairs: tuple
    swept: object
    positions: int
    built: bool = False

    @property
    def name(self) -> str:
        """``"part/solid"``."""
        return self.flat.name

    @property
    def drawn(self) -> Flat:
        """What its template shows: the plate as it is to be."""
        if isinstance(self.flat, Panel):
            return self.flat.after(self.shape, self.cut.removed) if self.needed else self.flat
        return flat_of(self.model, self.name)

    @property
    def needed(self) -> bool:
        """Whether anything had to go."""
        return self.shape is not self.flat.shape


def relieve(system: System, name: str, options: Options | None = None) -> Relief:
    """Cut a plate free of everything that moves through or past it.

    Parameters
    ----------
    system : System
    name : str
        ``"part/solid"`` of a plate, washer or box, or of a mesh or skin with a thickness.
    options : Options, optional

    Returns
    -------
    Relief
        Every pair of it is proven to keep its required clearance, as drawn or in every build within
        the file's tolerances, at every stick position that the stops leave; where an end has none,
        up to the wanted travel.

    Raises
    ------
    LinkageError
        When there is no such plate, no relief leaves enough of it, it can't be proven, or a stop
        touches at neutral.
    """
    options = options or Options()
    if not isinstance(system.model.solids.get(name), (Mesh, Skin)):
        flat_of(system.model, name)
    tolerances = system.model.tolerance if options.built else None
    pairs, before = _bracketed(system, name, tolerances)
    chosen = [pair for pair in pairs if options.everything
              or not before[pair.name][1] >= pair.required]
    flat = _flat(system, name, chosen)
    nothing = shapely.Polygon()
    if not chosen:
        uncut = Cut(nothing, nothing, nothing, flat.material, np.inf, {})
        return Relief(flat, uncut, flat.shape, system.model, (), nothing, 0, options.built)
    if options.built:
        more = _nearer_by_builds(system, name, chosen, before)
        swept, positions, done = _cut_in_every_build(system, flat, chosen, options, more)
    else:
        swept, positions, done = _cut_until_proven(system, flat, chosen, options)
    cut, shape, model, after = done
    rows = _before_and_after(chosen, before, after)
    return Relief(flat, cut, shape, model, rows, swept, positions, options.built)


def _before_and_after(pairs, before, after) -> tuple:
    """The least gap of each pair met before, and that proven after; far is without bound."""
    return tuple({"pair": pair.name, "required": pair.required, "before": before[pair.name][0],
                  "after": after[pair.name][1] if pair.name in after else np.inf}
                 for pair in pairs)


def mesh_name(model: Model, name: str) -> str | None:
    """Name of the file that a mesh or skin is written to once it is cut; None of a plate."""
    shape = model.solids[name]
    if not isinstance(shape, (Mesh, Skin)):
        return None
    stem, before = file_stems(model.solids)[name], Path(getattr(shape, "file", "")).name
    names = (f"{stem} relieved{f' {k}' if k > 1 else ''}.ply" for k in itertools.count(1))
    return next(file for file in names if file != before)


def _flat(system, name, pairs) -> Flat:
    """The plate, or a skin as it is seen square to the plane that fits best what comes near it."""
    if not isinstance(system.model.solids[name], (Mesh, Skin)):
        return flat_of(system.model, name)
    shape, body = scene_of(system).placed(name), body_of(name)
    corners = shape.pieces().corners
    plain = Panel(name, body, None, np.zeros(3), np.eye(3), shapely.box(*[
        k for way in (np.min, np.max) for k in way(corners[..., :2], axis=(0, 1))]), corners,
                  corners[:0], shape, shape.pieces().radius)
    near = np.zeros(len(corners), bool)
    for sweep in _sweeps(system, plain, pairs, None).values():
        near |= sweep.comes_near()
    return panel_of(name, body, shape, near)


def _sweeps(system, flat, pairs, step) -> dict:
    """What passes the plate of each pair, by the pair's name."""
    scene, within = scene_of(system), real_travel(system).travel
    sweeps = {}
    for pair in pairs:
        solid = scene.solid_of(pair, pair.second if pair.first == flat.name else pair.first)
        kind = PanelSweep if isinstance(flat, Panel) else \
            MeshSweep if isinstance(solid.pieces, Triangles) else Sweep
        sweeps[pair.name] = kind(system, flat, solid, pair, step, within)
    return sweeps


def _cut_until_proven(system, flat, chosen, options):
    """The region swept, widened wherever a proof fails, and the cut that is proven."""
    sweeps = _sweeps(system, flat, chosen, options.step)
    swept = shapely.union_all([sweep.region() for sweep in sweeps.values()])
    for level in range(MOST_ROUNDS):
        done, missed = _tried(system, flat, swept, options)
        if not missed:
            return swept, sum(sweep.positions for sweep in sweeps.values()), done
        swept = shapely.union_all([swept, *(
            sweeps[pair].near(place, level) for pair, place in missed.items() if pair in sweeps)])
    raise LinkageError(f'"{flat.name}": the clearance of {next(iter(missed))} could not be proven '
                       f"after {MOST_ROUNDS} rounds; give a smaller step", missed=missed)


def _cut_in_every_build(system, flat, chosen, options, more):
    """The region swept as drawn, widened by what builds come nearer, and the cut that is proven."""
    for _ in range(MOST_ROUNDS):
        wide = [replace(pair, required=pair.required + more[pair.name]) for pair in chosen]
        sweeps = _sweeps(system, flat, wide, options.step)
        swept = shapely.union_all([sweep.region() for sweep in sweeps.values()])
        done, missed = _tried(system, flat, swept, options)
        if not missed:
            return swept, sum(sweep.positions for sweep in sweeps.values()), done
        after = done[3]
        if any(name not in more or _is_open(after[name], _required(wide, name))
               for name in missed):
            break
        for name in missed:
            more[name] += _short_by(after[name], _required(chosen, name))
    raise LinkageError(f'"{flat.name}": the clearance of {next(iter(missed))} could not be decided '
                       f"for every build within the file's tolerances; say --drawn to cut for the "
                       f"drawn geometry alone, and check the builds on the aircraft", missed=missed)


def _short_by(bracket, need) -> float:
    """How much wider a pair has to be cut, mm, by what was met or proven of it."""
    least, proven, _ = bracket
    short = need - (least if least < need else proven)
    return max(short, 0.0) + WIDER if np.isfinite(short) else AGAIN


def _nearer_by_builds(system, name, chosen, built) -> dict:
    """How much nearer builds come than the drawing, mm by pair; 0 where that is not known."""
    drawn = _bracketed(system, name, None)[1]
    return {pair.name: max(0.0, drawn[pair.name][0] - built[pair.name][0])
            if pair.name in drawn and np.isfinite(built[pair.name][0]) else 0.0 for pair in chosen}


def _is_open(bracket, required) -> bool:
    """Whether a least gap has no bound and what was met of it is enough."""
    return not np.isfinite(bracket[1]) and bracket[0] >= required


def _required(pairs, name) -> float:
    return next(pair.required for pair in pairs if pair.name == name)


def _tried(system, flat, swept, options):
    """The cut, the shape, the model and what is proven, and the places that miss."""
    cutter = system.model.unit.cutter if options.cutter is None else options.cutter
    least = least_ligament(flat, options.ligament)
    if isinstance(flat, Panel):
        swept = swept.buffer(flat.marked_off(swept))
    cut = make_cut(flat, swept, options.grow, cutter, least)
    shape = cut_shape(flat, cut, system.model.length)
    cut = as_made(flat, cut, shape, least)
    made = shape
    if isinstance(flat, Panel):  # beyond what is drawn of it, too
        beyond = swept.buffer(options.grow).difference(flat.material)
        made = flat.cut_to(cut.removed.union(beyond), mesh_name(system.model, flat.name))
    model = with_shape(system.model, flat.name, made)
    fresh = System(model)
    _refuse_lost_joints(system, fresh, flat.name)
    stopping = any(flat.name in stop.between for stop in model.stops.values())
    pairs, after = _bracketed(fresh, flat.name, model.tolerance if options.built else None,
                              fresh if stopping else system)
    missed = {pair.name: place for pair in pairs
              for least, proven, place in [after[pair.name]] if not proven >= pair.required}
    return (cut, shape, model, after), missed


def short_in_a_build(system: System, name: str) -> list[str]:
    """Pairs of a plate that are not proven to keep their clearance in every build.

    Parameters
    ----------
    system : System
    name : str
        ``"part/solid"``.
    """
    pairs, brackets = _bracketed(system, name, system.model.tolerance)
    return [pair.name for pair in pairs if not brackets[pair.name][1] >= pair.required]


def _refuse_lost_joints(system, fresh, name) -> None:
    """Refuse a cut after which a plate no longer holds a joint that it held before."""
    joined = {pair.name: pair.joined for pair in asked(system, name)}
    for pair in asked(fresh, name):
        if joined.get(pair.name, True) and not pair.joined:
            raise LinkageError(
                f'"{name}": the relief cuts away what holds a pivot or rod end '
                f"({pair.name}); move that, or waive what misses", pair=pair.name)


def asked(system: System, name: str) -> list:
    """Pairs of a solid that have to keep a clearance: no stop, none waived."""
    return [pair for pair in scene_of(system).pairs_of(name)
            if pair.rule not in ("stop", "waived")]


def _bracketed(system, name, tolerances, stopped=None):
    """Near pairs of a plate, and of each the least gap met, the least proven and where.

    As drawn, or in every build; over what the stops of `stopped` leave, else those of the system.
    """
    scene = scene_of(system) if tolerances is None else Scene(system, tolerances)
    travel = real_travel(stopped or system, tolerances).travel
    pairs = [pair for pair in scene.pairs_of(name) if pair.rule not in ("stop", "waived")]
    if not pairs:
        return [], {}
    near, far = near_pairs(scene, pairs, travel, NEAR, tolerances)
    if not near:
        return [], {}
    stage = Stage(scene, near)
    proof = prove(stage, travel, 0.05, tolerances, limit=0.0)
    brackets = {}
    for k, pair in enumerate(stage.pairs):
        proven = -np.inf if k in proof.open_at else min(proof.proven[k], proof.least[k])
        place = proof.open_at.get(k, proof.place[k])
        brackets[pair.name] = (float(proof.least[k]), float(proven),
                               dict(zip(travel.names, np.asarray(place).tolist(), strict=True)))
    return list(stage.pairs), brackets
