"""Edges of plates from SVG drawings: paths, rectangles, circles, ellipses, lines and polygons."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import FileError, LinkageError, mm, nearest
from ..geometry.loops import Arc, Circle, Curve, Sweep
from .keys import MOST_MM

MOST_BYTES = 20_000_000
PLAIN = {"mm": 1.0, "cm": 10.0, "in": 25.4}  # units of width and height whose size is no screen's
ALIKE = 1e-4  # share by which width and height may give a unit another size
NO_EDGES = {"defs", "title", "desc", "metadata", "style", "text", "image", "clipPath", "mask",
            "marker", "pattern", "symbol", "linearGradient", "radialGradient", "filter", "script",
            "namedview", "view", "switch", "foreignObject"}
NUMBER = re.compile(r"[\s,]*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)")
FLAG = re.compile(r"[\s,]*([01])")
COMMAND = re.compile(r"[\s,]*([MmLlHhVvCcSsQqTtAaZz])")
TURN = re.compile(r"\s*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^)]*)\)[\s,]*")
COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


@dataclass(frozen=True)
class SvgPage:
    """How a drawing lies on its page.

    Attributes
    ----------
    root : Element
    size : float
        mm of its unit.
    corner : tuple of float
        Its own coordinates of the page's lower left, which is [0, 0] of the plate.
    """

    root: ET.Element
    size: float
    corner: tuple[float, float]


def read_svg(path: Path | str) -> SvgPage:
    """The page of an SVG file whose width and height say its unit."""
    path = Path(path)
    data = of_drawing(path, "SVG", Path.read_bytes)
    if b"<!ENTITY" in data:
        raise FileError(f"{path}: defines entities of its own; save it as plain SVG",
                        path=str(path))
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, ValueError, LookupError) as problem:
        raise FileError(f"{path}: is no SVG drawing that can be read ({problem}); save it again",
                        path=str(path)) from problem
    if _kind(root) != "svg":
        raise FileError(f"{path}: is no SVG drawing; save it as SVG", path=str(path))
    size, corner = _unit(root)
    return SvgPage(root, size, corner)


def of_drawing(path: Path, kind: str, read: Callable) -> Any:
    """What is read of the file of a drawing; one that is none or too large is refused."""
    try:
        if path.stat().st_size > MOST_BYTES or not path.is_file():
            raise FileError(f"{path}: is no drawing of at most {MOST_BYTES / 1e6:.0f} MB; name the "
                            f"{kind} file of the plate alone", path=str(path))
        return read(path)
    except OSError as problem:
        raise FileError(f"{path}: can't be read ({problem.strerror}); check the name",
                        path=str(path)) from problem


def _unit(root) -> tuple[float, tuple[float, float]]:
    """Size of a unit, mm, and the page's lower left corner in it."""
    view = [float(k) for k in NUMBER.findall(root.get("viewBox", ""))]
    sizes = [re.fullmatch(r"\s*([\d.]+(?:[eE][-+]?\d+)?)\s*(mm|cm|in)\s*", root.get(word, ""))
             for word in ("width", "height")]
    if len(view) != 4 or None in sizes or not min(view[2:]) > 0:
        raise LinkageError("does not say its unit: an SVG needs width and height in mm, cm or in, "
                           "and a viewBox; save it with them")
    wide, tall = (float(k[1]) * PLAIN[k[2]] / room for k, room in zip(sizes, view[2:], strict=True))
    if not (0 < wide <= MOST_MM and abs(tall - wide) <= ALIKE * wide):
        raise LinkageError(f"has units {mm(wide)} wide and {mm(tall)} tall; let width and height "
                           f"be in proportion to its viewBox")
    return wide, (view[0], view[1] + view[3])


def svg_edges(page: SvgPage, layer: str | None) -> Iterator:
    """Edges of a group of a drawing, mm; of all of it where none is named and there is but one."""
    # complexity over 10: each way in which a group may lack what is asked for
    (x, y), size = page.corner, page.size
    upright = np.array([[size, 0.0, -size * x], [0.0, -size, size * y]])
    found = list(_elements(page.root, upright, ()))
    names = list(dict.fromkeys(group[0][0] for *_, group in found if group))
    if layer is None:
        homes = {group[:1] for *_, group in found}
        if len(homes) != 1:
            raise LinkageError(f"has edges in {len(homes)} groups"
                               + (f" ({', '.join(names[:6])})" if names else "")
                               + ('; name one: layer = "..."' if found else
                                  "; draw the plate's outline"))
    else:
        found = [each for each in found if any(
            layer.casefold() == name.casefold() for level in each[2] for name in level)]
        if not found:
            raise LinkageError(f'has no edges in a group "{layer}"; {nearest(layer, names)}')
    for element, placed, _ in found:
        try:
            yield from KINDS[_kind(element)](element, placed)
        except (ValueError, OverflowError) as problem:
            raise LinkageError(f"has a {_kind(element)} that is not whole ({problem}); draw it "
                               f"anew") from problem


def _kind(element) -> str:
    return element.tag.rsplit("}", 1)[-1] if isinstance(element.tag, str) else ""


def _elements(parent, placed, group) -> Iterator[tuple]:
    """Elements with edges, how each lies, and the names of each group that it is in."""
    for element in parent:
        kind = _kind(element)
        if kind in NO_EDGES or not kind or _is_hidden(element):
            continue
        if "transform:" in element.get("style", "").replace(" ", ""):
            raise LinkageError(f"turns a {kind} by its style; save it as plain SVG")
        here = _joined(placed, _turned(element.get("transform", "")))
        if kind in ("g", "a"):
            names = _names_of(element)
            yield from _elements(element, here, (*group, names) if names else group)
        elif kind in KINDS:
            yield element, here, group
        else:
            raise LinkageError(f'has a "{kind}", which is no edge that is known; draw it as paths')


def _is_hidden(element) -> bool:
    return "display:none" in element.get("style", "").replace(" ", "") \
        or element.get("display") == "none"


def _names_of(element) -> tuple[str, ...]:
    return tuple(value for word in ("label", "id") for key, value in element.attrib.items()
                 if key.rsplit("}", 1)[-1] == word)


def _joined(outer, inner):
    whole = outer @ np.vstack([inner, [0.0, 0.0, 1.0]])
    if not np.isfinite(whole).all():
        raise LinkageError("has a transform that is no number; draw it anew")
    return whole


def _turned(text) -> np.ndarray:
    """The transform that some text says, (2, 3)."""
    whole, at = np.eye(3)[:2], 0
    while at < len(text.rstrip()):
        part = TURN.match(text, at)
        values = [float(k) for k in NUMBER.findall(part[2])] if part else []
        made = _one_turn(part[1], values) if part else None
        if made is None:
            raise LinkageError(f'has a transform "{text[:40]}" that is not known; draw it anew')
        whole, at = _joined(whole, made), part.end()
    return whole


def _one_turn(word, k):
    # complexity over 10: a line for each transform that SVG knows
    if word == "matrix" and len(k) == 6:
        return np.array([[k[0], k[2], k[4]], [k[1], k[3], k[5]]])
    if word == "translate" and len(k) in (1, 2):
        return np.array([[1, 0, k[0]], [0, 1, k[1] if len(k) == 2 else 0.0]])
    if word == "scale" and len(k) in (1, 2):
        return np.array([[k[0], 0, 0], [0, k[-1], 0.0]])
    if word == "rotate" and len(k) in (1, 3):
        cos, sin = math.cos(math.radians(k[0])), math.sin(math.radians(k[0]))
        x, y = k[1:] or (0.0, 0.0)
        return np.array([[cos, -sin, x - cos * x + sin * y], [sin, cos, y - sin * x - cos * y]])
    if word in ("skewX", "skewY") and len(k) == 1:
        lean = math.tan(math.radians(k[0]))
        return np.array([[1, lean if word == "skewX" else 0, 0],
                         [lean if word == "skewY" else 0, 1, 0.0]])
    return None


# --- edges ---------------------------------------------------------------------------------------

def _lengths(element, *words) -> list[float]:
    """Plain numbers of an element; a length with a unit of its own is refused."""
    found = []
    for word in words:
        text = element.get(word, "0")
        if not NUMBER.fullmatch(text.strip()):
            raise ValueError(f'{word} is "{text[:20]}", which is no plain number')
        found.append(float(text))
    return found


def _put(placed, *places) -> list:
    spots = [(placed[:, :2] @ place + placed[:, 2]).tolist() for place in places]
    for value in np.ravel(spots):
        if not abs(value) <= MOST_MM:
            raise ValueError(f"a coordinate of {value:g} mm")
    return [tuple(spot) for spot in spots]


def _chain(placed, places, closed) -> Iterator:
    ends = _put(placed, *places)
    for one, other in zip(ends, [*ends[1:], *(ends[:1] if closed else ())], strict=False):
        if one != other:
            yield Arc(one, other)


def _line(element, placed):
    x, y, u, v = _lengths(element, "x1", "y1", "x2", "y2")
    yield from _chain(placed, [(x, y), (u, v)], False)


def _polygon(element, placed):
    numbers = [float(k) for k in NUMBER.findall(element.get("points", ""))]
    places = list(zip(numbers[::2], numbers[1::2], strict=True))
    yield from _chain(placed, places, _kind(element) == "polygon")


def _rectangle(element, placed):
    x, y, wide, tall, rx, ry = _lengths(element, "x", "y", "width", "height", "rx", "ry")
    if not min(wide, tall) > 0:
        raise ValueError("no width or height")
    rx, ry = (min(k or other, most / 2) for k, other, most in ((rx, ry, wide), (ry, rx, tall)))
    if not (rx > 0 and ry > 0):
        yield from _chain(placed, [(x, y), (x + wide, y), (x + wide, y + tall), (x, y + tall)],
                          True)
        return
    right, low = x + wide, y + tall
    path = (f"M{x + rx!r} {y!r}H{right - rx!r}A{rx!r} {ry!r} 0 0 1 {right!r} {y + ry!r}"
            f"V{low - ry!r}A{rx!r} {ry!r} 0 0 1 {right - rx!r} {low!r}H{x + rx!r}"
            f"A{rx!r} {ry!r} 0 0 1 {x!r} {low - ry!r}V{y + ry!r}"
            f"A{rx!r} {ry!r} 0 0 1 {x + rx!r} {y!r}Z")
    yield from _Path(path, placed).edges()


def _ellipse(element, placed):
    x, y, rx, ry = _lengths(element, "cx", "cy", "rx", "ry")
    if _kind(element) == "circle":
        rx = ry = _lengths(element, "r")[0]
    if not min(rx, ry) > 0:
        raise ValueError("no radius")
    whole = _swept(placed, (x, y), ((rx, 0.0), (0.0, ry)), 0.0, 2 * math.pi)
    if _is_round(whole):
        yield Circle(whole.centre, whole.major, whole.minor, whole.first, whole.last)
    else:
        half = (whole.first + whole.last) / 2
        for ends in ((whole.first, half), (half, whole.last)):
            yield Sweep(whole.centre, whole.major, whole.minor, *ends)


def _swept(placed, centre, arms, first, last) -> Sweep:
    """Part of an ellipse as it lies on the plate, the minor arm to the left of the major one."""
    middle = np.array(_put(placed, centre)[0])
    major, minor = (placed[:, :2] @ arm for arm in arms)
    if major[0] * minor[1] < major[1] * minor[0]:
        minor, first, last = -minor, -first, -last
    return Sweep(middle, major, minor, first, last)


def _is_round(sweep) -> bool:
    size = math.hypot(*sweep.major)
    return abs(math.hypot(*sweep.minor) - size) <= 1e-9 * size \
        and abs(sweep.major @ sweep.minor) <= 1e-9 * size**2


def _path(element, placed):
    yield from _Path(element.get("d", ""), placed).edges()


class _Path:
    """The commands of a path (SVG 1.1, chapter 8, from memory)."""

    def __init__(self, text, placed):
        self.text, self.placed, self.at = text, placed, 0
        self.here = self.start = self.handle = np.zeros(2)
        self.before = ""

    def edges(self) -> Iterator:
        """One after the other."""
        while self.text[self.at:].strip(" \t\r\n,"):
            command = COMMAND.match(self.text, self.at)
            if command is None or (not self.before and command[1].upper() != "M"):
                raise ValueError(f'"{self.text[self.at:self.at + 12]}" stands where a command has '
                                 f"to")
            self.at, word = command.end(), command[1]
            yield from self._done(word)
            while word.upper() != "Z" and NUMBER.match(self.text, self.at):
                word = {"M": "L", "m": "l"}.get(word, word)
                yield from self._done(word)

    def _done(self, word):
        kind, values = word.upper(), self._values(word.upper())
        base = self.here if word.islower() else np.zeros(2)
        if kind == "Z":
            yield from self._straight(self.start)
        elif kind == "M":
            self.here = self.start = base + values
        elif kind in "HV":
            end = self.here.copy()
            end["HV".index(kind)] = base["HV".index(kind)] + values[0]
            yield from self._straight(end)
        elif kind == "L":
            yield from self._straight(base + values)
        elif kind == "A":
            yield from self._arc(values, base + values[5:])
        else:
            yield from self._curve(kind, base + np.reshape(values, (-1, 2)))
        self.before = kind

    def _values(self, kind):
        found = []
        for k in range(COUNTS[kind]):
            part = (FLAG if kind == "A" and k in (3, 4) else NUMBER).match(self.text, self.at)
            if part is None:
                raise ValueError(f"a {kind} of a path lacks a number")
            found.append(float(part[1]))
            self.at = part.end()
        return found

    def _straight(self, end):
        yield from _chain(self.placed, [self.here, end], False)
        self.here = end

    def _curve(self, kind, places):
        handles = [*places[:-1]]
        if kind in "ST":
            follows = self.before in ("CS" if kind == "S" else "QT")
            handles.insert(0, 2 * self.here - self.handle if follows else self.here)
        control = np.array(_put(self.placed, self.here, *handles, places[-1]))
        if np.ptp(control, axis=0).max() > 0:
            yield Curve(np.column_stack([control, np.ones(len(control))]))
        self.handle, self.here = handles[-1], places[-1]

    def _arc(self, values, end):
        """By its middle (SVG 1.1, appendix F.6.5, from memory)."""
        rx, ry, lean, large, way = (abs(values[0]), abs(values[1]), math.radians(values[2]),
                                    values[3], values[4])
        if not (rx > 0 and ry > 0) or (end == self.here).all():
            yield from self._straight(end)
            return
        axes = np.array([[math.cos(lean), -math.sin(lean)], [math.sin(lean), math.cos(lean)]])
        x, y = axes.T @ (self.here - end) / 2 / (rx, ry)
        size = math.hypot(x, y)
        grown = max(1.0, size)
        off = math.sqrt(max(1 / (size / grown)**2 - 1, 0.0)) * (-1 if large == way else 1)
        middle = np.array([off * y, -off * x]) / grown
        first, last = (math.atan2(*((sign * np.array([x, y]) / grown - middle)[::-1]))
                       for sign in (1, -1))
        turn = (last - first) % (2 * math.pi) - (0 if way else 2 * math.pi)
        rx, ry = rx * grown, ry * grown
        centre = (self.here + end) / 2 + axes @ (middle * (rx, ry))
        sweep = _swept(self.placed, centre, (axes @ (rx, 0.0), axes @ (0.0, ry)), first,
                       first + turn)
        yield from self._in_halves(sweep, _put(self.placed, self.here, end))
        self.here = end

    def _in_halves(self, sweep, ends):
        turn = sweep.last - sweep.first
        half = Sweep(sweep.centre, sweep.major, sweep.minor, sweep.first, sweep.first + turn / 2)
        if _is_round(sweep):
            yield Arc(ends[0], half.end, math.tan(turn / 8))
            yield Arc(half.end, ends[1], math.tan(turn / 8))
        else:
            yield half
            yield Sweep(sweep.centre, sweep.major, sweep.minor, half.last, sweep.last)


KINDS = {"path": _path, "rect": _rectangle, "circle": _ellipse, "ellipse": _ellipse,
         "line": _line, "polyline": _polygon, "polygon": _polygon}
