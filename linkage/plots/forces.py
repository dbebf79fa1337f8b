"""Loads along the runs: what the rods carry at their worst, and the force in the hand."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from .. import loads
from ..errors import LinkageError
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
MARGINS = ("column_margin", "tube_margin", "shank_margin", "thread_margin", "joint_margin")
LEFT = 1.35  # times the greatest load that the axis of compression reaches


@in_our_look
def rods_at_worst(system: System, ax: Axes | None = None, *,
                  worst: pd.DataFrame | None = None,
                  margins: pd.DataFrame | None = None) -> Axes:
    """Greatest tension and compression of every rod, and what it can take as a column.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    worst : DataFrame, optional
        What `loads.worst_loads` gave, when it is known already.
    margins : DataFrame, optional
        What `loads.rod_margins` gave of it.

    Returns
    -------
    matplotlib Axes
        A bar per rod, compression to the left and tension to the right, in lbf or N; an upright
        mark where compression x safety meets the column's strength; beside it the load case and
        stick position of the greater of the two.
    """
    worst, margins = _known(system, worst, margins)
    own, ax, rods = ax is None, axes_of(ax, 0.3), margins.to_dict("records")
    unit, per = system.model.unit.force, system.model.unit.newton
    most = max((max(row["tension"], row["compression"]) for row in rods), default=0.0) / per
    for k, row in enumerate(rods):
        bad = _is_overloaded(row)
        _bars(ax, system, (row, k, bad), LEFT * most or 1)
        _beside(ax, system, worst, row, k, bad)
    ax.set_yticks(range(len(rods)), [row["rod"] for row in rods])
    ax.tick_params(axis="y", labelsize=SMALL)
    if own:
        ax.set_position((0.15, 0.13, 0.52, 0.73))
    ax.set_ylim(len(rods) - 0.4, -0.6)
    ax.axvline(0, color=INK, linewidth=0.8)
    ax.set_xlim(-LEFT * most or -1, 1.15 * most or 1)
    ax.xaxis.set_major_formatter(lambda value, _: f"{abs(value):g}")
    say(ax, "What do the rods carry, and where is each at its worst?",
        "upright mark, arrow where past the axis: what it takes as a column, factor of safety off",
        f"compression (hatched, left)      {unit} at limit load      tension (right)", "")
    if not rods:
        note(ax, "the file has no rods")
    return ax


def _known(system, worst, margins):
    """Worst loads and the margins of rods, worked out unless they are given."""
    worst = loads.worst_loads(system) if worst is None else worst
    return worst, loads.rod_margins(system, worst) if margins is None else margins


def _is_overloaded(row) -> bool:
    return any(row[margin] < 0 for margin in MARGINS)


def _bars(ax, system, rod, end):
    """Both bars of a rod, and what it takes; an arrow and its number where past the axis."""
    row, k, bad = rod
    per = system.model.unit.newton
    ax.barh(k, row["tension"] / per, 0.5, color=PALE, edgecolor=GREY, linewidth=0.6)
    ax.barh(k, -row["compression"] / per, 0.5, color=WASH, edgecolor=GREY, linewidth=0.6,
            hatch="////")
    may = row["column"] / system.model.factor.safety / per
    if may > end and math.isfinite(may):
        ax.annotate(f"◁ {may:.0f}", (-end, k), (1, 0), textcoords="offset points", va="center",
                    fontsize=SMALL - 1, color=ALARM if bad else INK, gid="past the axis")
    elif math.isfinite(may):
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
def stick_forces(system: System, ax: Axes | None = None, *, input: str = "pitch",
                 releases: list[loads.Release] | None = None) -> Axes:
    """What the hand feels over the travel of one input, and where it stays when let go.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    input : str
        The others stay at 0.
    releases : list of Release, optional
        What `loads.let_go` gave, when it is known already.

    Returns
    -------
    matplotlib Axes
        Hand's force in lbf or N, + in the input's own sense, with the hinge moments and springs of
        the file; dashed and dotted with friction, moving one way and the other; the grey bars
        along the foot are where it stays when it is let go.
    """
    control, ax = system.inputs[known_input(system, input)], axes_of(ax)
    x = np.unique(np.append(np.linspace(*control.travel, STEPS), 0.0))
    felt = loads.felt(system, input, x)
    unit, per = system.model.unit.force, system.model.unit.newton
    names, curves = ["held, without friction"], [felt.force / per]
    if np.nanmax(felt.friction, initial=0.0) > 0:
        names += ["moving " + sense_word(system, input, greatest) for greatest in (True, False)]
        curves += [felt.up / per, felt.down / per]
        _rests(ax, system, input, loads.let_go(loads.whole_travel(system, input))
               if releases is None else releases)
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


def _rests(ax, system, name, releases):
    """Bars along the foot where a stick stays when it is let go."""
    for release in releases:
        if release.does == 0:
            low, high = shown_input(system, name, [release.least, release.greatest])
            ax.axvspan(low, high, 0.0, 0.02, color=GREY)
            ax.annotate("stays", ((low + high) / 2, 0.025), xycoords=("data", "axes fraction"),
                        ha="center", fontsize=SMALL - 1, color=GREY)


@in_our_look
def hands_off(system: System, ax: Axes | None = None, *, trim: str = "trim",
              table: pd.DataFrame | None = None) -> Axes:
    """Where a stick rests hands off as trim is moved.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    trim : str
        An input that trims another by the file.
    table : DataFrame, optional
        What `loads.trim_table` gave, when it is known already.

    Returns
    -------
    matplotlib Axes
        The position of the input that it trims without friction, and between which positions
        friction holds it; nothing where it goes to its end.
    """
    known_input(system, trim)
    name, ax = loads.trimmers(system).get(trim), axes_of(ax)
    if name is None:
        raise LinkageError(f'input "{trim}" trims nothing by the file; add trims = "NAME" to it',
                           input=trim)
    data = loads.trim_table(system, trim) if table is None else table
    x = shown_input(system, trim, data[trim])
    rest, low, high = (shown_input(system, name, data[k])
                       for k in ("hands_off", "least", "greatest"))
    ax.fill_between(x, low, high, color=WASH, edgecolor=PALE, hatch="////", linewidth=0.6)
    line, = ax.plot(x, rest, color=INK, marker="o")
    ax.axhline(0, color=PALE, linewidth=0.8, zorder=0)
    ax.axvline(0, color=PALE, linewidth=0.8, zorder=0)
    say(ax, f"Where does {name} stay hands off?", "hatched: where friction holds it",
        input_axis(ax.xaxis, system, trim), input_axis(ax.yaxis, system, name))
    ax.locator_params(axis="x", nbins=5)  # words of trim are long
    if data["hands_off"].isna().all():
        note(ax, "nowhere: it goes to its end")
    else:
        label_ends(ax, [line], ["without friction"])
    return ax
