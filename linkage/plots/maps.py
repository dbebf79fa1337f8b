"""What touches: the travel map, and clearance along one input."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .. import stops
from ..clearances import gaps, near_of, scene_of
from ..gearing import said_place
from ..motion import System
from ..stops import TravelMap
from ..units import LENGTHS, shown_length
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
    pair_words,
    say,
    shown_input,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STEPS = 121
LOOKS = 13  # stick positions by which the pairs to draw are chosen
SHORT = "#e9b9a6"
MOST_PAIRS = 6
ALIKE = 0.05  # degrees (mm) within which two boundaries count as one


@in_our_look
def travel_map(system: System, ax: Axes | None = None, *,
               worked_out: TravelMap | None = None) -> Axes:
    """The rectangle of two inputs: what is free of contact, and what bounds it where.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    worked_out : TravelMap, optional
        What `linkage.travel_map` gave, when it is known already.

    Returns
    -------
    matplotlib Axes
        The free region, the wanted travel dashed, and each boundary named by what touches.

    Raises
    ------
    LinkageError
        When the system has fewer than two inputs that drive something.
    """
    worked_out = stops.travel_map(system) if worked_out is None else worked_out
    ax = axes_of(ax, 0.04)
    across, up = worked_out.inputs

    def shown(places):
        return np.stack([shown_input(system, name, np.asarray(places)[..., k])
                         for k, name in enumerate(worked_out.inputs)], axis=-1)

    sides = shown(np.array([worked_out.shown[across], worked_out.shown[up]]).T)
    drawn = sides[::-1, 1] if up == "pitch" else sides[:, 1]  # as the hand moves: aft is down
    ax.set(xlim=sides[:, 0], ylim=drawn, facecolor=WASH)
    free = shown(worked_out.free)
    ax.fill(*free.T, facecolor="white", edgecolor="none", zorder=1)
    wanted = shown(np.array([worked_out.wanted[across], worked_out.wanted[up]]).T)
    ax.plot(wanted[[0, 1, 1, 0, 0], 0], wanted[[0, 0, 1, 1, 0], 1], color=GREY, linewidth=1.1,
            linestyle=(0, (4, 3)), zorder=3)
    ax.annotate("wanted travel", wanted[0], (3, -9 if up == "pitch" else 3),
                textcoords="offset points", fontsize=SMALL, color=GREY, zorder=3)
    ax.plot(0, 0, marker="+", markersize=9, color=INK, zorder=3)
    ax.annotate("neutral", (0, 0), (5, 4), textcoords="offset points", fontsize=SMALL, color=GREY)
    for number, (names, part) in enumerate(_runs(worked_out)):
        _boundary(ax, shown(part), names, SERIES[number % len(SERIES)])
    say(ax, f"How far can the stick go before something touches?  "
            f"{worked_out.usable:.1%} of the wanted travel free",
        system.model.title,
        input_axis(ax.xaxis, system, across), input_axis(ax.yaxis, system, up))
    return ax


def _touching(travel: TravelMap, limit, place):
    """All pairs that touch at a place of the free region's edge."""
    return tuple(name for name, line in travel.boundaries.items() if name == limit or (
        limit and np.hypot(*(line - place).T).min() < ALIKE))


def _runs(travel: TravelMap):
    """Stretches of the free region's edge, each with all pairs that touch along it."""
    tied = [_touching(travel, limit, place)
            for limit, place in zip(travel.limits, travel.free, strict=True)]
    count = len(tied)
    start = next((k for k in range(count) if tied[k] != tied[k - 1]), 0)
    order = [(start + k) % count for k in range(count)]
    runs, held = [], []
    for here, after in zip(order, [*order[1:], None], strict=True):
        held.append(here)
        if after is None or tied[after] != tied[here]:
            if tied[here]:
                runs.append((tied[here], travel.free[held]))
            held = []
    return runs


def _boundary(ax, part, names, series):
    colour, style = series
    ax.plot(*part.T, color=colour, linestyle=style, linewidth=2.2, zorder=4, gid=" & ".join(names),
            marker="o" if len(part) == 1 else None, markersize=4)
    box = np.stack([ax.get_xlim(), ax.get_ylim()], axis=1)
    share = (part - box[0]) / (box[1] - box[0])
    middle = (share.min(axis=0) + share.max(axis=0)) / 2
    k = int(np.hypot(*(share - middle).T).argmin())
    look = _beside(np.ptp(share, axis=0), share[k] - 0.5)
    ax.annotate("\n".join(pair_words(name) for name in names), part[k],
                textcoords="offset points", fontsize=SMALL, color=colour, zorder=6,
                multialignment="center", annotation_clip=False, **look)


def _beside(size, away) -> dict:
    """How the name of a boundary lies outside of it, from its size and place on the map."""
    right, up = np.where(away < 0, -1, 1)
    sides = {1: ("left", "bottom"), -1: ("right", "top")}
    if size.min() > 0.3 * size.max():  # it cuts a corner
        return {"xytext": (6 * right, 6 * up), "ha": sides[right][0], "va": sides[up][1]}
    if size[1] > size[0]:
        return {"xytext": (9 * right, 0), "ha": sides[right][0], "va": "center", "rotation": 90}
    return {"xytext": (0, 9 * up), "ha": "center", "va": sides[up][1]}


@in_our_look
def clearance_along(system: System, ax: Axes | None = None, *, input: str = "pitch",
                    pairs: list[str] | None = None, at: dict | None = None) -> Axes:
    """Gap of some pairs against one input, with the clearance each is required to keep.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    input : str
    pairs : list of str, optional
        Their names; the six that come nearest to what is required of them unless given.
    at : dict, optional
        ``{input: degrees}`` of the others; 0 unless given.

    Returns
    -------
    matplotlib Axes
        One line per pair: position (degrees) against gap (in the file's unit), and a dashed line
        at each required clearance.  A gap at a single stick position is no proof: `clearance`
        bounds the whole travel.

    Raises
    ------
    LinkageError
        When there is no such input or pair.
    """
    control, ax, at = system.inputs[known_input(system, input)], axes_of(ax, 0.29), at or {}
    unit, scene = system.model.length, scene_of(system)
    x = np.unique(np.append(np.linspace(*control.travel, STEPS), 0.0))
    pairs = _nearest_pairs(system, input, at) if pairs is None else pairs
    curves = gaps(system.sweep(**{**at, input: x}), pairs)
    lines = _gap_lines(ax, system, curves, shown_input(system, input, x))
    others = {name: value for name, value in at.items() if name != input and value}
    held = f", at {said_place(system, others)}" if others else ""
    say(ax, f"How close does it get along {input}{held}?", system.model.title,
        input_axis(ax.xaxis, system, input), f"gap, {unit}")
    if not lines:
        note(ax, f"the file has no two solids that {input} brings near each other")
        return ax
    _required_lines(ax, system, [scene.pairs[name] for name in curves])
    label_ends(ax, lines, [
        f"{pair_words(name)}\nrequired {shown_length(scene.pairs[name].required, unit)}"
        for name in curves])
    return ax


def _gap_lines(ax, system, curves, x):
    """A line per pair, thick where its gap is less than required."""
    per, pairs, lines = system.model.unit.mm, scene_of(system).pairs, []
    for (name, gap), (colour, style) in zip(curves.items(), SERIES * 9, strict=False):
        short = np.where(gap < pairs[name].required, gap, np.nan)
        ax.plot(x, short / per, color=SHORT, linewidth=6, solid_capstyle="butt", zorder=1.5,
                gid="less than required")
        lines += ax.plot(x, gap / per, color=colour, linestyle=style, gid=name)
    return lines


def _nearest_pairs(system, name, at) -> list:
    """Pairs that the input moves and that come nearest to what is required of them."""
    pairs = {pair.name: pair for pair in near_of(system)
             if name in pair.inputs and pair.rule not in ("stop", "waived")}
    x = np.linspace(*system.inputs[name].travel, LOOKS)
    curves = gaps(system.sweep(**{**at, name: x}), list(pairs))
    over = {pair: np.nanmin(gap) - pairs[pair].required for pair, gap in curves.items()
            if np.isfinite(gap).any()}
    return sorted(over, key=over.get)[:MOST_PAIRS]


def _required_lines(ax, system, pairs):
    unit = system.model.length
    ax.margins(x=0.02, y=0.08)
    ax.set_ylim(bottom=min(0.0, ax.get_ylim()[0]))
    low = ax.get_ylim()[0]
    if low < 0:
        ax.axhspan(low, 0, facecolor=WASH, edgecolor=PALE, hatch="////", linewidth=0, zorder=0)
        ax.annotate("touching", (0.01, 0), (0, -9), xycoords=ax.get_yaxis_transform(),
                    textcoords="offset points", fontsize=SMALL, color=ALARM)
    ax.axhline(0, color=ALARM, linewidth=1.0, zorder=1)
    rules = {}
    for pair in pairs:
        if pair.required:
            rules.setdefault(pair.required, {})[pair.rule] = None
    for required, rule in rules.items():
        ax.axhline(required / LENGTHS[unit].mm, color=GREY, linewidth=1.0, linestyle=(0, (8, 4)),
                   zorder=1)
        ax.annotate(f"required {shown_length(required, unit)} ({', '.join(rule)})",
                    (0.01, required / LENGTHS[unit].mm), (0, 3), xycoords=ax.get_yaxis_transform(),
                    textcoords="offset points", fontsize=SMALL, color=GREY, zorder=5,
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8})
