"""From the named dimensions to every coordinate, exactly, and from the coordinates to a model.

A dimension moves what it names and the twin across BL 0 by the same amount, so that twins stay
twins.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import ModelError
from ..model import AIRFRAME, STATIONS, Model, Point
from ..model.mirroring import twin_name
from ..motion import Dimensions, Seeds, body_of

KINDS = {"arm": "point", "clocking": "point", "place": "point", "rod": "rod"}
RIVALS = {"arm": {"place"}, "clocking": {"place"}, "place": {"arm", "clocking"}, "rod": set()}


@dataclass(frozen=True)
class Named:
    """A dimension to choose.

    Attributes
    ----------
    name, kind, of : str
        Its name, what it is, and the point or rod it belongs to.
    along : int or None
        Station of a place: 0 FS, 1 BL, 2 WL.
    unit : {"mm", "°"}
    drawn : float
        As the file has it, mm or degrees.
    least, greatest : float
    step : float or None
    moves : tuple of (str, float)
        What it changes, and the sense: the point or rod, and its twin.
    """

    name: str
    kind: str
    of: str
    along: int | None
    unit: str
    drawn: float
    least: float
    greatest: float
    step: float | None
    moves: tuple


def named_dimensions(model: Model) -> tuple[Named, ...]:
    """Dimensions to choose, in the file's order.

    Parameters
    ----------
    model : Model

    Returns
    -------
    tuple of Named

    Raises
    ------
    ModelError
        When two dimensions change the same thing.
    """
    dimensions = [_named(model, kind, name, part) for kind, table in model.size.tables.items()
                  for name, part in table.items()]
    _refuse_doubles(dimensions)
    return tuple(dimensions)


def _named(model, kind, name, part) -> Named:
    of = getattr(part, KINDS[kind])
    along = STATIONS.index(part.along) if kind == "place" else None
    drawn = {"arm": lambda: float(np.linalg.norm(_lever(model, of)[2])), "clocking": lambda: 0.0,
             "place": lambda: model.position(of)[along],
             "rod": lambda: model.rod_length(of)}[kind]()
    moves, twin = [(of, 1.0)], twin_name(of, model.mirror)
    if twin != of and twin in (model.rods if kind == "rod" else model.points):
        moves.append((twin, _sense(model, kind, along, of, twin)))
    return Named(name, kind, of, along, "°" if kind == "clocking" else "mm", drawn, part.least,
                 part.greatest, part.step, tuple(moves))


def _sense(model, kind, along, of, twin) -> float:
    """-1 where the twin's number grows as the named one's shrinks."""
    if kind == "place":
        return -1.0 if along == 1 else 1.0
    if kind != "clocking":
        return 1.0
    (x, y, z), own = (model.bodies[body_of(k)].direction for k in (of, twin))
    return float(np.sign(np.dot((-x, y, -z), own))) or 1.0


def _refuse_doubles(dimensions) -> None:
    for n, each in enumerate(dimensions):
        for other in dimensions[:n]:
            shared = {a for a, _ in each.moves} & {a for a, _ in other.moves}
            if shared and (other.kind in RIVALS[each.kind]
                           or (other.kind, other.along) == (each.kind, each.along)):
                place = f'size, {each.kind} "{each.name}"'
                raise ModelError(f'{place}: "{min(shared)}" is sized by "{other.name}" already; '
                                 f"take one of them out", place=place)


def _lever(model, address):
    """Axis of a point's body, the pivot to it along the axis, and across it."""
    body = model.bodies[body_of(address)]
    axis = np.array(body.direction)
    away = np.subtract(model.position(address), body.centre)
    along = axis * (away @ axis)
    return axis, along, away - along


class Layout:
    """Every coordinate as a function of the named dimensions.

    Parameters
    ----------
    model : Model
        As drawn.
    named : tuple of Named
    """

    def __init__(self, model: Model, named: Sequence[Named]):
        self.model, self.named = model, named
        self._acting = {}
        for k, each in enumerate(named):
            for address, sense in each.moves:
                self._acting.setdefault(address, []).append((k, each, sense))

    def places(self, values: Mapping[str, float]) -> dict:
        """Neutral position of every point, and its rate per unit of each dimension.

        Parameters
        ----------
        values : array_like, shape (k,)
            mm and degrees.

        Returns
        -------
        dict
            ``{"part/point": (ndarray (3,), ndarray (k, 3))}``, mm.
        """
        shifts, positions = {AIRFRAME: self._still()}, {}
        for address in self.model.points:
            part, point = address.split("/")
            shift, rate = self._shift(part, values, shifts)
            if point == "pivot":
                positions[address] = np.add(self.model.position(address), shift), rate
            else:
                positions[address] = self._point(address, values, shift, rate)
        return positions

    def _still(self):
        return np.zeros(3), np.zeros((len(self.named), 3))

    def _shift(self, part, values, known):
        """How far a part is moved as a whole: with its pivot, or with what carries it."""
        if part not in known:
            shift, rate = self._shift(self.model.bodies[part].on, values, known)
            known[part] = self._placed(f"{part}/pivot", values, shift, rate)
        return known[part]

    def _placed(self, address, values, shift, rate):
        """A move whose stations that are chosen outright count from as drawn."""
        for k, each, sense in self._acting.get(address, ()):
            if each.kind == "place":
                shift, rate = shift.copy(), rate.copy()
                shift[each.along] = sense * (values[k] - each.drawn)
                rate[:, each.along] = 0.0
                rate[k, each.along] = sense
        return shift, rate

    def _point(self, address, values, shift, rate):
        shift, rate = self._placed(address, values, shift, rate)
        place = np.add(self.model.position(address), shift)
        levers = [a for a in self._acting.get(address, ()) if a[1].kind in ("arm", "clocking")]
        if not levers:
            return place, rate
        axis, _, across = _lever(self.model, address)
        size, turn, longer = np.linalg.norm(across), 0.0, 0.0
        for k, each, sense in levers:
            if each.kind == "arm":
                longer = values[k] - each.drawn
            else:
                turn = sense * np.radians(values[k])
        way = (np.cos(turn) * across + np.sin(turn) * np.cross(axis, across)) / size
        rate = rate.copy()
        for k, each, sense in levers:
            rate[k] += way if each.kind == "arm" else \
                np.cross(axis, way) * (size + longer) * sense * np.radians(1.0)
        return place - across + way * (size + longer), rate

    def dimensions(self, values: Mapping[str, float]) -> tuple[Dimensions, Seeds]:
        """Dimensions of the motion, and their rates per unit of each named dimension.

        Parameters
        ----------
        values : array_like, shape (k,)

        Returns
        -------
        (Dimensions, Seeds)
            Rates of shape (k, 1), to stand beside values over one axis of positions.
        """
        places = self.places(values)
        lengths, rates = {}, {}
        for name in self.model.rods:
            lengths[name], rates[name] = self._length(name, values, places)
        seeds = Seeds(places={n: tuple(rate.T[:, :, None]) for n, (_, rate) in places.items()
                              if rate.any()},
                      lengths={n: rate[:, None] for n, rate in rates.items() if rate.any()})
        axes = {name: body.direction for name, body in self.model.bodies.items()}
        return Dimensions({n: tuple(p.tolist()) for n, (p, _) in places.items()}, axes,
                          lengths), seeds

    def _length(self, name, values, places):
        """Length of a rod: chosen, given, or from its points."""
        rate = np.zeros(len(self.named))
        for k, each, _ in self._acting.get(name, ()):
            if each.kind == "rod":
                rate[k] = 1.0
                return self.model.rod_length(name) + float(values[k]) - each.drawn, rate
        rod = self.model.rods[name]
        if rod.length is not None:
            return rod.length, rate
        (p, d_p), (q, d_q) = (places[end] for end in rod.ends)
        apart = float(np.linalg.norm(p - q))
        return apart, (d_p - d_q) @ (p - q) / apart

    def model_at(self, values: Mapping[str, float]) -> Model:
        """The model with its dimensions chosen; solids drawn on a moved part go with it.

        Parameters
        ----------
        values : array_like, shape (k,)

        Returns
        -------
        Model
        """
        places, shifts = self.places(values), {AIRFRAME: self._still()}
        bodies = {}
        for name, body in self.model.bodies.items():
            shift = tuple(self._shift(name, values, shifts)[0].tolist())
            points = self._points(name, body.points, places)
            bodies[name] = replace(body, points=points, **_shifted_body(body, shift)) \
                if any(shift) else replace(body, points=points)
        airframe = replace(self.model.airframe, points=self._points(
            AIRFRAME, self.model.airframe.points, places))
        rods = {name: replace(rod, length=self._length(name, values, places)[0])
                if any(a[1].kind == "rod" for a in self._acting.get(name, ())) else rod
                for name, rod in self.model.rods.items()}
        return replace(self.model, bodies=bodies, airframe=airframe, rods=rods)

    def _points(self, part, points, places):
        """Points of a part moved; a stack keeps its build-up and its bolt's direction."""
        moved = {}
        for name, point in points.items():
            by = places[f"{part}/{name}"][0] - point.position
            moved[name] = replace(point, at=tuple(np.add(point.at, by).tolist())) \
                if by.any() else point
        return moved


def _shifted_body(body, shift) -> dict:
    """Pivot and solids of a body moved as a whole."""
    return {"pivot": _shifted(body.pivot, shift), "through": _shifted(body.through, shift),
            "solids": {name: _shifted_solid(solid, shift) for name, solid in body.solids.items()}}


def _shifted(place, shift):
    """A place moved; the name of a point stays."""
    if place is None or isinstance(place, (str, Point)):
        return place
    return tuple(a + b for a, b in zip(place, shift, strict=True))


def _shifted_solid(solid, shift):
    values = {word: _shifted(getattr(solid, word), shift) for word in ("at", "corner", "opposite")
              if hasattr(solid, word)}
    if hasattr(solid, "along"):
        values["along"] = tuple(_shifted(spot, shift) for spot in solid.along)
    return replace(solid, **values)
