"""The three-view: side, top and front by stations, with ghosts of the travel."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import matplotlib.patheffects
import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from ..errors import LinkageError, nearest
from ..gearing import said_input, said_place
from ..model import AIRFRAME
from ..motion import System, body_of
from .numbers import clear_of_others, place_numbers
from .projection import bones, ends_of_travel, hinges, numbered, outline, placed_pieces, stirred
from .style import (
    GREY,
    INK,
    PALE,
    SMALL,
    WASH,
    Picture,
    add_caution,
    in_our_look,
    shortened,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

VIEWS = {"side": (0, 2), "top": (0, 1), "front": (1, 2)}
SEEN = {"side": "side, from the left", "top": "top, from above", "front": "looking forward"}
EYE = {(0, 2): (1, -1), (0, 1): (2, 1), (1, 2): (0, 1)}  # view: station of depth, sense nearer
STATIONS = ("FS", "BL", "WL")
GHOSTS = ((0, (5, 2)), (0, (1.2, 1.6)), (0, (6, 2, 1, 2)), (0, (3, 3)))
SHEET = (10.8, 7.4)  # inches; fits A4 lying
EDGES = {"left": 0.78, "right": 0.15, "top": 0.85, "bottom": 0.6, "gap": 0.75}  # inches
CLEAR = 14.0  # points of page to the next point from which a number is written in every view
KEY = 4.6  # inches across that the key wants
LINE, LETTER = 0.135, 0.046  # inches between lines of the key, and across a letter
ALL_ROUND = 0.04  # of the greatest size, left free about what is drawn


@in_our_look
def three_view(system: System, figure: Figure | None = None, *,
               at: Mapping[str, float] | None = None, parts: list[str] | None = None) -> Figure:
    """Side, top and front view by stations, with hardpoints and ghosts of the travel.

    Parts with solids show their outlines, others their points and rods.

    Parameters
    ----------
    system : System
    figure : matplotlib Figure or SubFigure, optional
        Where to draw; a new page unless given.
    at : dict, optional
        ``{input: degrees}``, the stick position drawn; neutral unless given.
    parts : list of str, optional
        Bodies and rods to come close to; everything unless given.

    Returns
    -------
    ndarray of 3 matplotlib Axes
        Side, top, front, in the file's unit; hardpoints carry numbers that a key explains.

    Raises
    ------
    LinkageError
        When there is no such input or part.
    """
    motion, key = system.sweep(**(at or {})), numbered(system, _known_parts(system, parts))
    if motion.shape:
        raise LinkageError(f"a three-view shows one stick position, got {math.prod(motion.shape)}; "
                           "give one number per input, like at = {'pitch': 10}")
    ghosts, near = ends_of_travel(system), _near(system, parts)
    drawn = {name: placed_pieces(motion, name) for name in system.model.solids}
    bounds = _bounds(motion, [m for _, m in ghosts], drawn, near)
    if figure is None:
        figure = Picture(figsize=_page(bounds))
        add_caution(figure)
    axes = _laid_out(figure, system, bounds)
    neutral = stirred(system, motion) == set()
    moved = _moved_parts(ghosts, near)
    for view, ax in zip(VIEWS.values(), axes, strict=True):
        _draw_solids(ax, motion, drawn, view, near)
        _draw_bones(ax, motion, view, near)
        for parts in moved:
            _draw_ghost(ax, parts, view, system.model.unit.mm)
        _draw_points(ax, motion, view, near)
    _write_numbers(motion, key, axes, near)
    _words(figure, system, axes, "" if neutral else said_place(system, at))
    _write_key(figure, system, key, ghosts, axes)
    return np.array(axes, dtype=object)


def _known_parts(system, parts):
    for part in parts or ():
        known = [*system.model.bodies, *system.model.rods, AIRFRAME]
        if part not in known:
            raise LinkageError(f'no part "{part}"; {nearest(part, known)}', part=part)
    return parts


def _near(system, parts) -> set:
    """Parts that the picture is about; the others are drawn pale."""
    return set(parts) if parts else {*system.model.bodies, *system.model.rods}


def _bounds(motion, ghosts, drawn, near):
    """Least and greatest stations of what is to be seen, mm, with room all round."""
    model = motion.system.model
    shown = {*near, AIRFRAME} if near >= {*model.bodies, *model.rods} else near
    spots = [points + side * radius for name, pieces in drawn.items() if body_of(name) in shown
             for points, radius in pieces for side in (-1, 1)]
    for state in (motion, *ghosts):
        spots += [state.point(name)[None] for name in model.points if body_of(name) in shown]
        spots += _lines_of(bones(state), near)
    spots += _lines_of({name: [line] for name, line in hinges(motion).items()}, near)
    return _box_with_room(np.concatenate([np.zeros((0, 3)), *spots]))


def _lines_of(lines, near) -> list:
    return [line for name, each in lines.items() if name in near for line in each]


def _box_with_room(points):
    points = points[np.isfinite(points).all(axis=1)]
    low, high = (points.min(axis=0), points.max(axis=0)) if len(points) else (np.zeros(3),) * 2
    room = max(ALL_ROUND * float(np.max(high - low)), 10.0)
    return low - room, high + room


def _scale(width, height, bounds) -> float:
    """Inches on the page per mm at which the three views fit it."""
    fs, bl, wl = bounds[1] - bounds[0]
    return min((width - EDGES["left"] - EDGES["right"] - EDGES["gap"]) / (fs + bl),
               (height - EDGES["top"] - EDGES["bottom"] - EDGES["gap"]) / (wl + bl))


def _page(bounds) -> tuple[float, float]:
    """Size of a page of our own: the sheet, less what would stay blank at its right."""
    (fs, bl, _), scale = bounds[1] - bounds[0], _scale(*SHEET, bounds)
    used = EDGES["left"] + fs * scale + EDGES["gap"] + max(bl * scale, KEY) + EDGES["right"]
    return float(np.clip(used, 0.7 * SHEET[0], SHEET[0])), SHEET[1]


def _laid_out(figure, system, bounds):
    """Axes of the three views at one scale: stations run on from one to the next."""
    width, height = np.array([figure.bbox.width, figure.bbox.height]) / figure.dpi
    (fs, bl, wl), per = bounds[1] - bounds[0], system.model.unit.mm
    scale = _scale(width, height, bounds)
    left, upper = EDGES["left"], height - EDGES["top"]
    second, lower = left + fs * scale + EDGES["gap"], upper - wl * scale - EDGES["gap"]
    boxes = {"side": (left, upper - wl * scale, fs * scale, wl * scale),
             "top": (left, lower - bl * scale, fs * scale, bl * scale),
             "front": (second, upper - wl * scale, bl * scale, wl * scale)}
    axes = []
    for name, (across, up) in VIEWS.items():
        ax = figure.add_axes(np.array(boxes[name]) / [width, height, width, height])
        ax.set(xlim=(bounds[0][across] / per, bounds[1][across] / per),
               ylim=(bounds[0][up] / per, bounds[1][up] / per))
        ax.set_aspect("equal", adjustable="box", anchor="NW")
        axes.append(ax)
    return axes


def _patch(rings, per, **look):
    """A patch; the axes have their limits, so nobody needs its own (`add_artist` asks for none)."""
    codes = [np.r_[Path.MOVETO, np.full(len(ring) - 2, Path.LINETO), Path.CLOSEPOLY]
             for ring in rings]
    path = Path(np.concatenate(rings) / per, np.concatenate(codes))
    return PathPatch(path, **look)


def _draw_solids(ax, motion, drawn, view, near):
    """Outlines, what is nearer to the eye over what is behind it."""
    per, (depth, sense) = motion.system.model.unit.mm, EYE[view]

    def behind(item):
        return sense * np.mean([points[:, depth].mean() for points, _ in item[1]])

    for order, (name, pieces) in enumerate(sorted(drawn.items(), key=behind)):
        rings, about = outline(pieces, view), body_of(name) in near
        if rings:
            look = {"facecolor": WASH, "edgecolor": INK, "linewidth": 0.7,
                    "zorder": 3 + order / len(drawn)} if about else \
                {"facecolor": "none", "edgecolor": PALE, "linewidth": 0.6, "zorder": 1}
            ax.add_artist(_patch(rings, per, gid=name, **look))


def _draw_bones(ax, motion, view, near):
    model, per = motion.system.model, motion.system.model.unit.mm
    for name, lines in bones(motion).items():
        ax.add_collection(LineCollection(
            [line[:, view] / per for line in lines], colors=INK if name in near else PALE,
            linewidths=1.8 if name in model.rods else 1.0, zorder=4, gid=name), autolim=False)
    lines = [line[:, view] / per for name, line in hinges(motion).items() if name in near]
    ax.add_collection(LineCollection(lines, colors=INK, linewidths=0.7, zorder=4, gid="pivot line",
                                     linestyles=[(0, (14, 3, 2, 3))]), autolim=False)


def _moved_parts(ghosts, near) -> list[tuple]:
    """Of each ghost: pieces of solids, and lines, of parts that moved; and the style of them."""
    styles = dict(zip(dict.fromkeys(name for name, _ in ghosts), GHOSTS * 9, strict=False))
    parts = []
    for name, ghost in ghosts:
        moved = stirred(ghost.system, ghost) & near
        solids = [solid for solid in ghost.system.model.solids if body_of(solid) in moved]
        parts.append(([placed_pieces(ghost, solid) for solid in solids],
                      _lines_of(bones(ghost), moved), styles[name]))
    return parts


def _draw_ghost(ax, parts, view, per):
    solids, lines, style = parts
    look = {"facecolor": "none", "edgecolor": GREY, "linewidth": 0.5, "linestyle": style,
            "zorder": 2, "gid": "ghost"}
    rings = [ring for pieces in solids for ring in outline(pieces, view)]
    if rings:
        ax.add_artist(_patch(rings, per, **look))
    lines = [line[:, view] / per for line in lines]
    ax.add_collection(LineCollection(lines, colors=GREY, linewidths=0.7, linestyles=[style],
                                     zorder=2, gid="ghost"), autolim=False)


def _draw_points(ax, motion, view, near):
    spots = _spots(motion, view, near)
    pivots = np.array([at for name, at in spots.items() if name.endswith("/pivot")])
    others = np.array([at for name, at in spots.items() if not name.endswith("/pivot")])
    for places, marker, size in ((others, "o", 2.6), (pivots, "D", 3.0)):
        ax.plot(*places.reshape(-1, 2).T, marker=marker, markersize=size, linestyle="none",
                markerfacecolor="white", markeredgecolor=INK, markeredgewidth=0.7, zorder=5)


def _spots(motion, view, near) -> dict:
    """Points in a view, in the file's unit."""
    per = motion.system.model.unit.mm
    return {name: motion.point(name)[list(view)] / per for name in motion.system.model.points
            if body_of(name) in {*near, AIRFRAME}}


def _write_numbers(motion, key, axes, near):
    """Each number where its point stands clear, and at least in the view that shows it best."""
    spots = [_spots(motion, view, near) for view in VIEWS.values()]
    clear = np.array([[clear_of_others(ax, spot[name], spot.values()) for name in key]
                      for ax, spot in zip(axes, spots, strict=True)]).reshape(len(axes), -1)
    halo = [matplotlib.patheffects.withStroke(linewidth=1.6, foreground="white")]
    for k, (ax, spot) in enumerate(zip(axes, spots, strict=True)):
        labels = {str(number): spot[name] for n, (name, (number, _)) in enumerate(key.items())
                  if clear[k, n] >= CLEAR or k == clear[:, n].argmax()}
        for text, offset in place_numbers(ax, labels, list(spot.values())).items():
            far = np.hypot(*offset) > 9
            ax.annotate(text, labels[text], offset, textcoords="offset points", fontsize=6,
                        zorder=6, ha="center", va="center", path_effects=halo, gid="number",
                        arrowprops={"arrowstyle": "-", "linewidth": 0.5, "color": INK, "shrinkA": 1,
                                    "shrinkB": 1.5} if far else None)


def _words(figure, system, axes, place):
    unit = system.model.length
    for (name, view), ax in zip(VIEWS.items(), axes, strict=True):
        ax.set_xlabel(f"{STATIONS[view[0]]}, {unit}", labelpad=2)
        ax.set_ylabel(f"{STATIONS[view[1]]}, {unit}", labelpad=2)
        ax.annotate(SEEN[name], (0, 1), (0, 3), xycoords="axes fraction",
                    textcoords="offset points", fontsize=SMALL, color=GREY)
    asked = f"with the stick {place}?" if place else "and how far does it swing?"
    top = figure.bbox.height / figure.dpi
    figure.text(0.012, 1 - 0.30 / top, f"Where does every part sit{'' if place else ','} {asked}",
                fontsize=11, fontweight="bold")
    figure.text(0.012, 1 - 0.50 / top, shortened(system.model.title), fontsize=SMALL, color=GREY)


def _write_key(figure, system, key, ghosts, axes):
    """Numbers and names of the hardpoints, and what the ghosts are, where the page is free."""
    width, height = np.array([figure.bbox.width, figure.bbox.height]) / figure.dpi
    x, y, low = _free_corner(axes, width, height)
    step = LINE / height
    for number, name in enumerate(dict.fromkeys(name for name, _ in ghosts)):
        ends = " and ".join(
            said_input(system, name, float(m.inputs[name])).removesuffix(f" {name}")
            for n, m in ghosts if n == name)
        figure.add_artist(Line2D([x, x + 0.3 / width], [y, y], color=GREY, linewidth=0.9,
                                 linestyle=GHOSTS[number % len(GHOSTS)]))
        figure.text(x + 0.37 / width, y, f"ghosts: {name} at {ends}", fontsize=6.5, va="center")
        y -= 1.2 * step
    figure.text(x, y, "○ hardpoint   ◇ pivot   – · – pivot line", fontsize=6.5, va="center")
    y -= 1.5 * step
    lines = [f"{number}  {name}" + (" (and its twin)" if twin else "")
             for name, (number, twin) in key.items()]
    rows = max(1, int((y - low) / step) + 1)
    across = min((0.99 - x) / -(-len(lines) // rows) if lines else 1.0,
                 (0.4 + LETTER * max(map(len, lines), default=0)) / width)
    for k, text in enumerate(lines):
        figure.text(x + k // rows * across, y - k % rows * step, text, fontsize=6.2, va="center")


def _free_corner(axes, width, height):
    """Left, top and bottom of the larger free place: beside the top view or below it."""
    side, top, front = (ax.get_position(original=True) for ax in axes)
    beside = (front.x0, top.y1 - 0.1 / height, top.y0)
    below = (side.x0, top.y0 - 0.7 / height, 0.35 / height)
    return max(beside, below, key=lambda at: (0.99 - at[0]) * width * max(at[1] - at[2], 0.0))
