"""Loads along the runs: what the rods carry at their worst, and the force in the hand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .. import loads
from ..gearing import said_place, sense_word
from ..motion import System
from .curves import known_input
from .style import (
    ALARM,
    GREY,
    INK,
    PALE,
    SERIES,
    SMALL,
    WASH,
    axes_of,
    in_our_look,
    input_axis,
    label_ends,
    note,
    say,
    shown_input,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

STEPS = 161


@in_our_look
def rods_at_worst(system: System, ax: Axes | None = None, *,
                  worst: pd.DataFrame | None = None) -> Axes:
    """Greatest tension and compression of every rod, and what it can take as a column.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    worst : DataFrame, optional
        What `loads.worst_loads` gave, when it is known already.

    Returns
    -------
    matplotlib Axes
        A bar per rod, compression to the left and tension to the right, in lbf or N; an upright
        mark where compression x safety meets the column's strength; beside it the load case and
        stick position of the greater of the two.
    """
    worst, own = loads.worst_loads(system) if worst is None else worst, ax is None
    ax, rods = axes_of(ax, 0.3), loads.rod_margins(system, worst).to_dict("records")
    unit, per = system.model.unit.force, system.model.unit.newton
    for k, row in enumerate(rods):
        bad = any(row[margin] < 0 for margin in ("column_margin", "tube_margin", "shank_margin",
                                               "thread_margin", "joint_margin"))
        _bars(ax, system, row, k, bad)
        _beside(ax, system, worst, row, k, bad)
    ax.set_yticks(range(len(rods)), [row["rod"] for row in rods])
    ax.tick_params(axis="y", labelsize=SMALL)
    if own:
        ax.set_position((0.15, 0.13, 0.52, 0.73))
    ax.set_ylim(len(rods) - 0.4, -0.6)
    ax.axvline(0, color=INK, linewidth=0.8)
    most = max((max(row["tension"], row["compression"]) for row in rods), default=0.0) / per
    ax.set_xlim(-1.35 * most or -1, 1.15 * most or 1)
    ax.xaxis.set_major_formatter(lambda value, _: f"{abs(value):g}")
    say(ax, "What do the rods carry, and where is each at its worst?",
        "upright mark: what it takes as a column, factor of safety off; MISS: a margin below 0",
        f"compression (hatched, left)      {unit} at limit load      tension (right)", "")
    if not rods:
        note(ax, "the file has no rods")
    return ax


def _bars(ax, system, row, k, bad):
    per = system.model.unit.newton
    ax.barh(k, row["tension"] / per, 0.5, color=PALE, edgecolor=GREY, linewidth=0.6)
    ax.barh(k, -row["compression"] / per, 0.5, color=WASH, edgecolor=GREY, linewidth=0.6,
            hatch="////")
    may = row["column"] / system.model.factor.safety / per
    if math.isfinite(may):
        ax.plot([-may, -may], [k - 0.42, k + 0.42], color=ALARM if bad else INK, linewidth=2.2)


def _beside(ax, system, worst, row, k, bad):
    mine = worst[worst["part"] == row["rod"]]
    if mine.empty:
        words = "carries nothing"
    else:
        top = mine.loc[mine["force"].idxmax()]
        words = f"{top['case']},\n{said_place(system, {n: top[n] for n in system.travel_box()})}"
    missing = f", no {row['missing']}" if row["missing"] else ""
    ax.annotate(f"{'MISS  ' if bad else ''}{words}{missing}", (1.02, k),
                xycoords=("axes fraction", "data"), va="center", fontsize=SMALL - 1,
                color=ALARM if bad else INK, annotation_clip=False)


@in_our_look
def stick_forces(system: System, ax: Axes | None = None, *, input: str = "pitch") -> Axes:
    """What the hand feels over the travel of one input, with and without friction.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    input : str
        The others stay at 0.

    Returns
    -------
    matplotlib Axes
        Hand's force in lbf or N, + in the input's own sense; dashed and dotted with the joints'
        breakout friction added, moving one way and the other.
    """
    control, ax = system.inputs[known_input(system, input)], axes_of(ax)
    x = np.unique(np.append(np.linspace(*control.travel, STEPS), 0.0))
    data = loads.stick_force_table(system, input, x)
    unit, per = system.model.unit.force, system.model.unit.newton
    force, friction = (data[k].to_numpy() / per for k in ("force", "friction"))
    names, curves = ["hinge moments alone"], [force]
    if np.isfinite(friction).any():
        names += ["moving " + sense_word(system, input, greatest) for greatest in (True, False)]
        curves += [force + friction, force - friction]
    lines = [ax.plot(shown_input(system, input, x), y, color=colour, linestyle=style)[0]
             for y, (colour, style) in zip(curves, SERIES, strict=False)]
    ax.axhline(0, color=PALE, linewidth=0.8, zorder=0)
    ax.axvline(0, color=PALE, linewidth=0.8, zorder=0)
    say(ax, f"What does the hand feel in {input}?", system.model.title,
        input_axis(ax.xaxis, system, input),
        f"hand's force, {unit}, + {sense_word(system, input, True)}")
    ax.margins(x=0.03, y=0.08)
    label_ends(ax, lines, names)
    return ax
