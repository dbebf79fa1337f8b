"""Where the numbers of hardpoints go, so that none covers another or a point."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LETTER = (3.9, 6.6)  # points, width of a digit and height of a number of size 6
RINGS = (6.5, 10.0, 15.0, 21.0, 29.0, 38.0)  # points from the hardpoint
WAYS = 16
DOT = 1.8  # points a hardpoint's mark reaches about its middle


def clear_of_others(ax: Axes, at: np.ndarray, spots: Iterable[np.ndarray]) -> float:
    """Distance on the page from a point to the next one that is not at the same place, points.

    Parameters
    ----------
    ax : matplotlib Axes
        With its limits settled.
    at : ndarray (2,)
        In data.
    spots : iterable of ndarray (2,)

    Returns
    -------
    float
        Infinite without others.
    """
    places = ax.transData.transform(np.array([at, *spots])) * 72.0 / ax.figure.dpi
    apart = np.hypot(*(places[1:] - places[0]).T)
    return float(np.min(apart[apart > DOT], initial=np.inf))


def place_numbers(ax: Axes, labels: dict, spots: list[np.ndarray]) -> dict:
    """Offsets of labels from their points, in points of the page.

    Parameters
    ----------
    ax : matplotlib Axes
        With its limits settled.
    labels : dict
        ``{text: (across, up)}`` in data.
    spots : list of ndarray (2,)
        Marks that no label may cover.

    Returns
    -------
    dict
        ``{text: (right, up)}``; a label that finds no room in the axes is left out.
    """
    per = 72.0 / ax.figure.dpi

    def on_page(places):
        return ax.transData.transform(np.asarray(places, dtype=float).reshape(-1, 2)) * per

    corners = ax.get_window_extent().get_points() * per
    dots = on_page(spots)
    dots = dots[np.isfinite(dots).all(axis=1)]
    turn = np.arange(WAYS) * 2 * np.pi / WAYS + np.pi / 4
    ways = np.concatenate([r * np.stack([np.cos(turn), np.sin(turn)], axis=1) for r in RINGS])
    held, offsets = np.zeros((0, 4)), {}
    for text, at in labels.items():
        place = on_page(at)[0]
        if not np.isfinite(place).all() or (place < corners[0]).any() \
                or (place > corners[1]).any():
            continue
        half = np.array([LETTER[0] * len(text), LETTER[1]]) / 2
        middles = place + ways
        boxes = np.concatenate([middles - half, middles + half], axis=1)
        free = (boxes[:, :2] >= corners[0]).all(axis=1) & (boxes[:, 2:] <= corners[1]).all(axis=1)
        free &= ~_cover(boxes, np.concatenate([dots - DOT, dots + DOT], axis=1)).any(axis=1)
        free &= ~_cover(boxes, held).any(axis=1)
        if free.any():
            best = int(free.argmax())
            held = np.concatenate([held, boxes[best][None]])
            offsets[text] = tuple(ways[best].tolist())
    return offsets


def _cover(boxes, others):
    """Whether each box overlaps each of the others."""
    return (boxes[:, None, 0] < others[None, :, 2]) & (boxes[:, None, 2] > others[None, :, 0]) \
        & (boxes[:, None, 1] < others[None, :, 3]) & (boxes[:, None, 3] > others[None, :, 1])
