"""What a rigger asks: how much half a turn does, and whether readings are explained."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .. import gearing, rigging
from ..errors import LinkageError
from ..motion import System
from .style import (
    GREY,
    PALE,
    SERIES,
    SMALL,
    axes_of,
    deflection_axis,
    in_our_look,
    input_axis,
    label_ends,
    note,
    say,
    shortened,
    shown_input,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ..rigging.as_built import AsBuilt

STEPS = 121
MARKS = "os^Dv*"


@in_our_look
def half_turns(system: System, ax: Axes | None = None) -> Axes:
    """What half a turn out of one rod end of each rod does to each surface at neutral.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Axes
        A row per rod; degrees, trailing edge up to the left.
    """
    own, table, ax = ax is None, rigging.turns(system), axes_of(ax, 0.14)
    say(ax, "How far does half a turn of a rod end move each surface?",
        f"{system.model.title} – one end turned out, the stick held at neutral",
        "degrees per half turn", "")
    table = table[table["turned"] != "tube"].drop_duplicates(["rod", "surface", "half_turn"])
    if table.empty:
        note(ax, "no rod of the file that moves a surface has a thread")
        return ax
    rods = list(dict.fromkeys(table["rod"]))[::-1]
    ax.axvline(0, color=PALE, linewidth=0.8, zorder=0)
    surfaces = [s for s in system.model.surfaces if s in set(table["surface"])]
    for number, surface in enumerate(surfaces):
        colour, mark = SERIES[number % len(SERIES)][0], MARKS[number % len(MARKS)]
        for row in table[table["surface"] == surface].to_dict("records"):
            at = rods.index(row["rod"]) + 0.18 * (number - (len(surfaces) - 1) / 2)
            ax.plot([0, row["half_turn"]], [at, at], color=colour, linewidth=1.2)
            ax.plot(row["half_turn"], at, mark, color=colour, label=surface)
            ax.annotate(gearing.said_surface(system, surface, row["half_turn"], 2),
                        (row["half_turn"], at), (6 if row["half_turn"] > 0 else -6, 0),
                        textcoords="offset points", fontsize=SMALL, color=colour, va="center",
                        ha="left" if row["half_turn"] > 0 else "right")
    ax.set_yticks(range(len(rods)), [shortened(rod, 40) for rod in rods], fontsize=SMALL)
    if own:  # room for the longest name
        left = 0.03 + 0.0057 * min(40, max(map(len, rods)))
        ax.set_position((left, 0.13, 0.835 - left, 0.73))
    ax.margins(x=0.16)
    deflection_axis(ax.xaxis, system, surfaces)
    ax.xaxis.set_inverted(False)
    _named(ax)
    return ax


def _named(ax):
    """One name for each mark, beside the axes."""
    marks = dict(zip(*ax.get_legend_handles_labels()[::-1], strict=True))
    ax.legend(marks.values(), marks, loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False,
              fontsize=SMALL)


def _read_at(readings, name, surface):
    """Which readings are deflections of a surface along an input."""
    return np.array([along == name and of == surface and not level for along, of, level in zip(
        readings.input, readings.surface, readings.level, strict=True)], dtype=bool)


@in_our_look
def as_built(system: System, fit: AsBuilt, ax: Axes | None = None, *,
             input: str | None = None) -> Axes:
    """What was read, what the file says, and what the fit says, over one input.

    Parameters
    ----------
    system : System
    fit : (rigging.Readings, rigging.AsBuilt)
    ax : matplotlib Axes, optional
    input : str, optional
        The first one read unless given.

    Returns
    -------
    matplotlib Axes
        Readings (less the zeros found) as marks, the file dashed, the aircraft as built solid.

    Raises
    ------
    LinkageError
        When nothing was read along the input.
    """
    readings, explained = fit
    name = readings.input[0] if input is None else input
    if name not in readings.input:
        raise LinkageError(f'nothing was read along "{name}"; read along: '
                           f"{', '.join(dict.fromkeys(readings.input))}")
    built, ax = System(rigging.as_built_model(system, explained)), axes_of(ax)
    zero = {row["unknown"]: row["value"] for row in explained.table.to_dict("records")}
    x = np.linspace(*system.inputs[name].travel, STEPS)
    own = list(dict.fromkeys(surface for surface, along in zip(
        readings.surface, readings.input, strict=True) if along == name))
    say(ax, f"Does {name} move the surfaces as the file says?", f"{system.model.title} – marks: "
        f"read; dashed: the file; solid: as built", input_axis(ax.xaxis, system, name),
        "deflection, degrees from neutral")
    lines = []
    for surface, (colour, _) in zip(own, SERIES * 9, strict=False):
        ax.plot(shown_input(system, name, x), system.sweep(**{name: x}).deflection(surface),
                color=colour, linewidth=1.0, linestyle=(0, (4, 3)))
        motion = built.sweep(**{name: x})
        lines += ax.plot(shown_input(system, name, x), motion.deflection(surface), color=colour)
        at = _read_at(readings, name, surface)
        ax.plot(shown_input(system, name, readings.stick[at] + zero.get(f"{name} zero", 0.0)),
                readings.angle[at] - zero.get(f"{surface} zero", 0.0), "o", color=colour)
    ax.axhline(0, color=GREY, linewidth=0.4, zorder=0)
    ax.margins(x=0.03, y=0.08)
    deflection_axis(ax.yaxis, system, own)
    label_ends(ax, lines, own)
    return ax
