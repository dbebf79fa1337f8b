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
TALL = 2.95
FRAME = 18.0  # mm at least from the place to the frame
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
    wide = 1.0 / 3
    axes = [figure.add_axes((k * wide + 0.052, 0.115, wide - 0.062, 0.62))
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
        if name not in names:
            _outlined(ax, section(placed_pieces(motion, name), normal, near.middle[normal]), frame,
                      per)
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


def _title(ax, first, second):
    lines = [*textwrap.wrap(first, 44, break_long_words=False)[:3],
             *textwrap.wrap(second, 50, break_long_words=False)[:3]]
    bold = len(textwrap.wrap(first, 44, break_long_words=False)[:3])
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
        ax.add_patch(patch)


def _filled(ax, shape, per, which):
    patch = patch_of(shape, per, facecolor=WASH if which == "first" else "white", edgecolor=INK,
                     linewidth=0.8, hatch=HATCHES[which], zorder=3 if which == "first" else 2)
    if patch is not None:
        ax.add_patch(patch)


def _named(ax, name, shape, frame, which):
    """The name of a part where most of it is seen."""
    middle, half, per = frame
    if shape.is_empty:
        return
    edge = 0.8 * half
    corners = middle + edge * np.array([[-1, 1], [1, 1], [-1, -1], [1, -1]])
    away = shapely.distance(shapely.points(corners), shape)
    order = np.argsort(away, kind="stable")
    spot = corners[order[0]] if which == "second" else np.array(
        shape.representative_point().coords[0])
    up = np.array([0.0, 0.0]) if which == "second" else np.array([0.0, 0.08 * half])
    at = (spot + up) / per
    ax.text(*at, "\n".join(textwrap.wrap(name.replace("/", " / "), 20)), fontsize=5.5, zorder=6,
            ha="left" if spot[0] < middle[0] - 1e-9 else "right" if which == "second" else "center",
            va="center", clip_on=True,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85})


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
