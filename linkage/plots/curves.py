"""Surface against stick: gearing with its target bands, and the differential."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .. import gearing
from ..errors import LinkageError, nearest
from ..gearing.travels import SIGNS
from ..motion import System
from .style import (
    ALARM,
    GREY,
    PALE,
    SERIES,
    SMALL,
    WASH,
    axes_of,
    deflection_axis,
    in_our_look,
    input_axis,
    is_narrow,
    label_ends,
    note,
    say,
    shown_input,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

STEPS = 161
STILL = 0.5  # degrees a surface has to move to be drawn; less is cross-talk


def known_input(system: System, name: str) -> str:
    """The name of an input, or a sentence that says which there are."""
    if name not in system.inputs:
        raise LinkageError(f'no input "{name}"; {nearest(name, system.inputs)}', input=name)
    return name


def _moved_and_still(motion):
    """Deflections of the surfaces that move, and the names of those that hardly do."""
    every = {name: motion.deflection(name) for name in motion.system.model.surfaces}
    size = {name: np.nanmax(np.abs(y), initial=0) for name, y in every.items()}
    return ({name: y for name, y in every.items() if size[name] > STILL},
            [name for name in every if 0 < size[name] <= STILL])


@in_our_look
def gearing_curves(system: System, ax: Axes | None = None, *, input: str = "pitch",
                   travels: pd.DataFrame | None = None) -> Axes:
    """What each surface does over the travel of one input, with the travels required of it.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    input : str
        The others stay at 0.
    travels : DataFrame, optional
        What `gearing.required_travels` gave, when it is known already.

    Returns
    -------
    matplotlib Axes
        One line per surface that moves: position (degrees) against deflection (degrees, trailing
        edge down positive, drawn downward); a hatched band per required travel.

    Raises
    ------
    LinkageError
        When there is no such input.
    """
    control, ax = system.inputs[known_input(system, input)], axes_of(ax)
    x = np.unique(np.append(np.linspace(*control.travel, STEPS), 0.0))
    motion = system.sweep(**{input: x})
    moved, still = _moved_and_still(motion)
    lines = [ax.plot(shown_input(system, input, x), y, color=colour, linestyle=style, gid=name)[0]
             for (name, y), (colour, style) in zip(moved.items(), SERIES * 9, strict=False)]
    least = f" – moved by less than {STILL:g}°: {', '.join(still)}" if still else ""
    say(ax, f"What does each surface do with {input}?", system.model.title + least,
        input_axis(ax.xaxis, system, input), "deflection, degrees from neutral")
    ax.axhline(0, color=PALE, linewidth=0.8, zorder=0)
    ax.axvline(0, color=PALE, linewidth=0.8, zorder=0)
    if not moved:
        note(ax, f"no surface of the file moves with {input}")
        return ax
    deflection_axis(ax.yaxis, system, moved)
    travels = gearing.required_travels(system) if travels is None else travels
    required = travels[(travels["input"] == input) & travels["surface"].isin(list(moved))]
    _target_bands(ax, system, required, moved)
    _found_travels(ax, system, required)
    ax.margins(x=0.03, y=0.08)
    label_ends(ax, lines, [_slope_words(system, name, input) for name in moved])
    return ax


def _slope_words(system, surface, name) -> str:
    slope = abs(float(system.sweep().gearing(surface)[name]))
    if not system.inputs[name].slides:
        return f"{surface}\n{slope:.2f}° per degree at neutral"
    slope *= system.model.unit.mm
    return f"{surface}\n{slope:.2f}° per {system.model.length} at neutral"


def _target_bands(ax, system, rows, surfaces):
    """A band per required travel."""
    for (way, wanted, within), same in rows.groupby(["way", "required", "within"], sort=False):
        middle = SIGNS[way] * wanted
        ax.axhspan(middle - within, middle + within, facecolor=WASH, edgecolor=PALE, hatch="////",
                   linewidth=0.6, zorder=0)
        word = gearing.deflection_words(system, same["surface"].iloc[0])[SIGNS[way] > 0]
        whose = "" if is_narrow(ax) and set(same["surface"]) == set(surfaces) else \
            f": {', '.join(same['surface'])}"
        ax.annotate(f"required {wanted:g}° {word} ± {within:g}°{whose}",
                    (0.5, middle - within), (0, 3), xycoords=ax.get_yaxis_transform(),
                    textcoords="offset points", ha="center", fontsize=SMALL, color=GREY)


def _found_travels(ax, system, rows):
    """Where each surface ends up: in its band, or missed by how much."""
    for row in rows.dropna(subset=["found"]).to_dict("records"):
        place = (float(shown_input(system, row["input"], row["at"])),
                 SIGNS[row["way"]] * row["found"])
        ax.plot(*place, marker="o" if row["ok"] else "X", color=SERIES[0][0] if row["ok"] else
                ALARM, markersize=5 if row["ok"] else 8, linestyle="none", zorder=5)
        if not row["ok"]:
            what = "too much" if row["missed_by"] > 0 else "short"
            left = place[0] < 0
            ax.annotate(f"{abs(row['missed_by']):.1f}° {what}", place, (8 if left else -8, 0),
                        textcoords="offset points", ha="left" if left else "right", va="center",
                        fontsize=SMALL, color=ALARM)


@in_our_look
def differential(system: System, ax: Axes | None = None) -> Axes:
    """Up against down of each left and right pair over the input that drives them.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional

    Returns
    -------
    matplotlib Axes
        Two lines per pair: position of the input (degrees) against the deflection of the surface
        that goes up and of the one that goes down (degrees, sizes), the ratio beside them.
    """
    ax, table = axes_of(ax), gearing.differential(system, 41)
    ax.axhline(0, color=PALE, linewidth=0.8, zorder=0)
    lines, texts, inputs = [], [], list(dict.fromkeys(table["input"]))
    for number, (pair, rows) in enumerate(table.groupby("pair", sort=False)):
        name = rows["input"].iloc[0]
        x = np.append(0.0, shown_input(system, name, rows["position"]))
        colour = SERIES[number % len(SERIES)][0]
        for way, style in (("up", "-"), ("down", (0, (6, 2)))):
            lines += ax.plot(x, np.append(0.0, rows[way]), color=colour, linestyle=style,
                             gid=f"{pair} {way}")
            texts.append(f"{pair.replace(' | ', ', ')}:\nthe one that goes {way}")
        for row in rows.iloc[9::10].to_dict("records"):
            place = float(shown_input(system, name, row["position"]))
            ax.plot([place] * 2, [row["down"], row["up"]], color=GREY, linewidth=0.7)
            ax.annotate(f"{row['ratio']:.2f} : 1", (place, max(row["up"], row["down"])), (-3, 4),
                        textcoords="offset points", ha="right", fontsize=SMALL)
    words = " or ".join(input_axis(ax.xaxis, system, name) for name in inputs)
    say(ax, "How much more does the rising surface move?", system.model.title,
        words or "input, degrees from neutral", "deflection, degrees up or down")
    if not lines:
        note(ax, "the file has no left and right surface that one input moves")
        return ax
    ax.margins(x=0.02, y=0.08)
    ax.set_ylim(bottom=min(0.0, table[["up", "down"]].min(axis=None)))
    label_ends(ax, lines, texts)
    return ax
