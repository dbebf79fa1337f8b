"""Rods as the shop makes and turns them: lengths to cut, adjustment left, effect of a turn."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..motion import System
from ..units import in_house_units
from .lengths import deflection_per_length, length_rates, rods_in_play

if TYPE_CHECKING:
    import pandas as pd

    from ..model.whole import Model

ENDS = ("first", "second")


@in_house_units(length="length tube longer shorter", turns="turns_longer turns_shorter")
def rod_sheet(system: System) -> pd.DataFrame:
    """What to cut and how far each rod can be adjusted.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        A row per rod: rod, length (centre to centre), tube (between the rod ends' threads:
        length - both ends' (shank - engaged)), longer and shorter (what both adjustable ends
        together still allow), all mm, NaN where the file does not say; turns_longer and
        turns_shorter (whole half turns of the ends, as turns); hardware and missing (words).
    """
    import pandas as pd

    rows = []
    for rod in system.model.rods:
        ends = [_end(system.model, rod, i) for i in range(2)]
        length = system.model.rod_length(rod)
        rows.append({"rod": rod, "length": length,
                     "tube": length - sum(end["outside"] for end in ends),
                     **{way: sum(end[way] for end in ends) for way in
                        ("longer", "shorter", "turns_longer", "turns_shorter")},
                     "hardware": "; ".join(_hardware(system.model, rod)),
                     "missing": ", ".join(dict.fromkeys(w for end in ends for w in end["missing"])
                                          )})
    return pd.DataFrame(rows, columns=["rod", "length", "tube", "longer", "shorter",
                                       "turns_longer", "turns_shorter", "hardware", "missing"])


@in_house_units(length="thread_pitch engaged needed most longer shorter")
def end_sheet(system: System) -> pd.DataFrame:
    """Every rod end as fitted: thread, hand, engagement and adjustment left.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        A row per end whose rod end is named: rod, end (its point), rod_end, thread, hand,
        thread_pitch, engaged, needed, most, longer, shorter (mm, NaN where the file does not say)
        and adjustable.
    """
    import pandas as pd

    rows = []
    for rod, part in system.model.rods.items():
        for i, point in enumerate(part.ends):
            fitted, rod_end, thread = system.model.fitting(rod, i)
            if fitted is None:
                continue
            end = _end(system.model, rod, i)
            rows.append({"rod": rod, "end": point, "rod_end": fitted.rod_end,
                         "thread": thread.designation if thread else "",
                         "hand": ("left" if thread.left else "right") if thread else "",
                         "thread_pitch": thread.pitch if thread else np.nan,
                         "engaged": _known(fitted.engaged), "needed": _known(fitted.needed),
                         "most": _known(rod_end.most), "longer": end["longer"],
                         "shorter": end["shorter"], "adjustable": fitted.adjustable})
    return pd.DataFrame(rows, columns=["rod", "end", "rod_end", "thread", "hand", "thread_pitch",
                                       "engaged", "needed", "most", "longer", "shorter",
                                       "adjustable"])


@in_house_units(length="per_turn", angle="turn half_turn")
def turns(system: System) -> pd.DataFrame:
    """What turning a rod end, or a tube between two of them, does to the surfaces at neutral.

    A rod end taken off and turned out lengthens the rod by its pitch a turn.  A tube turned
    between its two rod ends, so that the first unscrews, lengthens it by both pitches where the
    hands differ, and by their difference where they are the same: nothing with equal pitches.

    Parameters
    ----------
    system : System

    Returns
    -------
    DataFrame
        A row per rod, what is turned and surface that answers: rod, turned ("first", "second" or
        "tube"), end (its point; of a tube its rod), per_turn (mm longer), surface, turn and
        half_turn (degrees, trailing edge down or left positive; the exact derivative at neutral
        times the pitch).
    """
    import pandas as pd

    rods = rods_in_play(system)
    motion = system.sweep()
    rates = length_rates(motion, rods) if rods else None
    answers = {surface: deflection_per_length(motion, rates, surface)
               for surface in (system.model.surfaces if rods else ())}
    rows = []
    for i, rod in enumerate(rods):
        for turned, end, per_turn in _turned(system.model, rod):
            for surface, rate in answers.items():
                if abs(rate[i]) > 1e-9:
                    turn = float(rate[i]) * per_turn + 0.0
                    rows.append({"rod": rod, "turned": turned, "end": end, "per_turn": per_turn,
                                 "surface": surface, "turn": turn, "half_turn": turn / 2})
    return pd.DataFrame(rows, columns=["rod", "turned", "end", "per_turn", "surface", "turn",
                                       "half_turn"])


def _turned(model, rod):
    """What can be turned on a rod, and how much longer a turn makes it, mm."""
    threads = [model.fitting(rod, i)[2] for i in range(2)]
    for i, thread in enumerate(threads):
        fitted = model.fitting(rod, i)[0]
        if thread is not None and (fitted is None or fitted.adjustable):
            yield ENDS[i], model.rods[rod].ends[i], thread.pitch
    if None not in threads and model.rods[rod].fitted:
        one, other = threads
        sense = 1.0 if one.left != other.left else -1.0
        yield "tube", rod, one.pitch + sense * other.pitch


def half_turns(model: Model, rod: str, end: int) -> tuple[int, int] | None:
    """Half turns an end may be turned in (minus) and out; None where the file does not say."""
    fitted, _, thread = model.fitting(rod, end)
    left = _end(model, rod, end)
    if fitted is None or thread is None or not fitted.adjustable or \
            not math.isfinite(left["longer"] + left["shorter"]):
        return None
    step = thread.pitch / 2
    return -math.floor(left["shorter"] / step + 1e-9), math.floor(left["longer"] / step + 1e-9)


def _end(model, rod, i) -> dict:
    """Lengths of one end, mm, NaN where the file does not say, and the words for that."""
    fitted, rod_end, thread = model.fitting(rod, i)
    if fitted is None:
        return {"outside": np.nan, "longer": np.nan, "shorter": np.nan, "turns_longer": np.nan,
                "turns_shorter": np.nan, "missing": ["fitted"]}
    engaged, shank = _known(fitted.engaged), _known(rod_end.shank)
    lengths = {"engaged": engaged, "shank": shank}
    longer = shorter = 0.0
    pitch = thread.pitch if thread else np.nan
    if fitted.adjustable:
        needed, most = _known(fitted.needed), _known(rod_end.most)
        longer, shorter = engaged - needed, most - engaged
        lengths = {"engaged": engaged, "least or witness": needed, "shank": shank, "most": most,
                   "thread": pitch}
    return {"outside": shank - engaged, "longer": longer, "shorter": shorter,
            "turns_longer": _in_turns(longer, pitch), "turns_shorter": _in_turns(shorter, pitch),
            "missing": [word for word, value in lengths.items() if not math.isfinite(value)]}


def _in_turns(way, pitch) -> float:
    """Whole half turns within a way, as turns."""
    if way == 0:
        return 0.0
    return math.floor(2 * way / pitch + 1e-9) / 2 if math.isfinite(way / pitch) else np.nan


def _known(size) -> float:
    return np.nan if size is None else size


def _hardware(model, rod):
    for i in range(2):
        fitted, rod_end, _ = model.fitting(rod, i)
        if fitted is not None:
            yield ", ".join([fitted.rod_end, *rod_end.hardware, *fitted.hardware])
