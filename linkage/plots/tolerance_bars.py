"""What a builder asks of tolerances: which one moves a surface most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .. import gearing
from ..errors import LinkageError, nearest
from ..motion import System
from ..rigging import error_bands, sensitivities, spots
from ..units import shown_length
from .style import INK, PALE, SMALL, axes_of, in_our_look, note, say, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST = 12  # bars


@in_our_look
def contributors(system: System, ax: Axes | None = None, *, surface: str, at: str = "neutral",
                 rigged: bool = True) -> Axes:
    """How far each build tolerance moves a surface, the most first.

    Parameters
    ----------
    system : System
    ax : matplotlib Axes, optional
    surface : str
    at : str
        "neutral", or the stop that the stick rests against.
    rigged : bool
        Of a build whose rods were set so that every part stands at neutral.

    Returns
    -------
    matplotlib Axes
        A bar per dimension, degrees plus or minus.

    Raises
    ------
    LinkageError
        When there is no such surface or stop.
    """
    where = {spot.name: spot for spot in spots(system)}
    for name, known, what in ((surface, system.model.surfaces, "surface"), (at, where, "stop")):
        if name not in known:
            raise LinkageError(f'no {what} "{name}"; {nearest(name, known)}', name=name)
    own, ax = ax is None, axes_of(ax, 0.06)
    table = sensitivities(system, [where[at]], rigged=rigged)
    table = table[(table["surface"] == surface) & (table["moves"] > 0)]
    place = gearing.said_place(system, where[at].inputs)
    say(ax, f"Which tolerance moves the {surface} most?",
        f"{place}{'' if at == 'neutral' else f', against {at}'}, rods "
        f"{'set to neutral' if rigged else 'as made'}{_totals(table)}",
        "degrees plus or minus", "")
    if table.empty:
        note(ax, "no tolerance of the file moves it; give [tolerance] hardpoint, rod and spacer")
        return ax
    shown = table.head(MOST)
    names = [shortened(f"{row['part']} {row['what']}", 44) for row in shown.to_dict("records")]
    rows = range(len(shown))
    ax.barh(rows, shown["moves"], height=0.62, color=PALE, edgecolor=INK, linewidth=0.8)
    unit = system.model.length
    for n, row in zip(rows, shown.to_dict("records"), strict=True):
        ax.annotate(f"{row['moves']:.2f}° for ± {shown_length(row['tolerance'], unit)}",
                    (row["moves"], n), (5, 0), textcoords="offset points", va="center",
                    fontsize=SMALL, color=INK)
    ax.set_yticks(rows, names, fontsize=SMALL)
    ax.set_ylim(len(shown) - 0.4, -0.6)
    ax.set_xlim(0, 1.3 * shown["moves"].max())
    if own:  # room for the longest name
        left = 0.03 + 0.0057 * max(map(len, names))
        ax.set_position((left, 0.13, 0.95 - left, 0.73))
    return ax


def _totals(table) -> str:
    if table.empty:
        return ""
    band = error_bands(table).iloc[0]
    return f"; all: worst {band['worst']:.2f}°, root sum square {band['rss']:.2f}°"
