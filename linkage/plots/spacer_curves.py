"""A stop's spacer: thickness against the stick angle and the surfaces it stops at."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import LinkageError
from ..gearing import deflection_words, sense_word
from ..motion import System
from ..stops import meeting
from ..units import shown_length
from .style import (
    GREY,
    INK,
    PALE,
    SERIES,
    SMALL,
    axes_of,
    in_our_look,
    is_narrow,
    label_ends,
    say,
    shown_input,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STEPS = 25
NEUTRAL = 0.97  # share of the gap at neutral up to which spacers are drawn
ROOM = 1.6  # times the thickest of file and stock
STILL = 0.5  # degrees a surface has to move to be drawn; less is cross-talk


@in_our_look
def spacer_chart(system: System, ax: Axes | None = None, *, stop: str) -> Axes:
    """Spacer thickness against where the stop then ends the travel, the stock marked.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    stop : str

    Returns
    -------
    matplotlib Axes
        Thickness (in the file's unit) against the stick's angle and each surface's deflection
        there (degrees, sizes); a mark at every stock thickness and at the file's own.

    Raises
    ------
    LinkageError
        When there is no such stop, it has no spacer, or its faces never meet.
    """
    faces, unit = meeting(system, stop), system.model.length
    if faces.stop.spacer is None:
        raise LinkageError(f'stop "{stop}" has no spacer to draw; give it '
                           f'spacer = {{ on = "part/solid", thickness = ... }}', stop=stop)
    ax, marks = axes_of(ax), (*faces.stop.spacer.stock, faces.thickness)
    free = float(faces.gap([0.0], 0.0)[0])
    wide = min(NEUTRAL * free, ROOM * max(*marks, 0.1 * free))
    steps = [t for t in marks if 0 < t < wide]
    thickness = np.unique([*np.linspace(0.0, wide, STEPS), *steps])
    angle = faces.contacts(thickness)
    if not np.isfinite(angle).any():
        faces.contact(faces.thickness)  # says why
    lines, texts = _stopped_lines(ax, faces, thickness, angle)
    what = unit if system.inputs[faces.stop.input].slides else "degrees"
    say(ax, f"Where does a spacer stop the travel?  {stop}", system.model.title,
        f"spacer thickness, {unit}", f"travel at the stop, {what} from neutral")
    ax.margins(x=0.02, y=0.12)
    low, high = ax.get_ylim()
    foot = 0.5 if is_narrow(ax) else 0.22
    ax.set_ylim(low - foot * (high - low), high)  # room for the names of the stock
    _stock_marks(ax, faces, thickness, angle)
    label_ends(ax, lines, texts)
    return ax


def _stopped_lines(ax, faces, thickness, angle):
    system, name = faces.system, faces.stop.input
    per, known = system.model.unit.mm, np.isfinite(angle)
    way = sense_word(system, name, faces.stop.side == "greatest")
    lines = ax.plot(thickness / per, np.abs(shown_input(system, name, angle)), color=INK,
                    linewidth=2.2)
    texts = [f"{name}, {way}"]
    motion = system.sweep(**{name: np.where(known, angle, 0.0)})
    series = iter(SERIES[1:] * 9)
    for surface in system.model.surfaces:
        y = np.where(known, motion.deflection(surface), np.nan)
        if np.nanmax(np.abs(y), initial=0) > STILL:
            colour, style = next(series)
            lines += ax.plot(thickness / per, np.abs(y), color=colour, linestyle=style,
                             gid=surface)
            word = deflection_words(system, surface)[int(np.nanmean(y) > 0)]
            texts.append(f"{surface}, {word}")
    return lines, texts


def _stock_marks(ax, faces, thickness, angle):
    """A line at each stock thickness, and a ring where the file stands."""
    system, unit = faces.system, faces.system.model.length
    per, name = system.model.unit.mm, faces.stop.input
    at = dict(zip(thickness, np.abs(shown_input(system, name, angle)), strict=True))
    for t in sorted(set(faces.stop.spacer.stock)):
        if t not in at:
            continue
        ax.axvline(t / per, color=PALE, linewidth=1.0, zorder=0)
        ax.plot(t / per, at[t], marker="s", color=INK, linestyle="none")
        ax.annotate(f"stock {shown_length(t, unit)}", (t / per, 0.01), (-2, 0), va="bottom",
                    xycoords=ax.get_xaxis_transform(), textcoords="offset points", ha="right",
                    rotation=90, fontsize=SMALL, color=GREY)
    if faces.thickness in at:
        ax.plot(faces.thickness / per, at[faces.thickness], marker="o", markersize=11,
                markerfacecolor="none", markeredgewidth=1.4, color=INK, linestyle="none")
        ax.annotate(f"in the file: {shown_length(faces.thickness, unit)}",
                    (faces.thickness / per, at[faces.thickness]), (faces.thickness / per, 0.985),
                    textcoords=ax.get_xaxis_transform(), va="top", fontsize=SMALL, zorder=5,
                    arrowprops={"arrowstyle": "-", "linestyle": ":", "color": INK,
                                "linewidth": 0.7, "relpos": (0, 0)})
