"""The look of every picture: ink that prints in grey, line styles, labels beside their lines."""

from __future__ import annotations

import functools
import io
import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ..gearing import deflection_words, position_unit, said_input
from ..stops.mapping import REACH
from ..units import CAUTION

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.lines import Line2D
    from numpy.typing import ArrayLike

    from ..motion.system import System

INK, GREY, PALE, WASH = "#1d2a35", "#6f7a83", "#b9c1c7", "#e9edef"
ALARM = "#a3231f"
# Each line has a style of its own besides its colour, and the inks differ in how dark they print.
SERIES = ((INK, "-"), ("#b5521b", (0, (6, 2))), ("#17718a", (0, (7, 2, 1.5, 2))),
          ("#7a5ea8", (0, (1.5, 1.5))), ("#4f6420", (0, (12, 3))),
          ("#a8447a", (0, (4, 1.5, 1, 1.5, 1, 1.5))))
LOOK = {"font.family": ["DejaVu Sans"], "font.size": 8.0, "text.color": INK,
        "text.parse_math": False, "text.usetex": False,
        "axes.edgecolor": GREY, "axes.labelcolor": INK, "axes.linewidth": 0.8,
        "axes.spines.top": False, "axes.spines.right": False, "axes.axisbelow": True,
        "axes.grid": False, "axes.titlelocation": "left", "axes.titlesize": 10.0,
        "axes.titleweight": "bold", "axes.titlepad": 20.0, "axes.labelsize": 8.5,
        "axes.facecolor": "white", "figure.facecolor": "white", "figure.dpi": 100.0,
        "xtick.color": GREY, "ytick.color": GREY, "xtick.labelcolor": INK, "ytick.labelcolor": INK,
        "xtick.labelsize": 8.0, "ytick.labelsize": 8.0, "xtick.direction": "out",
        "lines.linewidth": 1.6, "lines.markersize": 5.0, "hatch.linewidth": 0.5,
        "hatch.color": PALE}
PAGE = (8.4, 4.2)  # inches; two fit a standing page
HALF = (4.3, 2.75)  # of one that stands beside another
SMALL = 7.0  # size of labels in a picture, points


class Picture(Figure):
    """A figure that no global list holds, and that a notebook shows by itself."""

    def _repr_png_(self):
        held = io.BytesIO()
        self.savefig(held, format="png", dpi=110)
        return held.getvalue()


def in_our_look(draw: Callable) -> Callable:
    """Draw with the settings of `LOOK`, and leave the user's as they are."""
    @functools.wraps(draw)
    def drawn(*args, **kwargs):
        with matplotlib.rc_context(LOOK):
            return draw(*args, **kwargs)

    return drawn


def axes_of(ax: Axes | None, room: float = 0.25) -> Axes:
    """The axes given, or new ones on a page with room for labels at their right."""
    if ax is not None:
        return ax
    picture = Picture(figsize=PAGE)
    add_caution(picture)
    return picture.add_axes((0.115, 0.13, 0.86 - room, 0.73))


@in_our_look
def half_axes(room: float = 0.36) -> Axes:
    """New axes on half a page's width, of a picture that stands beside another.

    Parameters
    ----------
    room : float
        Share of the width for labels at their right.
    """
    return Picture(figsize=HALF).add_axes((0.19, 0.15, 0.80 - room, 0.64))


def add_caution(figure: Figure) -> None:
    """The usual caution along the foot of a page of our own."""
    figure.text(0.01, 0.012, CAUTION.replace("\n", " "), fontsize=5.5, color=GREY)


def is_narrow(ax: Axes) -> bool:
    """Whether a picture has half a page's width."""
    return ax.figure.get_figwidth() < PAGE[0] / 1.5


def say(ax: Axes, question: str, under: str, x: str, y: str) -> None:
    """Title, a line under it, and what the axes count."""
    narrow = is_narrow(ax)
    if narrow:
        question, y = textwrap.fill(question, 54), textwrap.fill(y, 26)
    texts = [ax.set_title(question, x=-0.2 if narrow else 0.0), ax.set_xlabel(x), ax.set_ylabel(y)]
    for text, size in zip(texts, (8.0, SMALL, SMALL), strict=True):
        text.set(parse_math=False, usetex=False)
        if narrow:
            text.set_fontsize(size)
    if narrow:
        ax.tick_params(labelsize=SMALL)
    ax.annotate(shortened(under, 70 if narrow else 140), (-0.2 if narrow else 0, 1), (0, 5),
                xycoords="axes fraction", textcoords="offset points", fontsize=SMALL, color=GREY,
                va="bottom", annotation_clip=False)


def shortened(text: str, most: int = 140) -> str:
    """Text of one line that fits a page."""
    text = " ".join(text.split())
    return text if len(text) <= most else text[:most - 1] + "…"


def note(ax: Axes, text: str) -> None:
    """A sentence in place of what there is nothing to draw of."""
    ax.text(0.5, 0.5, text, ha="center", va="center", transform=ax.transAxes, color=GREY,
            wrap=True)


def shown_input(system: System, name: str, values: ArrayLike) -> np.ndarray:
    """Positions of an input as its axis counts them: degrees, or the file's unit on a slide."""
    return np.asarray(values) / position_unit(system, system.inputs[name])[1]


def input_axis(axis: Axis, system: System, name: str) -> str:
    """Tick labels in words for an input; what to write along its axis."""
    unit, _ = position_unit(system, system.inputs[name])

    def said(value, _):
        if unit != "°":
            return f"{value:g} {unit}"
        text = said_input(system, name, float(value), 0 if round(value, 6) % 1 == 0 else 1)
        return text.removesuffix(f" {name}")

    axis.set_major_locator(MaxNLocator(nbins=4 if is_narrow(axis.axes) else 8, steps=[1, 2, 5, 10]))
    axis.set_major_formatter(FuncFormatter(said))
    body = system.inputs[name].body
    moved = f" of {body}" if body is not None else ""
    return f"{name}, {'degrees' if unit == '°' else unit}{moved} from neutral"


def deflection_axis(axis: Axis, system: System, surfaces: Iterable[str]) -> None:
    """Tick labels such as 10° TEU, for the surfaces drawn; trailing edge up is up the page."""
    words = [deflection_words(system, surface) for surface in surfaces]
    sides = ["/".join(dict.fromkeys(pair[k] for pair in words)) for k in (0, 1)]

    def said(value, _):
        return "0°" if abs(value) < 1e-9 else f"{abs(value):g}° {sides[int(value > 0)]}"

    axis.set_major_locator(MaxNLocator(nbins=9, steps=[1, 2, 5, 10]))
    axis.set_major_formatter(FuncFormatter(said))
    axis.set_inverted(True)


def spread(wanted: ArrayLike, least: float, low: float, high: float) -> np.ndarray:
    """Places as near as can be to those wanted, none nearer to the next than `least`.

    Parameters
    ----------
    wanted : array_like, shape (n,)
    least : float
    low, high : float
        Within which they stay if there is room.

    Returns
    -------
    ndarray, shape (n,)
        In the order given.

    Examples
    --------
    >>> spread([0.5, 0.5, 0.9], 0.1, 0, 1).round(3).tolist()
    [0.45, 0.55, 0.9]
    """
    wanted = np.asarray(wanted, dtype=float)
    order, blocks = np.argsort(wanted, kind="stable"), []
    for k, n in enumerate(order):
        total, count = wanted[n] - k * least, 1
        while blocks and blocks[-1][0] / blocks[-1][1] > total / count:
            total, count = total + blocks[-1][0], count + blocks.pop()[1]
        blocks.append((total, count))
    even = np.concatenate([np.full(count, total / count) for total, count in blocks] or [[]])
    places = np.empty(len(wanted))
    places[order] = np.clip(even, low, max(low, high - (len(wanted) - 1) * least)) \
        + np.arange(len(wanted)) * least
    return places


def label_ends(ax: Axes, lines: Iterable[Line2D], texts: Sequence[str]) -> None:
    """Name lines at their right ends, beside the axes, spread so that none covers another.

    Call it when the limits of the axes are settled.
    """
    ends = []
    for line in lines:
        x, y = line.get_data()
        known = np.flatnonzero(np.isfinite(y))
        ends.append((x[known[-1]], y[known[-1]]) if known.size else (np.nan, np.nan))
    within = [k for k, end in enumerate(ends) if np.isfinite(end).all()]
    if not within:
        return
    low, high = ax.get_ylim()
    height = ax.get_window_extent().height / ax.figure.dpi * 72
    rows = max(text.count("\n") + 1 for text in texts)
    places = spread([(ends[k][1] - low) / (high - low) for k in within],
                    1.35 * rows * SMALL / height, 0.02, 0.98)
    for k, place in zip(within, places, strict=True):
        colour = lines[k].get_color()
        ax.annotate(texts[k], ends[k], (1.035, place), textcoords="axes fraction", va="center",
                    fontsize=SMALL, color=colour, annotation_clip=False, gid="end",
                    arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.6,
                                "relpos": (0, 0.5), "shrinkA": 1, "shrinkB": 1})


def pair_words(pair: str) -> str:
    """A pair's name in two lines; where no pair but the reach ends the travel, that."""
    return "a rod ends its reach" if pair == REACH else pair.replace(" | ", " |\n")
