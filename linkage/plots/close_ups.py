"""Where two parts come too near: a cut through the place, the gap dimensioned."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from ..gearing import said_place
from ..model import STATIONS, Plate, Washer
from ..motion import System
from ..units import LENGTHS, shown_length
from .projection import placed_pieces
from .sections import best_plane, section
from .style import ALARM, GREY, INK, PALE, SMALL, WASH, Picture, in_our_look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ACROSS = 7.4  # inches of a page between its edges
TALL = 2.7
FRAME = 25.0  # mm at least from the place to the frame
WIDER = 3.2  # times the frame, of the picture that shows where the place is
HATCHES = {"first": "", "second": "//////"}


@dataclass(frozen=True, eq=False)
class Near:
    """Where two solids come nearest.

    Attributes
    ----------
    pair : str
    place : dict
        ``{input: position}``, degrees (mm for a slide).
    first, second : ndarray (3,)
        The two closest points, stations in mm.
    words : str
        What is found against what is required.
    required : float
        mm.
    """

    pair: str
    place: dict
    first: np.ndarray
    second: np.ndarray
    words: str
    required: float

    @property
    def middle(self) -> np.ndarray:
        """Between the two points."""
        return (self.first + self.second) / 2


@in_our_look
def places(system: System, near: Sequence[Near]) -> np.ndarray:
    """Up to three places beside each other, each cut where its gap is seen at its true length.

    Parameters
    ----------
    system : System
    near : sequence of Near

    Returns
    -------
    ndarray of matplotlib Axes
    """
    figure = Picture(figsize=(ACROSS, TALL))
    wide = 1.0 / max(2, len(near))
    axes = [figure.add_axes((k * wide + 0.052, 0.115, wide - 0.062, 0.67))
            for k in range(len(near))]
    for number, (ax, each) in enumerate(zip(axes, near, strict=True), 1):
        draw_place(system, each, ax)
        _title(ax, f"{number}  {each.pair}", f"{each.words}; {said_place(system, each.place)}")
    legend(figure, system.model.length)
    return np.array(axes, dtype=object)


def draw_place(system: System, near: Near, ax: Axes, wider: float = 1.0) -> None:
    """A cut through one place: both parts, what else is near, and the gap between them.

    Parameters
    ----------
    system : System
    near : Near
    ax : matplotlib Axes
    wider : float
        Times the frame that the place alone takes.
    """
    motion, per = system.sweep(**near.place), system.model.unit.mm
    normal = plane_of(system, near)
    across = [k for k in range(3) if k != normal]
    half = wider * frame_of(near)
    middle = near.middle[across]
    frame = shapely.box(*(middle - half), *(middle + half))
    names = near.pair.split(" | ")
    for name in system.model.solids:
        pieces = placed_pieces(motion, name)
        if name not in names and _reaches(pieces, across, (middle - half, middle + half)):
            _outlined(ax, section(pieces, normal, near.middle[normal]), frame, per)
    for name, spot, which in zip(names, (near.first, near.second), HATCHES, strict=True):
        shape = section(placed_pieces(motion, name), normal, spot[normal]).intersection(frame)
        _filled(ax, shape, per, which)
        _named(ax, name, shape, (middle, half, per), which)
    _dimensioned(ax, near, across, (middle, half, per))
    ax.set(xlim=(middle[0] - half) / per + np.array([0, 2 * half / per]),
           ylim=(middle[1] - half) / per + np.array([0, 2 * half / per]))
    ax.set_aspect("equal")
    ax.tick_params(labelsize=5.5, length=2, pad=1.5)
    ax.locator_params(nbins=5)
    unit = system.model.length
    ax.set_xlabel(f"{STATIONS[across[0]]}, {unit}; cut at {STATIONS[normal]} "
                  f"{shown_length(near.middle[normal], unit)}", fontsize=6, labelpad=1)
    ax.set_ylabel(f"{STATIONS[across[1]]}, {unit}", fontsize=6, labelpad=1)


def plane_of(system: System, near: Near) -> int:
    """Station that the cut through a place is square to."""
    solids = system.model.solids
    flat = [np.asarray(solids[name].axes[2]) for name in near.pair.split(" | ")
            if isinstance(solids[name], Plate | Washer)]
    return best_plane(near.second - near.first, flat)


def frame_of(near: Near) -> float:
    """From a place to the frame about it, mm."""
    return max(FRAME, 2.2 * near.required, 3.0 * float(np.linalg.norm(near.second - near.first)))


def _reaches(pieces, across, frame) -> bool:
    """Whether pieces come into a frame, each seen as the rectangle about it."""
    low, high = frame
    return any((points[:, across].min(axis=0) - radius <= high).all()
               and (points[:, across].max(axis=0) + radius >= low).all()
               for points, radius in pieces)


def _title(ax, first, second):
    wide = ax.get_position(original=True).width * ACROSS
    heads = textwrap.wrap(first, int(18 * wide), break_long_words=False)[:3]
    lines = [*heads, *textwrap.wrap(second, int(21 * wide), break_long_words=False)[:3]]
    bold = len(heads)
    for k, line in enumerate(reversed(lines)):
        ax.annotate(line, (0, 1), (-22, 4 + 7.6 * k), xycoords="axes fraction",
                    textcoords="offset points", fontsize=6.0, annotation_clip=False,
                    fontweight="bold" if len(lines) - 1 - k < bold else "normal")


def patch_of(shape: shapely.Geometry, per: float, **look: object) -> PathPatch | None:
    """A patch of a shapely geometry with its holes, in the file's unit."""
    rings = [shapely.get_coordinates(ring) / per for part in shapely.get_parts(shape)
             if part.geom_type == "Polygon" and not part.is_empty
             for ring in (part.exterior, *part.interiors)]
    if not rings:
        return None
    codes = [np.r_[Path.MOVETO, np.full(len(ring) - 2, Path.LINETO), Path.CLOSEPOLY]
             for ring in rings]
    return PathPatch(Path(np.concatenate(rings), np.concatenate(codes)), **look)


def _outlined(ax, shape, frame, per):
    patch = patch_of(shape.intersection(frame), per, facecolor="none", edgecolor=PALE,
                     linewidth=0.5, zorder=1)
    if patch is not None:
        ax.add_artist(patch)


def _filled(ax, shape, per, which):
    patch = patch_of(shape, per, facecolor=WASH if which == "first" else "white", edgecolor=INK,
                     linewidth=0.8, hatch=HATCHES[which], zorder=3 if which == "first" else 2)
    if patch is not None:
        ax.add_artist(patch)


def _named(ax, name, shape, frame, which):
    """The name of a part where most of it is seen."""
    middle, half, per = frame
    if shape.is_empty:
        return
    words = "\n".join(textwrap.wrap(name.replace("/", " / "), 20))
    plain = {"fontsize": 5.5, "zorder": 6, "va": "center", "annotation_clip": True,
             "bbox": {"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85}}
    if which == "first":
        spot = np.array(shape.representative_point().coords[0])
        ax.annotate(words, spot / per, (middle - [0.55 * half, 0.78 * half]) / per, ha="center",
                    arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.5}, **plain)
        return
    corners = middle + 0.8 * half * np.array([[-1, 1], [1, 1], [1, -1]])
    spot = corners[int(np.argmin(shapely.distance(shapely.points(corners), shape)))]
    ax.annotate(words, spot / per, ha="left" if spot[0] < middle[0] else "right", **plain)


def _dimensioned(ax, near, across, frame):
    """Both closest points, and the gap between them as a dimension."""
    (middle, half, per), one, other = frame, near.first[across], near.second[across]
    ax.plot(*(np.stack([one, other]).T / per), color=ALARM, linewidth=1.4, zorder=7,
            marker="o", markersize=2.2)
    way = np.array([0.0, -1.0]) if abs((other - one)[0]) >= abs((other - one)[1]) else \
        np.array([1.0, 0.0])
    text = middle + 0.62 * half * way
    ax.annotate(near.words.split(" (")[0].split(", ")[0], middle / per, text / per,
                fontsize=SMALL, color=ALARM, fontweight="bold", zorder=8, ha="center",
                va="center", arrowprops={"arrowstyle": "->", "color": ALARM, "linewidth": 0.8},
                bbox={"facecolor": "white", "edgecolor": ALARM, "linewidth": 0.6, "pad": 1.5})


def legend(figure: Figure, unit: str) -> None:
    """What the lines of these pictures stand for."""
    figure.text(0.01, 0.01, f"first part plain, second hatched, all else outlined; dots: the two "
                f"closest points; scales in {LENGTHS[unit].words}", fontsize=5.5, color=GREY)


@in_our_look
def mark_here(system: System, near: Near, marks: Sequence, after: dict) -> np.ndarray:
    """A place in its surroundings, and each of the two parts in its own plane with the mark.

    Parameters
    ----------
    system : System
    near : Near
    marks : sequence of relief Mark
    after : dict
        ``{part/solid: lines (n, 2), mm}``: new edges of a relief that would cure it.

    Returns
    -------
    ndarray of matplotlib Axes
    """
    figure = Picture(figsize=(ACROSS, TALL))
    wide = 1.0 / 3
    axes = [figure.add_axes((k * wide + 0.052, 0.115, wide - 0.07, 0.68)) for k in range(3)]
    draw_place(system, near, axes[0], WIDER)
    _title(axes[0], "the place in its surroundings", said_place(system, near.place))
    for ax, mark in zip(axes[1:], marks, strict=True):
        _draw_mark(ax, system.model.unit.mm, mark, after.get(mark.solid, ()))
        _title(ax, mark.solid, mark.seen)
    legend(figure, system.model.length)
    return np.array(axes, dtype=object)


def _draw_mark(ax, per, mark, after):
    """A part in its own plane, the place crossed, each distance from where it is measured."""
    at = np.array(mark.at) / per
    for ring in mark.rings:
        ax.plot(*(ring / per).T, color=INK, linewidth=0.9)
    for line in after:
        ax.plot(*(np.asarray(line) / per).T, color=INK, linewidth=1.8, linestyle=(0, (4, 1.2)))
    ax.plot(*at, marker="x", color=ALARM, markersize=8, markeredgewidth=1.8, zorder=6)
    for (_, mm), foot in zip(mark.distances, mark.feet, strict=False):
        foot = np.array(foot) / per
        ax.annotate("", at, foot, arrowprops={"arrowstyle": "<->", "color": ALARM,
                                              "linewidth": 0.7, "shrinkA": 0, "shrinkB": 0})
        ax.annotate(f"{mm / per:.{3 if per > 1 else 2}f}", (at + foot) / 2, (2, 2),
                    textcoords="offset points", fontsize=6, color=ALARM, zorder=7,
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4})
    ax.set_aspect("equal", adjustable="datalim")
    ax.margins(0.12)
    ax.set(xticks=[], yticks=[])
    ax.set_xlabel("dashed: new edge of the relief" if len(after) else "", fontsize=6, labelpad=1)
